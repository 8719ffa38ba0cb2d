#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/magnetic.hpp"

namespace farhear::bind {

void bind_magnetic(py::module_& m) {
    using magnetic::Model;
    py::class_<Model>(m, "Model")
        .def(py::init([](const ArrayIn& epochs_year, const ArrayIn& coefficients_nt) {
                 const auto epochs = view(epochs_year);
                 const auto coefficients = view(coefficients_nt);
                 return Model({epochs.begin(), epochs.end()},
                              {coefficients.begin(), coefficients.end()});
             }),
             py::arg("epochs_year").noconvert(), py::arg("coefficients_nt").noconvert())
        .def_property_readonly("first_year", &Model::first_year)
        .def_property_readonly("last_year", &Model::last_year)
        .def(
            "components",
            [](const Model& model, const ArrayIn& year, const ArrayIn& lat_deg,
               const ArrayIn& lon_deg, const ArrayIn& height_km) {
                const auto t = view(year);
                const auto lat = view(lat_deg);
                const auto lon = view(lon_deg);
                const auto height = view(height_km);
                auto north_nt = make(lat.size());
                auto east_nt = make(lat.size());
                auto down_nt = make(lat.size());
                const auto north = view_out(north_nt);
                const auto east = view_out(east_nt);
                const auto down = view_out(down_nt);
                {
                    const py::gil_scoped_release unlocked;  // below this line: spans only
                    model.components(t, lat, lon, height, north, east, down);
                }
                return py::make_tuple(north_nt, east_nt, down_nt);
            },
            py::arg("year").noconvert(), py::arg("lat_deg").noconvert(),
            py::arg("lon_deg").noconvert(), py::arg("height_km").noconvert())
        .def(
            "geomagnetic_lat_deg",
            [](const Model& model, double year, const ArrayIn& lat_deg, const ArrayIn& lon_deg) {
                const auto lat = view(lat_deg);
                const auto lon = view(lon_deg);
                auto out_deg = make(lat.size());
                const auto out = view_out(out_deg);
                {
                    const py::gil_scoped_release unlocked;  // below this line: spans only
                    model.geomagnetic_lat_deg(year, lat, lon, out);
                }
                return out_deg;
            },
            py::arg("year"), py::arg("lat_deg").noconvert(), py::arg("lon_deg").noconvert());

    m.def(
        "derive",
        [](const ArrayIn& north_nt, const ArrayIn& east_nt, const ArrayIn& down_nt,
           const ArrayIn& lat_deg) {
            const auto north = view(north_nt);
            const auto east = view(east_nt);
            const auto down = view(down_nt);
            const auto lat = view(lat_deg);
            auto dip_deg = make(north.size());
            auto modip_deg = make(north.size());
            auto gyro_mhz = make(north.size());
            const auto dip = view_out(dip_deg);
            const auto modip = view_out(modip_deg);
            const auto gyro = view_out(gyro_mhz);
            {
                const py::gil_scoped_release unlocked;  // below this line: spans only
                magnetic::derive(north, east, down, lat, dip, modip, gyro);
            }
            return py::make_tuple(dip_deg, modip_deg, gyro_mhz);
        },
        py::arg("north_nt").noconvert(), py::arg("east_nt").noconvert(),
        py::arg("down_nt").noconvert(), py::arg("lat_deg").noconvert());
}

}  // namespace farhear::bind
