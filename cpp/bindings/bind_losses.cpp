#include <array>
#include <cstddef>
#include <span>
#include <utility>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/error.hpp"
#include "farhear/losses.hpp"

namespace farhear::bind {

namespace {

/// One column for every index: lets a pack of indices stand for a pack of arguments.
template <std::size_t>
using Column = const ArrayIn&;

/// m.name(columns, ...) -> a column for each of the values that function(doubles, ...) returns.
template <std::size_t kOut, typename Function, std::size_t... kIndex>
void bind_columns(py::module_& m, const char* name, const Function& function,
                  const std::array<const char*, sizeof...(kIndex)>& arguments,
                  std::index_sequence<kIndex...> /*indices*/) {
    m.def(
        name,
        [function](Column<kIndex>... in) {
            const std::array<std::span<const double>, sizeof...(kIndex)> columns_in{view(in)...};
            const std::size_t n = columns_in[0].size();
            if (((columns_in[kIndex].size() != n) || ...)) {
                throw InputError("columns of unequal length");
            }
            return columns<kOut>(n, [&](const auto& out) {
                for (std::size_t i = 0; i < n; ++i) {
                    const std::array<double, kOut> values = function(columns_in[kIndex][i]...);
                    for (std::size_t k = 0; k < kOut; ++k) {
                        out[k][i] = values[k];  // NOLINT: k < kOut
                    }
                }
            });
        },
        py::arg(arguments[kIndex]).noconvert()...);
}

template <std::size_t kOut, std::size_t kIn, typename Function>
void bind_columns(py::module_& m, const char* name, const char* const (&arguments)[kIn],  // NOLINT
                  const Function& function) {
    bind_columns<kOut>(m, name, function, std::to_array(arguments),
                       std::make_index_sequence<kIn>{});
}

}  // namespace

void bind_losses(py::module_& m) {
    using Value = std::array<double, 1>;
    using Two = std::array<double, 2>;
    bind_columns<1>(m, "auroral_db",
                    {"geomagnetic_lat_deg", "local_time_h", "season_phase", "distance_km"},
                    [](double lat, double time, double season, double distance) {
                        return Value{losses::auroral_db(lat, time, season, distance)};
                    });
    bind_columns<1>(m, "local_time_h", {"lon_deg", "t_unix_s"},
                    [](double lon, double t) { return Value{losses::local_time_h(lon, t)}; });
    bind_columns<2>(m, "quiet_d_profile", {"zenith_deg"}, [](double zenith) {
        const auto p = losses::quiet_d_profile(zenith);
        return Two{p.h_prime_km, p.beta_per_km};
    });
    bind_columns<1>(
        m, "d_profile_db",
        {"freq_mhz", "gyro_longitudinal_mhz", "h_prime_km", "beta_per_km", "cos_elevation"},
        [](double freq, double gyro, double h, double beta, double cosine) {
            return Value{losses::DRegion(losses::DProfile{h, beta}).loss_db(freq, gyro, cosine)};
        });
    bind_columns<1>(
        m, "d_region_db",
        {"freq_mhz", "gyro_longitudinal_mhz", "zenith_deg", "cos_elevation", "xray_w_m2"},
        [](double freq, double gyro, double zenith, double cosine, double xray) {
            return Value{losses::d_region_db(freq, gyro, zenith, cosine, xray)};
        });
    bind_columns<1>(m, "flare_db", {"freq_mhz", "xray_w_m2", "zenith_deg", "cos_elevation"},
                    [](double freq, double xray, double zenith, double cosine) {
                        return Value{losses::flare_db(freq, xray, zenith, cosine)};
                    });
    bind_columns<1>(
        m, "polar_cap_db",
        {"freq_mhz", "flux_2_pfu", "flux_5_pfu", "zenith_deg", "geomagnetic_lat_deg",
         "cos_elevation"},
        [](double freq, double two, double five, double zenith, double lat, double cosine) {
            return Value{losses::polar_cap_db(freq, two, five, zenith, lat, cosine)};
        });
    bind_columns<1>(m, "storm_factor", {"kp", "modip_deg"},
                    [](double kp, double modip) { return Value{losses::storm_factor(kp, modip)}; });
    bind_columns<1>(
        m, "reflected_share",
        {"permittivity_ratio", "conductivity_s_m", "freq_mhz", "sin_elevation"},
        [](double permittivity, double conductivity, double freq, double sine) {
            return Value{losses::reflected_share({permittivity, conductivity}, freq, sine)};
        });
    bind_columns<1>(m, "ground_reflection_db", {"freq_mhz", "sin_elevation", "sea_share"},
                    [](double freq, double sine, double sea) {
                        return Value{losses::ground_reflection_db(freq, sine, sea)};
                    });
    bind_columns<2>(m, "day_deciles", {"freq_over_muf_ratio", "geomagnetic_lat_deg"},
                    [](double ratio, double lat) {
                        const auto d = losses::day_deciles(ratio, lat);
                        return Two{d.lower_db, d.upper_db};
                    });

    py::class_<losses::Land>(m, "Land")
        .def(py::init([](const zone::Regions& land) {
                 const py::gil_scoped_release unlocked;
                 return losses::Land(land);
             }),
             py::arg("land"))
        .def(
            "sea_share",
            [](const losses::Land& self, const ArrayIn& lat_deg, const ArrayIn& lon_deg) {
                const auto lat = view(lat_deg);
                const auto lon = view(lon_deg);
                return columns<1>(lat.size(),
                                  [&](const auto& out) { self.sea_share(lat, lon, out[0]); });
            },
            py::arg("lat_deg").noconvert(), py::arg("lon_deg").noconvert());
}

}  // namespace farhear::bind
