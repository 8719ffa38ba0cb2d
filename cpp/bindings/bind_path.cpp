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
            const auto a = view(lat1_deg);
            const auto b = view(lon1_deg);
            const auto c = view(lat2_deg);
            const auto d = view(lon2_deg);
            return columns<3>(a.size(), [&](const auto& out) {
                path::inverse(a, b, c, d, out[0], out[1], out[2]);
            });
        },
        py::arg("lat1_deg").noconvert(), py::arg("lon1_deg").noconvert(),
        py::arg("lat2_deg").noconvert(), py::arg("lon2_deg").noconvert());

    m.def(
        "direct",
        [](const ArrayIn& lat_deg, const ArrayIn& lon_deg, const ArrayIn& azimuth_deg,
           const ArrayIn& distance_km) {
            const auto a = view(lat_deg);
            const auto b = view(lon_deg);
            const auto c = view(azimuth_deg);
            const auto d = view(distance_km);
            return columns<3>(a.size(), [&](const auto& out) {
                path::direct(a, b, c, d, out[0], out[1], out[2]);
            });
        },
        py::arg("lat_deg").noconvert(), py::arg("lon_deg").noconvert(),
        py::arg("azimuth_deg").noconvert(), py::arg("distance_km").noconvert());

    m.def(
        "sphere",
        [](const ArrayIn& lat1_deg, const ArrayIn& lon1_deg, const ArrayIn& lat2_deg,
           const ArrayIn& lon2_deg) {
            const auto a = view(lat1_deg);
            const auto b = view(lon1_deg);
            const auto c = view(lat2_deg);
            const auto d = view(lon2_deg);
            return columns<2>(a.size(),
                              [&](const auto& out) { path::sphere(a, b, c, d, out[0], out[1]); });
        },
        py::arg("lat1_deg").noconvert(), py::arg("lon1_deg").noconvert(),
        py::arg("lat2_deg").noconvert(), py::arg("lon2_deg").noconvert());

    m.def(
        "sphere_points",
        [](const ArrayIn& lat1_deg, const ArrayIn& lon1_deg, const ArrayIn& lat2_deg,
           const ArrayIn& lon2_deg, const ArrayIn& fraction, bool long_path) {
            const auto a = view(lat1_deg);
            const auto b = view(lon1_deg);
            const auto c = view(lat2_deg);
            const auto d = view(lon2_deg);
            const auto q = view(fraction);
            return columns<2>(a.size(), [&](const auto& out) {
                path::sphere_points(a, b, c, d, q, long_path, out[0], out[1]);
            });
        },
        py::arg("lat1_deg").noconvert(), py::arg("lon1_deg").noconvert(),
        py::arg("lat2_deg").noconvert(), py::arg("lon2_deg").noconvert(),
        py::arg("fraction").noconvert(), py::arg("long_path"));
}

}  // namespace farhear::bind
