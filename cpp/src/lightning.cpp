#include "farhear/lightning.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>

#include "checks.hpp"
#include "elementary.hpp"
#include "farhear/path.hpp"
#include "farhear/skywave.hpp"
#include "scales.hpp"
#include "vector_math.hpp"

namespace farhear::lightning {

namespace {

using scales::kNeper_per_db;
using vector_math::kRad_per_deg;

struct Storm {
    double lat_deg;
    double lon_deg;
    double rate_per_s;  // annual mean
    double season;      // +1 most in late July, -1 in late January
};
// [assumption]: placed and weighted by hand after the published facts: 46 flashes/s in the mean, 35
// in February and 60 in August, mostly over tropical land, most over the eastern Congo (satellite
// climatology, Cecil et al., abstract [read]).
constexpr std::array<Storm, kSources_count> kStorms = {
    {{0, 22, 8, 0},         {8, 0, 4, 0.3},      {-18, 27, 3, -0.8},  {8, 38, 1.5, 0.5},
     {-8, -55, 5, -0.5},    {8, -73, 3, 0.3},    {-27, -58, 3, -0.6}, {18, -88, 2, 0.7},
     {31, -88, 2.5, 0.7},   {38, -97, 1.5, 0.8}, {22, -104, 1, 0.8},  {2, 108, 4, 0},
     {-15, 132, 1.2, -0.9}, {29, 78, 1.8, 0.7},  {25, 91, 1, 0.6},    {15, 102, 1.5, 0.5},
     {25, 113, 1, 0.6},     {43, 14, 0.6, 0.6},  {49, 28, 0.4, 0.9},  {55, 80, 0.3, 0.95},
     {-33, 150, 0.3, -0.7}}};

constexpr double kFlash_j_per_hz = 4e-4;  // at 1 MHz [assumption]
constexpr double kT0_j = 1.380649e-23 * 290.0;
constexpr double kNearest_km = 600.0;  // an area, not a point
constexpr double kHop_km = 3000.0;
constexpr double kMirror_km = 300.0;
constexpr double kRest_db = 6.0;          // [assumption]
constexpr double kPeak_deg = 15.0 * 4.5;  // 16.5 h local solar time [read: 15 to 17 h]
constexpr double kSharpness = 1.62;       // the half-width of a bell of 3 h [assumption]
constexpr double kYear_s = 365.2425 * 86400.0;
constexpr double kSummer_unix_s = 1753315200.0;  // 24 July 2025
constexpr double kSpread = 0.15;                 // of ln(MUF) from day to day [assumption]
constexpr double kLogistic = 1.702;  // a normal distribution of unit spread as a logistic one
constexpr double kUpper_db = 9.0;    // [assumption]
constexpr double kLower_db = 7.0;    // [assumption]

}  // namespace

Receiver::Receiver(const magnetic::Model& field, double year, double lat_deg, double lon_deg)
    : ways_{} {
    const auto rx = path::unit_vector(lat_deg, lon_deg);
    for (std::size_t s = 0; s < kSources_count; ++s) {
        const Storm& storm = kStorms.at(s);
        const auto tx = path::unit_vector(storm.lat_deg, storm.lon_deg);
        const double distance =
            std::max(path::kEarthRadius_km * path::central_angle_rad(tx, rx), kNearest_km);
        const double hops = std::max(1.0, distance / kHop_km);
        Way& way = ways_.at(s);
        way.hop_km = distance / hops;
        const auto hop = skywave::hop_over(way.hop_km, kMirror_km);
        const double loss_db = 32.45 + 20.0 * elementary::log10(hops * hop.slant_km) +
                               skywave::kGroundLoss_db * (hops - 1.0) + kRest_db;
        way.log_gain = elementary::log(kFlash_j_per_hz / kT0_j) - kNeper_per_db * loss_db;
        way.obliquity =
            hops * skywave::secant_incidence(hop.cos_elevation, skywave::kHeightAbsorption_km);
        way.one_hop = hops <= 1.0;
        way.rate_per_s = storm.rate_per_s;
        way.season = storm.season;
        way.cos_peak = elementary::cos((storm.lon_deg - kPeak_deg) * kRad_per_deg);
        way.sin_peak = elementary::sin((storm.lon_deg - kPeak_deg) * kRad_per_deg);
        const auto place = [&](double fraction) {
            const auto point = path::to_point(path::along(tx, rx, fraction, false));
            return ionosphere::prepare(field, year, point.lat_deg, point.lon_deg);
        };
        way.d_points = {{place(1.0 / 6.0), place(0.5), place(5.0 / 6.0)}};
        way.f2_points = {{place(0.5 / hops), place(1.0 - 0.5 / hops)}};
        for (const auto& d : way.d_points) {
            way.gyro_mhz += d.gyro_100_mhz / static_cast<double>(way.d_points.size());
        }
    }
}

State Receiver::at(const ionosphere::Instant& instant,
                   const ionosphere::Drive& drive) const noexcept {
    State out{};
    const double season =
        elementary::cos(2.0 * std::numbers::pi *
                        std::remainder(instant.t_unix_s - kSummer_unix_s, kYear_s) / kYear_s);
    const double cos_hour = elementary::cos(instant.sun.greenwich_hour_angle_rad);
    const double sin_hour = elementary::sin(instant.sun.greenwich_hour_angle_rad);
    for (std::size_t s = 0; s < kSources_count; ++s) {
        const Way& way = ways_[s];  // NOLINT: s < kSources_count, as below
        Path& path = out.paths[s];  // NOLINT
        const double cos_lag = cos_hour * way.cos_peak - sin_hour * way.sin_peak;
        const double rate = way.rate_per_s * (1.0 + way.season * season) *
                            (0.35 + 1.9 * elementary::exp(kSharpness * (cos_lag - 1.0)));
        path.log_power = elementary::log(rate) + way.log_gain;
        double factor = 0.0;
        for (const auto& d : way.d_points) {
            factor += skywave::absorption_factor(ionosphere::zenith_deg(d, instant), instant.r12);
        }
        path.absorption = way.obliquity * factor / static_cast<double>(way.d_points.size());
        path.gyro_mhz = way.gyro_mhz;
        double muf = 0.0;
        for (std::size_t i = 0; i < (way.one_hop ? 1U : 2U); ++i) {
            const auto& p = way.f2_points[i];  // NOLINT
            const auto map = ionosphere::combine(p.terms, instant.terms);
            const double fof2 = std::max(map.fof2_mhz, 0.5);
            const double m3000 = std::clamp(map.m3000f2_ratio, 1.5, 4.5);
            const double foe =
                ionosphere::foe_mhz(p, instant, ionosphere::zenith_deg(p, instant), drive);
            const double one = skywave::f2_muf_mhz(
                way.hop_km, fof2, skywave::f2_shape(fof2, foe, m3000), p.gyro_300_mhz);
            muf = i == 0 ? one : std::min(muf, one);
        }
        path.log_muf = elementary::log(muf);
    }
    return out;
}

noise::Source fa(const State& state, double freq_mhz) noexcept {
    // (f + g)^1.98 to second order about a common gyrofrequency: a power a call, not a source
    constexpr double kCommon_mhz = 1.1;
    constexpr double kPower = 1.98;
    const double log_f = elementary::log(freq_mhz);
    const double inverse = 1.0 / (freq_mhz + kCommon_mhz);
    const double common = elementary::pow(freq_mhz + kCommon_mhz, kPower);
    double sum = 0.0;
    for (const Path& p : state.paths) {
        const double x = (p.gyro_mhz - kCommon_mhz) * inverse;
        const double law = common * (1.0 + kPower * x * (1.0 + 0.5 * (kPower - 1.0) * x)) + 10.2;
        const double excess = log_f - p.log_muf;
        const double beyond = 1.0 / (1.0 + elementary::exp(-kLogistic / kSpread * excess));
        const double ratio = std::max(elementary::exp(excess) - 1.0, 0.0);
        const double through =
            elementary::exp(-kNeper_per_db * std::min(36.0 * std::sqrt(ratio) + 15.0, 62.0));
        sum += elementary::exp(p.log_power - kNeper_per_db * 677.2 * p.absorption / law) *
               (1.0 - beyond + beyond * through);
    }
    // f^-2 twice: the spectrum of a flash, and the free-space loss
    return {elementary::log(sum) / kNeper_per_db - 40.0 * elementary::log10(freq_mhz), kUpper_db,
            kLower_db};
}

void columns(const ionosphere::Maps& maps, const magnetic::Model& field,
             const ionosphere::Drive& drive, const PlaceColumns& places,
             const InstantColumns& instants, std::span<const std::int64_t> place_index,
             std::span<const std::int64_t> instant_index, const NoiseOut& out) {
    constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
    checks::same_length("lon_deg", places.lon_deg.size(), places.lat_deg.size());
    checks::same_length("freq_mhz", instants.freq_mhz.size(), instants.t_unix_s.size());
    checks::within("lat_deg", places.lat_deg, -90.0, 90.0);
    checks::within("lon_deg", places.lon_deg, -180.0, 360.0);
    checks::within("freq_mhz", instants.freq_mhz, 1.0, 30.0);
    checks::same_length("f107_sfu", instants.f107_sfu.size(), instants.t_unix_s.size());
    checks::within("f107_sfu", instants.f107_sfu, 50.0, 400.0);
    const checks::Pairs pairs(places.lat_deg.size(), instants.t_unix_s.size(), place_index,
                              instant_index);
    checks::same_length("fa_db", out.fa_db.size(), pairs.size());
    checks::same_length("upper_db", out.upper_db.size(), pairs.size());
    checks::same_length("lower_db", out.lower_db.size(), pairs.size());
    struct Known {
        std::size_t place;
        double year;
        Receiver receiver;
    };
    struct Shared {
        double t_unix_s;
        double f107_sfu;
        State state;
    };
    std::optional<Known> known;
    std::optional<Shared> shared;
    std::optional<ionosphere::Instant> instant;  // kept while time and flux are the same
    for (std::size_t i = 0; i < pairs.size(); ++i) {
        const auto [p, k] = pairs[i];
        noise::Source source{kNan, kNan, kNan};
        const double t = instants.t_unix_s[k];
        const double flux = instants.f107_sfu[k];
        if (!std::isnan(t + flux + places.lat_deg[p] + places.lon_deg[p] + instants.freq_mhz[k])) {
            if (!instant || instant->t_unix_s != t || instant->f107_sfu != flux) {
                instant = ionosphere::prepare(maps, t, flux, drive);
            }
            if (!known || known->place != p || known->year != instant->field_year) {
                known.emplace(Known{
                    p, instant->field_year,
                    Receiver(field, instant->field_year, places.lat_deg[p], places.lon_deg[p])});
                shared.reset();
            }
            if (!shared || shared->t_unix_s != instant->t_unix_s ||
                shared->f107_sfu != instant->f107_sfu) {
                shared = {instant->t_unix_s, instant->f107_sfu,
                          known->receiver.at(*instant, drive)};
            }
            source = fa(shared->state, instants.freq_mhz[k]);
        }
        out.fa_db[i] = source.fa_db;
        out.upper_db[i] = source.upper_db;
        out.lower_db[i] = source.lower_db;
    }
}

}  // namespace farhear::lightning
