#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/path.hpp"

namespace farhear::bind {

void bind_path(py::module_& m) {
    m.doc() = "Distances, azimuths and points on WGS84 and on the sphere";
    m.attr("EARTH_RADIUS_KM") = path::kEarthRadius_km;

    m.def(
        "inverse",
        [](const ArrayIn& lat1_deg, const ArrayIn& lon1_deg, const ArrayIn& lat2_deg,
           const ArrayIn& lon2_deg) {
            auto distance_km = make(view(lat1_deg).size());
            auto azimuth_deg = make(view(lat1_deg).size());
            auto back_azimuth_deg = make(view(lat1_deg).size());
            const auto a = view(lat1_deg);
            const auto b = view(lon1_deg);
            const auto c = view(lat2_deg);
            const auto d = view(lon2_deg);
            const auto x = view_out(distance_km);
            const auto y = view_out(azimuth_deg);
            const auto z = view_out(back_azimuth_deg);
            {
                const py::gil_scoped_release unlocked;
                path::inverse(a, b, c, d, x, y, z);
            }
            return py::make_tuple(distance_km, azimuth_deg, back_azimuth_deg);
        },
        py::arg("lat1_deg").noconvert(), py::arg("lon1_deg").noconvert(),
        py::arg("lat2_deg").noconvert(), py::arg("lon2_deg").noconvert());

    m.def(
        "direct",
        [](const ArrayIn& lat_deg, const ArrayIn& lon_deg, const ArrayIn& azimuth_deg,
           const ArrayIn& distance_km) {
            auto out_lat_deg = make(view(lat_deg).size());
            auto out_lon_deg = make(view(lat_deg).size());
            auto back_azimuth_deg = make(view(lat_deg).size());
            const auto a = view(lat_deg);
            const auto b = view(lon_deg);
            const auto c = view(azimuth_deg);
            const auto d = view(distance_km);
            const auto x = view_out(out_lat_deg);
            const auto y = view_out(out_lon_deg);
            const auto z = view_out(back_azimuth_deg);
            {
                const py::gil_scoped_release unlocked;
                path::direct(a, b, c, d, x, y, z);
            }
            return py::make_tuple(out_lat_deg, out_lon_deg, back_azimuth_deg);
        },
        py::arg("lat_deg").noconvert(), py::arg("lon_deg").noconvert(),
        py::arg("azimuth_deg").noconvert(), py::arg("distance_km").noconvert());

    m.def(
        "sphere",
        [](const ArrayIn& lat1_deg, const ArrayIn& lon1_deg, const ArrayIn& lat2_deg,
           const ArrayIn& lon2_deg) {
            auto distance_km = make(view(lat1_deg).size());
            auto azimuth_deg = make(view(lat1_deg).size());
            const auto a = view(lat1_deg);
            const auto b = view(lon1_deg);
            const auto c = view(lat2_deg);
            const auto d = view(lon2_deg);
            const auto x = view_out(distance_km);
            const auto y = view_out(azimuth_deg);
            {
                const py::gil_scoped_release unlocked;
                path::sphere(a, b, c, d, x, y);
            }
            return py::make_tuple(distance_km, azimuth_deg);
        },
        py::arg("lat1_deg").noconvert(), py::arg("lon1_deg").noconvert(),
        py::arg("lat2_deg").noconvert(), py::arg("lon2_deg").noconvert());

    m.def(
        "sphere_points",
        [](const ArrayIn& lat1_deg, const ArrayIn& lon1_deg, const ArrayIn& lat2_deg,
           const ArrayIn& lon2_deg, const ArrayIn& fraction, bool long_path) {
            auto out_lat_deg = make(view(lat1_deg).size());
            auto out_lon_deg = make(view(lat1_deg).size());
            const auto a = view(lat1_deg);
            const auto b = view(lon1_deg);
            const auto c = view(lat2_deg);
            const auto d = view(lon2_deg);
            const auto q = view(fraction);
            const auto x = view_out(out_lat_deg);
            const auto y = view_out(out_lon_deg);
            {
                const py::gil_scoped_release unlocked;
                path::sphere_points(a, b, c, d, q, long_path, x, y);
            }
            return py::make_tuple(out_lat_deg, out_lon_deg);
        },
        py::arg("lat1_deg").noconvert(), py::arg("lon1_deg").noconvert(),
        py::arg("lat2_deg").noconvert(), py::arg("lon2_deg").noconvert(),
        py::arg("fraction").noconvert(), py::arg("long_path"));
}

}  // namespace farhear::bind
