#include <pybind11/stl.h>

#include <vector>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/ionosphere.hpp"

namespace farhear::bind {

namespace {

template <double (*kFunction)(double) noexcept>
void bind_elementwise(py::module_& m, const char* name, const char* argument) {
    m.def(
        name,
        [](const ArrayIn& values) {
            auto out = make(static_cast<std::size_t>(values.size()));
            const auto in = view(values);
            const auto result = view_out(out);
            {
                const py::gil_scoped_release unlocked;
                for (std::size_t i = 0; i < in.size(); ++i) {
                    result[i] = kFunction(in[i]);
                }
            }
            return out;
        },
        py::arg(argument).noconvert());
}

auto product(const ionosphere::Maps& maps, const ArrayIn& lat_deg, const ArrayIn& lon_deg,
             const ArrayIn& modip_deg, const std::vector<int>& months, const ArrayIn& ut_h,
             const ArrayIn& ig12) {
    const auto places = static_cast<std::size_t>(lat_deg.size());
    const auto count = static_cast<std::size_t>(ut_h.size());
    const auto lat = view(lat_deg);
    const auto lon = view(lon_deg);
    const auto modip = view(modip_deg);
    const auto ut = view(ut_h);
    const auto index = view(ig12);
    return columns<2>(places * count, [&](const auto& out) {
        std::vector<ionosphere::Terms> terms;
        terms.reserve(count);
        for (std::size_t t = 0; t < count; ++t) {
            terms.push_back(maps.month(months.at(t), ut[t], index[t]));
        }
        ionosphere::product(lat, lon, modip, terms, out[0], out[1]);
    });
}

auto characteristics(const ionosphere::Maps& maps, const magnetic::Model& field,
                     const ionosphere::Drive& drive, const ArrayIn& lat_deg, const ArrayIn& lon_deg,
                     const ArrayIn& t_unix_s, const ArrayIn& f107_sfu, const IndexIn& place_index,
                     const IndexIn& instant_index) {
    const auto n = static_cast<std::size_t>(
        place_index.size() == 0 ? lat_deg.size() * t_unix_s.size() : place_index.size());
    const auto lat = view(lat_deg);
    const auto lon = view(lon_deg);
    const auto t = view(t_unix_s);
    const auto flux = view(f107_sfu);
    const auto place_of = view(place_index);
    const auto instant_of = view(instant_index);
    return columns<5>(n, [&](const auto& out) {
        ionosphere::characteristics(maps, field, drive, lat, lon, t, flux, place_of, instant_of,
                                    {out[0], out[1], out[2], out[3], out[4]});
    });
}

}  // namespace

void bind_ionosphere(py::module_& m) {
    bind_elementwise<&ionosphere::f107_from_r12>(m, "f107_from_r12", "r12");
    bind_elementwise<&ionosphere::r12_from_f107>(m, "r12_from_f107", "f107_sfu");
    bind_elementwise<&ionosphere::ig12_from_r12>(m, "ig12_from_r12", "r12");

    py::class_<ionosphere::Drive>(m, "Drive")
        .def(py::init([](bool saturate, double field_year, bool foe_form_a) {
                 return ionosphere::Drive{saturate, field_year, foe_form_a};
             }),
             py::kw_only(), py::arg("saturate"), py::arg("field_year"), py::arg("foe_form_a"));
    py::class_<ionosphere::Maps>(m, "Maps").def(
        py::init([](const ArrayIn& fof2, const ArrayIn& m3000) {
            const auto a = view(fof2);
            const auto b = view(m3000);
            return ionosphere::Maps({a.begin(), a.end()}, {b.begin(), b.end()});
        }),
        py::arg("fof2").noconvert(), py::arg("m3000").noconvert());
    m.def("product", &product, py::arg("maps"), py::arg("lat_deg").noconvert(),
          py::arg("lon_deg").noconvert(), py::arg("modip_deg").noconvert(), py::arg("months"),
          py::arg("ut_h").noconvert(), py::arg("ig12").noconvert());
    m.def("characteristics", &characteristics, py::arg("maps"), py::arg("field"), py::arg("drive"),
          py::arg("lat_deg").noconvert(), py::arg("lon_deg").noconvert(),
          py::arg("t_unix_s").noconvert(), py::arg("f107_sfu").noconvert(),
          py::arg("place_index").noconvert(), py::arg("instant_index").noconvert());
}

}  // namespace farhear::bind
