#include <pybind11/native_enum.h>
#include <pybind11/stl.h>

#include <vector>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/skywave.hpp"

namespace farhear::bind {

namespace {

ArrayIn muf(const ionosphere::Maps& maps, const magnetic::Model& field,
            const ionosphere::Drive& drive, skywave::Route route, const ArrayIn& tx_lat_deg,
            const ArrayIn& tx_lon_deg, const ArrayIn& rx_lat_deg, const ArrayIn& rx_lon_deg,
            const ArrayIn& min_elevation_deg, const ArrayIn& t_unix_s, const ArrayIn& f107_sfu,
            const IndexIn& circuit_index, const IndexIn& instant_index) {
    auto out = make(static_cast<std::size_t>(
        circuit_index.size() == 0 ? tx_lat_deg.size() * t_unix_s.size() : circuit_index.size()));
    const skywave::EndColumns ends = {view(tx_lat_deg), view(tx_lon_deg), view(rx_lat_deg),
                                      view(rx_lon_deg), view(min_elevation_deg)};
    const auto t = view(t_unix_s);
    const auto flux = view(f107_sfu);
    const auto circuit_of = view(circuit_index);
    const auto instant_of = view(instant_index);
    const auto result = std::span<double>(out.mutable_data(), static_cast<std::size_t>(out.size()));
    {
        const py::gil_scoped_release unlocked;
        skywave::muf(maps, field, drive, route, ends, t, flux, circuit_of, instant_of, result);
    }
    return out;
}

}  // namespace

void bind_skywave(py::module_& m) {
    py::native_enum<skywave::Route>(m, "Route", "enum.IntEnum")
        .value("SHORT", skywave::Route::kShort)
        .value("LONG", skywave::Route::kLong)
        .value("BOTH", skywave::Route::kBoth)
        .finalize();
    py::native_enum<skywave::Layer>(m, "Layer", "enum.IntEnum")
        .value("NONE", skywave::Layer::kNone)
        .value("E", skywave::Layer::kE)
        .value("F2", skywave::Layer::kF2)
        .finalize();
    py::class_<skywave::Mode>(m, "Mode")
        .def_readonly("layer", &skywave::Mode::layer)
        .def_readonly("long_path", &skywave::Mode::long_path)
        .def_readonly("hops", &skywave::Mode::hops)
        .def_readonly("elevation_deg", &skywave::Mode::elevation_deg)
        .def_readonly("group_path_km", &skywave::Mode::group_path_km)
        .def_readonly("muf_mhz", &skywave::Mode::muf_mhz)
        .def_readonly("spread", &skywave::Mode::spread)
        .def_readonly("screening_mhz", &skywave::Mode::screening_mhz)
        .def_readonly("absorption_db", &skywave::Mode::absorption_db)
        .def_readonly("ground_db", &skywave::Mode::ground_db)
        .def_readonly("horizon_db", &skywave::Mode::horizon_db)
        .def_readonly("free_space_db", &skywave::Mode::free_space_db)
        .def_readonly("field_dbuv_m", &skywave::Mode::field_dbuv_m);
    m.def(
        "modes",
        [](const ionosphere::Maps& maps, const magnetic::Model& field,
           const ionosphere::Drive& drive, skywave::Route route, double tx_lat_deg,
           double tx_lon_deg, double rx_lat_deg, double rx_lon_deg, double freq_mhz,
           double power_kw, double tx_gain_dbi, double min_elevation_deg, double t_unix_s,
           double f107_sfu) {
            const py::gil_scoped_release unlocked;
            skywave::Finder finder(field, {tx_lat_deg, tx_lon_deg, rx_lat_deg, rx_lon_deg, freq_mhz,
                                           power_kw, tx_gain_dbi, min_elevation_deg, route});
            const auto found =
                finder.find(ionosphere::prepare(maps, t_unix_s, f107_sfu, drive), drive);
            return std::vector<skywave::Mode>(
                found.list.begin(), found.list.begin() + static_cast<std::ptrdiff_t>(found.count));
        },
        py::arg("maps"), py::arg("field"), py::arg("drive"), py::arg("route"),
        py::arg("tx_lat_deg"), py::arg("tx_lon_deg"), py::arg("rx_lat_deg"), py::arg("rx_lon_deg"),
        py::arg("freq_mhz"), py::arg("power_kw"), py::arg("tx_gain_dbi"),
        py::arg("min_elevation_deg"), py::arg("t_unix_s"), py::arg("f107_sfu"));
    m.def("muf", &muf, py::arg("maps"), py::arg("field"), py::arg("drive"), py::arg("route"),
          py::arg("tx_lat_deg").noconvert(), py::arg("tx_lon_deg").noconvert(),
          py::arg("rx_lat_deg").noconvert(), py::arg("rx_lon_deg").noconvert(),
          py::arg("min_elevation_deg").noconvert(), py::arg("t_unix_s").noconvert(),
          py::arg("f107_sfu").noconvert(), py::arg("circuit_index").noconvert(),
          py::arg("instant_index").noconvert());
}

}  // namespace farhear::bind
