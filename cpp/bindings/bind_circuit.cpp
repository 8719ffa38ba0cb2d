#include <pybind11/native_enum.h>
#include <pybind11/stl.h>

#include <array>
#include <cmath>
#include <limits>
#include <vector>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/circuit.hpp"

namespace farhear::bind {

namespace {

/// Mode budgets of one emission at one instant, and the frequency-free numbers beside them.
py::tuple modes(const circuit::Models& models, const ionosphere::Drive& drive,
                const circuit::Options& options, const circuit::Ends& ends, double freq_mhz,
                double power_kw, double gain_dbi, const ArrayIn& pattern_dbi, double t_unix_s,
                double f107_sfu, const std::array<double, 4>& disturbance) {
    std::vector<circuit::Mode> found;
    double muf_mhz = 0.0;
    {
        const auto pattern = view(pattern_dbi);
        const py::gil_scoped_release unlocked;
        circuit::Circuit circuit(models, ends);
        const auto instant = ionosphere::prepare(*models.maps, t_unix_s, f107_sfu, drive);
        const circuit::Moment moment = {
            instant,
            models.es->at(t_unix_s, instant.r12),
            {disturbance[0], disturbance[1], disturbance[2], disturbance[3]}};
        circuit.at(moment, drive, options);
        muf_mhz = circuit.muf_mhz();
        (void)circuit.receive({freq_mhz, power_kw, gain_dbi, pattern}, 0.0, &found);
    }
    return py::make_tuple(found, muf_mhz);
}

ArrayIn muf(const circuit::Models& models, const ionosphere::Drive& drive,
            const circuit::Options& options, skywave::Route route,
            const std::array<ArrayIn, 5>& ends, const ArrayIn& t_unix_s, const ArrayIn& f107_sfu,
            const IndexIn& circuit_index, const IndexIn& instant_index) {
    const auto n = static_cast<std::size_t>(ends[0].size());
    std::vector<circuit::Ends> circuits(n);
    for (std::size_t i = 0; i < n; ++i) {
        circuits[i] = {view(ends[0])[i], view(ends[1])[i], view(ends[2])[i],
                       view(ends[3])[i], view(ends[4])[i], route};
    }
    auto out = make(circuit_index.size() == 0 ? n * static_cast<std::size_t>(t_unix_s.size())
                                              : static_cast<std::size_t>(circuit_index.size()));
    const auto t = view(t_unix_s);
    const auto flux = view(f107_sfu);
    const auto circuit_of = view(circuit_index);
    const auto instant_of = view(instant_index);
    const auto result = view_out(out);
    {
        const py::gil_scoped_release unlocked;
        circuit::muf(models, drive, options, circuits, t, flux, circuit_of, instant_of, result);
    }
    return out;
}

/// Nine columns in the order of the layers of bind_rays.cpp.
auto median_layers(const ionosphere::Maps& maps, const magnetic::Model& field,
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
    return columns<9>(n, [&](const auto& out) {
        constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
        ionosphere::each_pair(
            maps, field, drive, lat, lon, t, flux, place_of, instant_of, n,
            [&](std::size_t i, const ionosphere::Place* place, const ionosphere::Instant* instant) {
                rays::Layers at = {{kNan, kNan, kNan}, {kNan, kNan, kNan}, {kNan, kNan, kNan}};
                if (place != nullptr) {
                    at = circuit::median_layers(*place, *instant, drive);
                }
                std::size_t column = 0;
                for (const rays::Layer& one : {at.e, at.f1, at.f2}) {
                    for (const double value :
                         {one.critical_mhz, one.peak_km, one.half_thickness_km}) {
                        out[column++][i] = value;
                    }
                }
            });
    });
}

}  // namespace

void bind_circuit(py::module_& m) {
    py::class_<circuit::Models>(m, "Models")
        .def(py::init([](const ionosphere::Maps& maps, const magnetic::Model& field,
                         const sporadic::Maps& es, const losses::Land& land) {
                 return circuit::Models{&maps, &field, &es, &land};
             }),
             py::arg("maps"), py::arg("field"), py::arg("es"), py::arg("land"),
             py::keep_alive<1, 2>(), py::keep_alive<1, 3>(), py::keep_alive<1, 4>(),
             py::keep_alive<1, 5>());
    py::class_<circuit::Options>(m, "Options")
        .def(py::init<>())
        .def_readwrite("f1", &circuit::Options::f1)
        .def_readwrite("focusing", &circuit::Options::focusing)
        .def_readwrite("high_ray", &circuit::Options::high_ray)
        .def_readwrite("sporadic_e", &circuit::Options::sporadic_e)
        .def_readwrite("auroral", &circuit::Options::auroral)
        .def_readwrite("low_angle", &circuit::Options::low_angle)
        .def_readwrite("scatter_db", &circuit::Options::scatter_db)
        .def_readwrite("fof2_spread", &circuit::Options::fof2_spread)
        .def_readwrite("most_focusing_db", &circuit::Options::most_focusing_db)
        .def_readwrite("absorption_scale", &circuit::Options::absorption_scale)
        .def_readwrite("night_absorption", &circuit::Options::night_absorption)
        .def_readwrite("integral_absorption", &circuit::Options::integral_absorption)
        .def_readwrite("other_loss_db", &circuit::Options::other_loss_db)
        .def_readwrite("es_dependence", &circuit::Options::es_dependence);
    py::class_<circuit::Ends>(m, "Ends").def(
        py::init<double, double, double, double, double, skywave::Route>(), py::arg("tx_lat_deg"),
        py::arg("tx_lon_deg"), py::arg("rx_lat_deg"), py::arg("rx_lon_deg"),
        py::arg("min_elevation_deg"), py::arg("route"));
    py::native_enum<circuit::Layer>(m, "Layer", "enum.IntEnum")
        .value("NONE", circuit::Layer::kNone)
        .value("E", circuit::Layer::kE)
        .value("F2", circuit::Layer::kF2)
        .value("F1", circuit::Layer::kF1)
        .value("ES", circuit::Layer::kEs)
        .value("MIXED", circuit::Layer::kMixed)
        .finalize();
    py::class_<circuit::Mode>(m, "Mode")
        .def_readonly("layer", &circuit::Mode::layer)
        .def_readonly("long_path", &circuit::Mode::long_path)
        .def_readonly("high_ray", &circuit::Mode::high_ray)
        .def_readonly("hops", &circuit::Mode::hops)
        .def_readonly("elevation_deg", &circuit::Mode::elevation_deg)
        .def_readonly("group_path_km", &circuit::Mode::group_path_km)
        .def_readonly("muf_mhz", &circuit::Mode::muf_mhz)
        .def_readonly("screening_mhz", &circuit::Mode::screening_mhz)
        .def_readonly("gain_dbi", &circuit::Mode::gain_dbi)
        .def_readonly("free_space_db", &circuit::Mode::free_space_db)
        .def_readonly("focusing_db", &circuit::Mode::focusing_db)
        .def_readonly("absorption_db", &circuit::Mode::absorption_db)
        .def_readonly("ground_db", &circuit::Mode::ground_db)
        .def_readonly("auroral_db", &circuit::Mode::auroral_db)
        .def_readonly("horizon_db", &circuit::Mode::horizon_db)
        .def_readonly("low_angle_db", &circuit::Mode::low_angle_db)
        .def_readonly("support_db", &circuit::Mode::support_db)
        .def_readonly("screening_db", &circuit::Mode::screening_db)
        .def_readonly("other_db", &circuit::Mode::other_db)
        .def_readonly("field_dbuv_m", &circuit::Mode::field_dbuv_m);
    m.def("modes", &modes, py::arg("models"), py::arg("drive"), py::arg("options"), py::arg("ends"),
          py::arg("freq_mhz"), py::arg("power_kw"), py::arg("gain_dbi"),
          py::arg("pattern_dbi").noconvert(), py::arg("t_unix_s"), py::arg("f107_sfu"),
          py::arg("disturbance"));
    m.def("median_layers", &median_layers, py::arg("maps"), py::arg("field"), py::arg("drive"),
          py::arg("lat_deg").noconvert(), py::arg("lon_deg").noconvert(),
          py::arg("t_unix_s").noconvert(), py::arg("f107_sfu").noconvert(),
          py::arg("place_index").noconvert(), py::arg("instant_index").noconvert());
    m.def("muf", &muf, py::arg("models"), py::arg("drive"), py::arg("options"), py::arg("route"),
          py::arg("ends"), py::arg("t_unix_s").noconvert(), py::arg("f107_sfu").noconvert(),
          py::arg("circuit_index").noconvert(), py::arg("instant_index").noconvert());
}

}  // namespace farhear::bind
