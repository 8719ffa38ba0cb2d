#include <pybind11/native_enum.h>

#include <vector>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/noise.hpp"

namespace farhear::bind {

namespace {

py::tuple columns(const ArrayIn& freq_mhz, const auto& source) {
    const auto n = static_cast<std::size_t>(freq_mhz.size());
    auto fa_db = make(n);
    auto upper_db = make(n);
    auto lower_db = make(n);
    const auto in = view(freq_mhz);
    const auto fa = view_out(fa_db);
    const auto upper = view_out(upper_db);
    const auto lower = view_out(lower_db);
    {
        const py::gil_scoped_release unlocked;
        for (std::size_t i = 0; i < n; ++i) {
            const noise::Source s = source(in[i]);
            fa[i] = s.fa_db;
            upper[i] = s.upper_db;
            lower[i] = s.lower_db;
        }
    }
    return py::make_tuple(fa_db, upper_db, lower_db);
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
            return columns(freq_mhz,
                           [environment](double f) { return noise::man_made(environment, f); });
        },
        py::arg("environment"), py::arg("freq_mhz").noconvert());
    m.def(
        "galactic", [](const ArrayIn& freq_mhz) { return columns(freq_mhz, &noise::galactic); },
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
