#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/lightning.hpp"

namespace farhear::bind {

void bind_lightning(py::module_& m) {
    m.def(
        "noise",
        [](const ionosphere::Maps& maps, const magnetic::Model& field,
           const ionosphere::Drive& drive, const ArrayIn& lat_deg, const ArrayIn& lon_deg,
           const ArrayIn& t_unix_s, const ArrayIn& f107_sfu, const ArrayIn& freq_mhz,
           const IndexIn& place_index, const IndexIn& instant_index) {
            const lightning::PlaceColumns places = {view(lat_deg), view(lon_deg)};
            const lightning::InstantColumns instants = {view(t_unix_s), view(f107_sfu),
                                                        view(freq_mhz)};
            const auto place_of = view(place_index);
            const auto instant_of = view(instant_index);
            const auto n = static_cast<std::size_t>(
                place_index.size() == 0 ? lat_deg.size() * t_unix_s.size() : place_index.size());
            return columns<3>(n, [&](const auto& out) {
                lightning::columns(maps, field, drive, places, instants, place_of, instant_of,
                                   {out[0], out[1], out[2]});
            });
        },
        py::arg("maps"), py::arg("field"), py::arg("drive"), py::arg("lat_deg").noconvert(),
        py::arg("lon_deg").noconvert(), py::arg("t_unix_s").noconvert(),
        py::arg("f107_sfu").noconvert(), py::arg("freq_mhz").noconvert(),
        py::arg("place_index").noconvert(), py::arg("instant_index").noconvert());
}

}  // namespace farhear::bind
