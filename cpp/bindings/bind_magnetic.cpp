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
                return columns<3>(lat.size(), [&](const auto& out) {
                    model.components(t, lat, lon, height, out[0], out[1], out[2]);
                });
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
            return columns<3>(north.size(), [&](const auto& out) {
                magnetic::derive(north, east, down, lat, out[0], out[1], out[2]);
            });
        },
        py::arg("north_nt").noconvert(), py::arg("east_nt").noconvert(),
        py::arg("down_nt").noconvert(), py::arg("lat_deg").noconvert());
}

}  // namespace farhear::bind
