#include <pybind11/native_enum.h>

#include <vector>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/noise.hpp"

namespace farhear::bind {

namespace {

auto each(const ArrayIn& freq_mhz, const auto& source) {
    const auto in = view(freq_mhz);
    return columns<3>(in.size(), [&](const auto& out) {
        for (std::size_t i = 0; i < in.size(); ++i) {
            const noise::Source s = source(in[i]);
            out[0][i] = s.fa_db;
            out[1][i] = s.upper_db;
            out[2][i] = s.lower_db;
        }
    });
}

}  // namespace

void bind_noise(py::module_& m) {
    py::native_enum<noise::Environment>(m, "Environment", "enum.IntEnum")
        .value("CITY", noise::Environment::kCity)
        .value("RESIDENTIAL", noise::Environment::kResidential)
        .value("RURAL", noise::Environment::kRural)
        .value("QUIET_RURAL", noise::Environment::kQuietRural)
        .finalize();
    m.def(
        "man_made",
        [](noise::Environment environment, const ArrayIn& freq_mhz) {
            return each(freq_mhz,
                        [environment](double f) { return noise::man_made(environment, f); });
        },
        py::arg("environment"), py::arg("freq_mhz").noconvert());
    m.def(
        "galactic", [](const ArrayIn& freq_mhz) { return each(freq_mhz, &noise::galactic); },
        py::arg("freq_mhz").noconvert());
    m.def(
        "combine",
        [](const ArrayIn& fa_db, const ArrayIn& upper_db, const ArrayIn& lower_db) {
            std::vector<noise::Source> sources;
            for (std::size_t i = 0; i < view(fa_db).size(); ++i) {
                sources.push_back({view(fa_db)[i], view(upper_db)[i], view(lower_db)[i]});
            }
            const auto sum = noise::combine(sources);
            return py::make_tuple(sum.fa_db, sum.upper_db, sum.lower_db);
        },
        py::arg("fa_db").noconvert(), py::arg("upper_db").noconvert(),
        py::arg("lower_db").noconvert());
}

}  // namespace farhear::bind
