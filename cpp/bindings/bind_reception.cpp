#include <pybind11/native_enum.h>
#include <pybind11/stl.h>

#include <array>
#include <string>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/reception.hpp"

namespace farhear::bind {

namespace {

using Bytes = py::array_t<std::uint8_t>;

/// Lets Ctrl-C end the work: a season in one call takes minutes.
void let_signals_in() {
    const py::gil_scoped_acquire locked;
    if (PyErr_CheckSignals() != 0) {
        throw py::error_already_set();
    }
}

/// Columns in the order of CircuitColumns (15, the last two may be empty), InstantColumns (6, the
/// last four may be empty) and EvaluationColumns (7, by groups empty); a dict of columns out,
/// brief: without deciles and rungs, which come empty.
py::dict likelihood(const circuit::Models& models, const ionosphere::Drive& drive,
                    skywave::Route route, reception::Engine engine, const circuit::Options& options,
                    const std::array<ArrayIn, 15>& circuits, const std::array<ArrayIn, 6>& instants,
                    const IndexIn& circuit_index, const IndexIn& instant_index,
                    const std::array<ArrayIn, 7>& evaluations, bool brief) {
    const bool grid = circuit_index.size() == 0;
    const auto n = static_cast<std::size_t>(grid ? circuits[0].size() * instants[0].size()
                                                 : circuit_index.size());
    std::array<py::array_t<double>, 13> numbers;
    std::array<Bytes, 4> codes;
    for (std::size_t i = 0; i < numbers.size(); ++i) {
        numbers.at(i) = make(brief && (i == 2 || i == 3) ? 0 : n);
    }
    for (auto& column : codes) {
        column = Bytes(static_cast<py::ssize_t>(n));
    }
    auto rungs = make(brief ? 0 : n * listening::kRungs);
    const auto c = [&](std::size_t i) { return view(circuits.at(i)); };
    const auto e = [&](std::size_t i) { return view(evaluations.at(i)); };
    const reception::CircuitColumns in = {c(0), c(1), c(2),  c(3),  c(4),  c(5),  c(6), c(7),
                                          c(8), c(9), c(10), c(11), c(12), c(13), c(14)};
    const reception::InstantColumns when = {view(instants[0]), view(instants[1]),
                                            view(instants[2]), view(instants[3]),
                                            view(instants[4]), view(instants[5])};
    const reception::EvaluationColumns each = {{e(0), e(1), e(2)}, {e(3), e(4), e(5)}, e(6)};
    const auto number = [&](std::size_t i) { return view_out(numbers.at(i)); };
    const reception::ResultColumns out = {
        number(0),          number(1),         number(2),          number(3),
        number(4),          number(5),         number(6),          number(7),
        number(8),          number(9),         number(10),         number(11),
        number(12),         view_out(rungs),   view_out(codes[0]), view_out(codes[1]),
        view_out(codes[2]), view_out(codes[3])};
    const auto circuit_of = view(circuit_index);
    const auto instant_of = view(instant_index);
    {
        const py::gil_scoped_release unlocked;
        reception::likelihood(models, drive, route, engine, options, in, when, circuit_of,
                              instant_of, each, out, &let_signals_in);
    }
    py::dict result;
    const std::array<const char*, 13> number_names = {
        "likelihood",    "snr_db",         "snr_lower_decile_db", "snr_upper_decile_db",
        "field_dbuv_m",  "muf_mhz",        "absorption_db",       "noise_fa_db",
        "elevation_deg", "noise_lower_db", "noise_upper_db",      "freq_over_muf",
        "modes_count"};
    for (std::size_t i = 0; i < numbers.size(); ++i) {
        result[number_names.at(i)] = numbers.at(i);
    }
    result["rungs"] = rungs;
    const std::array<const char*, 4> code_names = {"hops", "layer", "long_path", "limit"};
    for (std::size_t i = 0; i < codes.size(); ++i) {
        result[code_names.at(i)] = codes.at(i);
    }
    return result;
}

}  // namespace

void bind_reception(py::module_& m) {
    py::native_enum<reception::Engine>(m, "Engine", "enum.IntEnum")
        .value("RAYS", reception::Engine::kRays)
        .value("MIRROR", reception::Engine::kMirror)
        .finalize();
    m.def("likelihood", &likelihood, py::arg("models"), py::arg("drive"), py::arg("route"),
          py::arg("engine"), py::arg("options"), py::arg("circuits"), py::arg("instants"),
          py::arg("circuit_index").noconvert(), py::arg("instant_index").noconvert(),
          py::arg("evaluations"), py::arg("brief"));
    m.def(
        "beam_gain_dbi",
        [](const ArrayIn& off_beam_deg, const ArrayIn& peak_dbi, const ArrayIn& width_deg,
           const ArrayIn& floor_db) {
            auto out = make(static_cast<std::size_t>(off_beam_deg.size()));
            const auto off = view(off_beam_deg);
            const auto peak = view(peak_dbi);
            const auto width = view(width_deg);
            const auto floor = view(floor_db);
            const auto gain = view_out(out);
            {
                const py::gil_scoped_release unlocked;
                for (std::size_t i = 0; i < off.size(); ++i) {
                    gain[i] = reception::beam_gain_dbi(off[i], peak[i], width[i], floor[i]);
                }
            }
            return out;
        },
        py::arg("off_beam_deg").noconvert(), py::arg("peak_dbi").noconvert(),
        py::arg("width_deg").noconvert(), py::arg("floor_db").noconvert());
}

}  // namespace farhear::bind
