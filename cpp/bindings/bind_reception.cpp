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

/// Thirteen columns in, in the order of reception::CircuitColumns; a dict of columns out.
py::dict likelihood(const circuit::Models& models, const ionosphere::Drive& drive, skywave::Route route,
                    reception::Engine engine, const circuit::Options& options,
                    const std::array<ArrayIn, 13>& circuits, const ArrayIn& t_unix_s,
                    const ArrayIn& f107_sfu, const IndexIn& circuit_index,
                    const IndexIn& instant_index) {
    const bool grid = circuit_index.size() == 0;
    const auto n = static_cast<std::size_t>(grid ? circuits[0].size() * t_unix_s.size()
                                                 : circuit_index.size());
    std::array<ArrayIn, 9> numbers;
    std::array<Bytes, 4> codes;
    for (auto& column : numbers) {
        column = make(n);
    }
    for (auto& column : codes) {
        column = Bytes(static_cast<py::ssize_t>(n));
    }
    const reception::CircuitColumns in = {view(circuits[0]), view(circuits[1]),  view(circuits[2]),
                                          view(circuits[3]), view(circuits[4]),  view(circuits[5]),
                                          view(circuits[6]), view(circuits[7]),  view(circuits[8]),
                                          view(circuits[9]), view(circuits[10]), view(circuits[11]),
                                          view(circuits[12])};
    const auto number = [&](std::size_t i) {
        return std::span<double>(numbers.at(i).mutable_data(), n);
    };
    const reception::ResultColumns out = {
        number(0),          number(1),          number(2),         number(3), number(4),
        number(5),          number(6),          number(7),         number(8), view_out(codes[0]),
        view_out(codes[1]), view_out(codes[2]), view_out(codes[3])};
    const auto t = view(t_unix_s);
    const auto flux = view(f107_sfu);
    const auto circuit_of = view(circuit_index);
    const auto instant_of = view(instant_index);
    {
        const py::gil_scoped_release unlocked;
        reception::likelihood(models, drive, route, engine, options, in, t, flux, circuit_of, instant_of, out);
    }
    py::dict result;
    const std::array<const char*, 9> number_names = {
        "likelihood", "snr_db",        "snr_lower_decile_db", "snr_upper_decile_db", "field_dbuv_m",
        "muf_mhz",    "absorption_db", "noise_fa_db",         "elevation_deg"};
    for (std::size_t i = 0; i < numbers.size(); ++i) {
        result[number_names.at(i)] = numbers.at(i);
    }
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
    m.def("likelihood", &likelihood, py::arg("models"), py::arg("drive"),
          py::arg("route"), py::arg("engine"), py::arg("options"), py::arg("circuits"), py::arg("t_unix_s").noconvert(),
          py::arg("f107_sfu").noconvert(), py::arg("circuit_index").noconvert(),
          py::arg("instant_index").noconvert());
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
