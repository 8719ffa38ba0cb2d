#include <cstddef>
#include <cstdint>
#include <vector>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/sun.hpp"

namespace farhear::bind {

namespace {

auto position(const ArrayIn& t_unix_s, const ArrayIn& lat_deg, const ArrayIn& lon_deg) {
    const auto t = view(t_unix_s);
    const auto lat = view(lat_deg);
    const auto lon = view(lon_deg);
    return columns<2>(t.size(),
                      [&](const auto& out) { sun::position(t, lat, lon, out[0], out[1]); });
}

auto position_grid(const ArrayIn& t_unix_s, const ArrayIn& lat_deg, const ArrayIn& lon_deg) {
    const auto t = view(t_unix_s);
    const auto lat = view(lat_deg);
    const auto lon = view(lon_deg);
    return columns<2>(t.size() * lat.size(),
                      [&](const auto& out) { sun::position_grid(t, lat, lon, out[0], out[1]); });
}

auto subsolar(const ArrayIn& t_unix_s) {
    const auto t = view(t_unix_s);
    return columns<2>(t.size(), [&](const auto& out) {
        for (std::size_t i = 0; i < t.size(); ++i) {
            const sun::Subsolar s = sun::subsolar(t[i]);
            out[0][i] = s.declination_rad;
            out[1][i] = s.greenwich_hour_angle_rad;
        }
    });
}

py::array_t<double> zenith_at_height_deg(const ArrayIn& height_km, const ArrayIn& screening_km) {
    const auto height = view(height_km);
    const auto screening = view(screening_km);
    auto zenith_deg = make(height.size());
    const auto zenith = view_out(zenith_deg);
    {
        const py::gil_scoped_release unlocked;
        sun::zenith_at_height_deg(height, screening, zenith);
    }
    return zenith_deg;
}

py::tuple events(const ArrayIn& t0_unix_s, const ArrayIn& t1_unix_s, const ArrayIn& lat_deg,
                 const ArrayIn& lon_deg, const ArrayIn& zenith_deg) {
    const auto t0 = view(t0_unix_s);
    const auto t1 = view(t1_unix_s);
    const auto lat = view(lat_deg);
    const auto lon = view(lon_deg);
    const auto zenith = view(zenith_deg);
    auto rise_unix_s = make(t0.size());
    auto set_unix_s = make(t0.size());
    py::array_t<std::uint8_t> state(static_cast<py::ssize_t>(t0.size()));
    const auto rise = view_out(rise_unix_s);
    const auto set = view_out(set_unix_s);
    const auto codes = view_out(state);
    {
        const py::gil_scoped_release unlocked;
        std::vector<sun::Occurs> occurs(t0.size());
        sun::events(t0, t1, lat, lon, zenith, rise, set, occurs);
        for (std::size_t i = 0; i < occurs.size(); ++i) {
            codes[i] = static_cast<std::uint8_t>(occurs[i]);
        }
    }
    return py::make_tuple(rise_unix_s, set_unix_s, state);
}

py::tuple terminator(const ArrayIn& t_unix_s, const ArrayIn& zenith_deg, std::size_t points) {
    const auto t = view(t_unix_s);
    const auto zenith = view(zenith_deg);
    auto lat_deg = make(t.size() * points);
    auto lon_deg = make(t.size() * points);
    const auto lat = view_out(lat_deg);
    const auto lon = view_out(lon_deg);
    {
        const py::gil_scoped_release unlocked;
        sun::terminator(t, zenith, points, lat, lon);
    }
    return py::make_tuple(lat_deg, lon_deg);
}

}  // namespace

void bind_sun(py::module_& m) {
    m.doc() = "sun";
    m.def("position", &position, py::arg("t_unix_s").noconvert(), py::arg("lat_deg").noconvert(),
          py::arg("lon_deg").noconvert());
    m.def("position_grid", &position_grid, py::arg("t_unix_s").noconvert(),
          py::arg("lat_deg").noconvert(), py::arg("lon_deg").noconvert());
    m.def("subsolar", &subsolar, py::arg("t_unix_s").noconvert());
    m.def("zenith_at_height_deg", &zenith_at_height_deg, py::arg("height_km").noconvert(),
          py::arg("screening_km").noconvert());
    m.def("events", &events, py::arg("t0_unix_s").noconvert(), py::arg("t1_unix_s").noconvert(),
          py::arg("lat_deg").noconvert(), py::arg("lon_deg").noconvert(),
          py::arg("zenith_deg").noconvert());
    m.def("terminator", &terminator, py::arg("t_unix_s").noconvert(),
          py::arg("zenith_deg").noconvert(), py::arg("points"));
}

}  // namespace farhear::bind
