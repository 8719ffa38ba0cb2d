#include <pybind11/native_enum.h>
#include <pybind11/stl.h>

#include <array>
#include <tuple>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/antenna.hpp"

namespace farhear::bind {

namespace {

using Numbers = std::array<ArrayIn, 11>;

/// The numbers in the order of antenna::AntennaColumns.
antenna::AntennaColumns columns_of(const IndexIn& kind, const Numbers& numbers) {
    return {view(kind),       view(numbers[0]), view(numbers[1]), view(numbers[2]),
            view(numbers[3]), view(numbers[4]), view(numbers[5]), view(numbers[6]),
            view(numbers[7]), view(numbers[8]), view(numbers[9]), view(numbers[10])};
}

}  // namespace

void bind_antenna(py::module_& m) {
    py::native_enum<antenna::Kind>(m, "Kind", "enum.IntEnum")
        .value("ISOTROPIC", antenna::Kind::kIsotropic)
        .value("CURTAIN", antenna::Kind::kCurtain)
        .value("CROSSED", antenna::Kind::kCrossed)
        .value("MONOPOLE", antenna::Kind::kMonopole)
        .value("LOG_PERIODIC", antenna::Kind::kLogPeriodic)
        .value("TYPICAL", antenna::Kind::kTypical)
        .finalize();
    m.attr("ELEVATIONS") = antenna::kElevations;
    m.attr("ELEVATION_STEP_DEG") = antenna::kElevation_step_deg;
    m.def(
        "gain_dbi",
        [](const IndexIn& kind, const Numbers& numbers, const ArrayIn& freq_mhz,
           const ArrayIn& off_beam_deg, const ArrayIn& elevation_deg) {
            auto out = make(view(freq_mhz).size());
            const auto antennas = columns_of(kind, numbers);
            const auto freq = view(freq_mhz);
            const auto off = view(off_beam_deg);
            const auto elevation = view(elevation_deg);
            const auto gain = view_out(out);
            {
                const py::gil_scoped_release unlocked;
                antenna::gain_dbi(antennas, freq, off, elevation, gain);
            }
            return out;
        },
        py::arg("kind").noconvert(), py::arg("numbers"), py::arg("freq_mhz").noconvert(),
        py::arg("off_beam_deg").noconvert(), py::arg("elevation_deg").noconvert());
    m.def(
        "elevation_table",
        [](const IndexIn& kind, const Numbers& numbers, const ArrayIn& freq_mhz,
           const ArrayIn& off_beam_deg, double floor_db) {
            auto out = make(view(freq_mhz).size() * antenna::kElevations);
            auto out_peak = make(view(freq_mhz).size());
            const auto antennas = columns_of(kind, numbers);
            const auto freq = view(freq_mhz);
            const auto off = view(off_beam_deg);
            const auto table = view_out(out);
            const auto peak = view_out(out_peak);
            {
                const py::gil_scoped_release unlocked;
                antenna::elevation_table(antennas, freq, off, floor_db, table, peak);
            }
            return std::make_tuple(out, out_peak);
        },
        py::arg("kind").noconvert(), py::arg("numbers"), py::arg("freq_mhz").noconvert(),
        py::arg("off_beam_deg").noconvert(), py::arg("floor_db"));
    m.def(
        "peak",
        [](const IndexIn& kind, const Numbers& numbers, const ArrayIn& freq_mhz) {
            const auto antennas = columns_of(kind, numbers);
            const auto freq = view(freq_mhz);
            return columns<2>(freq.size(), [&](const auto& out) {
                antenna::peak(antennas, freq, out[0], out[1]);
            });
        },
        py::arg("kind").noconvert(), py::arg("numbers"), py::arg("freq_mhz").noconvert());
}

}  // namespace farhear::bind
