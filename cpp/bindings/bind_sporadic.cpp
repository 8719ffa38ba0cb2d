#include <pybind11/stl.h>

#include <cmath>
#include <vector>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/sporadic.hpp"

namespace farhear::bind {

void bind_sporadic(py::module_& m) {
    py::class_<sporadic::Maps>(m, "Maps").def(
        py::init([](const ArrayIn& lower, const ArrayIn& median, const ArrayIn& upper) {
            const auto copy = [](const ArrayIn& a) {
                const auto values = view(a);
                return std::vector<double>(values.begin(), values.end());
            };
            return sporadic::Maps(copy(lower), copy(median), copy(upper));
        }),
        py::arg("lower").noconvert(), py::arg("median").noconvert(), py::arg("upper").noconvert());
    m.def(
        "foes",
        [](const sporadic::Maps& maps, const magnetic::Model& field, const ArrayIn& lat_deg,
           const ArrayIn& lon_deg, const ArrayIn& t_unix_s, const ArrayIn& f107_sfu,
           const IndexIn& place_index, const IndexIn& instant_index) {
            const auto lat = view(lat_deg);
            const auto lon = view(lon_deg);
            const auto t = view(t_unix_s);
            const auto flux = view(f107_sfu);
            const auto places = view(place_index);
            const auto instants = view(instant_index);
            const std::size_t n = places.empty() ? lat.size() * t.size() : places.size();
            return columns<3>(n, [&](const auto& out) {
                sporadic::foes(maps, field, lat, lon, t, flux, places, instants, out[0], out[1],
                               out[2]);
            });
        },
        py::arg("maps"), py::arg("field"), py::arg("lat_deg").noconvert(),
        py::arg("lon_deg").noconvert(), py::arg("t_unix_s").noconvert(),
        py::arg("f107_sfu").noconvert(), py::arg("place_index").noconvert(),
        py::arg("instant_index").noconvert());
    m.def(
        "probability_above",
        [](const ArrayIn& freq_mhz, const ArrayIn& lower_mhz, const ArrayIn& median_mhz,
           const ArrayIn& upper_mhz) {
            auto out = make(static_cast<std::size_t>(freq_mhz.size()));
            const auto freq = view(freq_mhz);
            const auto lower = view(lower_mhz);
            const auto median = view(median_mhz);
            const auto upper = view(upper_mhz);
            const auto share = view_out(out);
            {
                const py::gil_scoped_release unlocked;
                for (std::size_t i = 0; i < freq.size(); ++i) {
                    share[i] = sporadic::probability_above(
                        sporadic::from_deciles(lower[i], median[i], upper[i]), freq[i]);
                }
            }
            return out;
        },
        py::arg("freq_mhz").noconvert(), py::arg("lower_mhz").noconvert(),
        py::arg("median_mhz").noconvert(), py::arg("upper_mhz").noconvert());
}

}  // namespace farhear::bind
