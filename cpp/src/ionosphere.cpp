#include "farhear/ionosphere.hpp"

#include <date/date.h>

#include <Eigen/Core>
#include <algorithm>
#include <chrono>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>
#include <utility>

#include "checks.hpp"
#include "elementary.hpp"
#include "farhear/error.hpp"
#include "map_series.hpp"
#include "scales.hpp"
#include "vector_math.hpp"

namespace farhear::ionosphere {

namespace {

using scales::smooth_step;
using vector_math::kDeg_per_rad;
using vector_math::kRad_per_deg;

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

}  // namespace

// ---------------------------------------------------------------- solar index

double f107_from_r12(double r12) noexcept { return 63.7 + (0.728 + 8.9e-4 * r12) * r12; }

double r12_from_f107(double f107_sfu) noexcept {
    constexpr double kHalf = 0.728 / (2.0 * 8.9e-4);
    if (f107_sfu <= 63.7) {
        return 0.0;
    }
    return std::sqrt(kHalf * kHalf + (f107_sfu - 63.7) / 8.9e-4) - kHalf;
}

double ig12_from_r12(double r12) noexcept {
    return -12.349154 + (1.4683266 - 2.67690893e-3 * r12) * r12;
}

double map_index(double f107_sfu, bool saturate) noexcept {
    constexpr double kTop = 1.4683266 / (2.0 * 2.67690893e-3);  // the quadratic turns over here
    const double r12 = r12_from_f107(f107_sfu);
    return ig12_from_r12(std::min(r12, saturate ? 150.0 : kTop));
}

// ---------------------------------------------------------------- maps

Maps::Maps(std::vector<double> fof2, std::vector<double> m3000)
    : fof2_(std::move(fof2)), m3000_(std::move(m3000)) {
    checks::same_length("fof2", fof2_.size(), std::size_t{12} * 2 * kFof2Terms_count * 13);
    checks::same_length("m3000", m3000_.size(), std::size_t{12} * 2 * kM3000Terms_count * 9);
    for (const auto* values : {&fof2_, &m3000_}) {
        for (std::size_t i = 0; i < values->size(); ++i) {
            if (!std::isfinite((*values)[i])) {
                throw InputError(checks::text("map coefficient ", i, " is not finite"));
            }
        }
    }
}

Terms Maps::collapse(const map_series::Months& months, double ig12) const {
    Terms out{};
    map_series::collapse<kFof2Harmonics_count>(fof2_, months, ig12 / 100.0, out.fof2);
    map_series::collapse<kM3000Harmonics_count>(m3000_, months, ig12 / 100.0, out.m3000);
    return out;
}

Terms Maps::at(double t_unix_s, double ig12) const {
    return collapse(map_series::between_months(t_unix_s), ig12);
}

Terms Maps::month(int month, double ut_h, double ig12) const {
    if (month < 1 || month > 12) {
        throw InputError(checks::text("month = ", month, " is outside [1, 12]"));
    }
    const auto index = static_cast<std::size_t>(month - 1);
    return collapse({{index, index}, {1.0, 0.0}, ut_h}, ig12);
}

// ---------------------------------------------------------------- layers

double effective_zenith_deg(double zenith_deg) noexcept {
    constexpr double kTurn_deg = 86.23292796211615;
    const double e = elementary::exp(std::clamp(12.0 * (zenith_deg - kTurn_deg), -80.0, 80.0));
    return ((90.0 - 0.24 * elementary::exp(20.0 - 0.2 * zenith_deg)) * e + zenith_deg) / (e + 1.0);
}

double season(double t_unix_s) noexcept {
    constexpr double kYear_s = 365.2425 * 86400.0;
    constexpr double kSolstice_unix_s = 1734772800.0;  // December solstice of 2024, 21 Dec 09:20 UT
    return -elementary::cos(2.0 * std::numbers::pi * (t_unix_s - kSolstice_unix_s) / kYear_s);
}

double foe_mhz(double f107_sfu, double lat_deg, double zenith_deg, double season) noexcept {
    const double e = elementary::exp(0.3 * lat_deg * kRad_per_deg);
    const double s = season * (e - 1.0) / (e + 1.0);
    const double a = 1.112 - 0.019 * s;
    const double cosine =
        std::max(elementary::cos(effective_zenith_deg(zenith_deg) * kRad_per_deg), 0.0);
    return std::sqrt(0.49 + a * a * std::sqrt(f107_sfu) * elementary::pow(cosine, 0.6));
}

double foe_form_a_mhz(double f107_sfu, double lat_deg, double declination_deg, double zenith_deg,
                      double hours_after_sunset) noexcept {
    const double lat = std::abs(lat_deg);
    const double cos_lat = elementary::cos(lat * kRad_per_deg);
    const double a = 1.0 + 0.0094 * (f107_sfu - 66.0);
    const double noon_deg = std::min(std::abs(lat_deg - declination_deg), 80.0);
    const bool low = lat < 32.0;
    const double m = low ? -1.93 + 1.92 * cos_lat : 0.11 - 0.49 * cos_lat;
    const double b = elementary::pow(elementary::cos(noon_deg * kRad_per_deg), m);
    const double c = low ? 23.0 + 116.0 * cos_lat : 92.0 + 35.0 * cos_lat;
    const double p = lat <= 12.0 ? 1.31 : 1.20;
    double d = 0.0;
    if (zenith_deg <= 73.0) {
        d = elementary::pow(elementary::cos(zenith_deg * kRad_per_deg), p);
    } else if (zenith_deg < 90.0) {
        const double shift_deg = 6.27e-13 * elementary::pow(zenith_deg - 50.0, 8.0);
        d = elementary::pow(elementary::cos((zenith_deg - shift_deg) * kRad_per_deg), p);
    } else {
        d = elementary::pow(0.072, p) * elementary::exp(25.2 - 0.28 * zenith_deg);
        if (!std::isnan(hours_after_sunset)) {
            d = std::max(elementary::pow(0.072, p) * elementary::exp(-1.4 * hours_after_sunset), d);
        }
    }
    const double root = 1.0 + 0.021 * f107_sfu;
    return elementary::pow(std::max(a * b * c * d, 0.004 * root * root), 0.25);
}

namespace {

/// Zenith angle up to which the F1 layer exists. [deg]
double f1_limit_deg(double r12, double dip_lat_deg) noexcept {
    const double limit_0 = 50.0 + 0.348 * dip_lat_deg;
    const double limit_100 = 38.7 + 0.509 * dip_lat_deg;
    return limit_0 + 0.01 * (limit_100 - limit_0) * r12;
}

double f1_critical_mhz(double r12, double l, double zenith_deg) noexcept {
    const double f0 = 4.35 + 0.0058 * l - 1.20e-4 * l * l;
    const double f100 = 5.348 + 0.011 * l - 2.3e-4 * l * l;
    const double n = 0.093 + 0.00461 * l - 5.40e-5 * l * l + 3.10e-4 * r12;
    return (f0 + 0.01 * (f100 - f0) * r12) *
           elementary::pow(elementary::cos(zenith_deg * kRad_per_deg), n);
}

}  // namespace

double fof1_mhz(double r12, double dip_lat_deg, double zenith_deg) noexcept {
    const double l = std::abs(dip_lat_deg);
    return zenith_deg <= f1_limit_deg(r12, l) ? f1_critical_mhz(r12, l, zenith_deg) : kNan;
}

F1 f1_layer(double r12, double dip_lat_deg, double zenith_deg) noexcept {
    constexpr double kDark_deg = 89.0;
    const double l = std::abs(dip_lat_deg);
    const double limit = std::min(f1_limit_deg(r12, l), kDark_deg - 4.0);
    const double presence = 1.0 - smooth_step(zenith_deg, limit - 10.0, limit + 4.0);
    return {presence > 0.0 ? f1_critical_mhz(r12, l, zenith_deg) : 0.0, presence};
}

double hmf1_km(double zenith_deg) noexcept { return 165.0 + 0.64 * zenith_deg; }

double half_thickness_f2_km(double fof2_mhz, double m3000f2_ratio) noexcept {
    const double nmf2 = 1.24e10 * fof2_mhz * fof2_mhz;
    return 2.493 * 3.85e-12 * nmf2 /
           (0.01 * elementary::exp(-3.467 + 1.714 * elementary::log(fof2_mhz) +
                                   2.02 * elementary::log(m3000f2_ratio)));
}

double hmf2_km(double fof2_mhz, double m3000f2_ratio, double foe_mhz, double r12,
               double modip_deg) noexcept {
    const double x = std::max(fof2_mhz / foe_mhz, 1.7);
    const double f1 = 0.00232 * r12 + 0.222;
    const double f2 = 1.0 - r12 / 150.0 * elementary::exp(-(modip_deg / 40.0) * (modip_deg / 40.0));
    const double f3 = 1.2 - 0.0116 * elementary::exp(r12 / 41.84);
    const double f4 = 0.096 * (r12 - 25.0) / 150.0;
    return 1490.0 / (m3000f2_ratio + f1 * f2 / (x - f3) + f4) - 176.0;
}

double fof2_spread(double zenith_deg, double modip_deg, double geomagnetic_lat_deg) noexcept {
    const double night = smooth_step(zenith_deg, 80.0, 100.0);
    const double middle = smooth_step(std::abs(modip_deg), 20.0, 30.0);
    const double day_part = 0.12 + (0.08 - 0.12) * middle;
    const double night_part = 0.30 + (0.16 - 0.30) * middle;
    const double high = 1.0 + 0.4 * smooth_step(std::abs(geomagnetic_lat_deg), 50.0, 60.0);
    return (day_part + (night_part - day_part) * night) * high;
}

// ---------------------------------------------------------------- everything together

Instant prepare(const Maps& maps, double t_unix_s, double f107_sfu, const Drive& drive) {
    Instant out{};
    out.t_unix_s = t_unix_s;
    out.f107_sfu = f107_sfu;
    out.r12 = r12_from_f107(f107_sfu);
    out.season = season(t_unix_s);
    out.field_year =
        std::isnan(drive.field_year) ? map_series::middle_of_year(t_unix_s) : drive.field_year;
    out.sun = sun::subsolar(t_unix_s);
    out.terms = maps.at(t_unix_s, map_index(f107_sfu, drive.saturate));
    return out;
}

std::vector<std::optional<Instant>> prepare(const Maps& maps, std::span<const double> t_unix_s,
                                            std::span<const double> f107_sfu, const Drive& drive) {
    checks::same_length("f107_sfu", f107_sfu.size(), t_unix_s.size());
    checks::within("f107_sfu", f107_sfu, 50.0, 400.0);
    std::vector<std::optional<Instant>> out(t_unix_s.size());
    for (std::size_t t = 0; t < out.size(); ++t) {
        if (!std::isnan(t_unix_s[t]) && !std::isnan(f107_sfu[t])) {
            out[t] = prepare(maps, t_unix_s[t], f107_sfu[t], drive);
        }
    }
    return out;
}

Place prepare(const magnetic::Model& field, double year, double lat_deg, double lon_deg) {
    const auto at_300 = field.components(year, lat_deg, lon_deg, 300.0);
    const auto at_100 = field.components(year, lat_deg, lon_deg, 100.0);
    const double dip_deg = magnetic::dip_deg(at_300);
    Place out{};
    out.lat_deg = lat_deg;
    out.lon_deg = lon_deg;
    out.lon_rad = lon_deg * kRad_per_deg;
    const auto lat = vector_math::sincos(lat_deg * kRad_per_deg);
    out.sin_lat = lat.sin;
    out.cos_lat = lat.cos;
    out.modip_deg = magnetic::modip_deg(dip_deg, lat_deg);
    out.dip_lat_deg =
        elementary::atan(0.5 * elementary::tan(dip_deg * kRad_per_deg)) * kDeg_per_rad;
    out.geomagnetic_lat_deg = field.geomagnetic_lat_deg(year, lat_deg, lon_deg);
    out.gyro_300_mhz = magnetic::gyro_mhz(at_300);
    out.gyro_100_mhz = magnetic::gyro_mhz(at_100);
    out.terms = basis(lat_deg, lon_deg, out.modip_deg);
    return out;
}

double zenith_deg(const Place& place, const Instant& instant) noexcept {
    const double c = sun::cos_zenith(instant.sun, place.sin_lat, place.cos_lat, place.lon_rad);
    return elementary::acos(std::clamp(c, -1.0, 1.0)) * kDeg_per_rad;
}

double foe_mhz(const Place& place, const Instant& instant, double zenith_deg,
               const Drive& drive) noexcept {
    if (!drive.foe_form_a) {
        return foe_mhz(instant.f107_sfu, place.lat_deg, zenith_deg, instant.season);
    }
    // hour angle now and at sunset (zenith 90 deg), west positive
    const double turn = 2.0 * std::numbers::pi;
    const double hour_angle = instant.sun.greenwich_hour_angle_rad + place.lon_rad;
    const double cos_set = -place.sin_lat * instant.sun.sin_declination /
                           (std::max(place.cos_lat, 1e-9) * instant.sun.cos_declination);
    double hours = kNan;
    if (std::abs(cos_set) < 1.0) {
        const double since = hour_angle - elementary::acos(cos_set);
        hours = (since - turn * std::floor(since / turn)) * 24.0 / turn;
    }
    const double declination_deg = instant.sun.declination_rad * kDeg_per_rad;
    return foe_form_a_mhz(instant.f107_sfu, place.lat_deg, declination_deg, zenith_deg, hours);
}

Characteristics characteristics(const Place& place, const Instant& instant,
                                const Drive& drive) noexcept {
    const MapValues map = combine(place.terms, instant.terms);
    Characteristics out{};
    out.fof2_mhz = map.fof2_mhz < 0.5 ? 0.5 : map.fof2_mhz;  // NaN stays
    out.m3000f2_ratio = std::clamp(map.m3000f2_ratio, 1.5, 4.5);
    out.zenith_deg = zenith_deg(place, instant);
    out.foe_mhz = foe_mhz(place, instant, out.zenith_deg, drive);
    out.fof1_mhz = fof1_mhz(instant.r12, place.dip_lat_deg, out.zenith_deg);
    const double r12 = drive.saturate ? std::min(instant.r12, 150.0) : instant.r12;
    out.hmf2_km = hmf2_km(out.fof2_mhz, out.m3000f2_ratio, out.foe_mhz, r12, place.modip_deg);
    return out;
}

void characteristics(const Maps& maps, const magnetic::Model& field, const Drive& drive,
                     std::span<const double> lat_deg, std::span<const double> lon_deg,
                     std::span<const double> t_unix_s, std::span<const double> f107_sfu,
                     std::span<const std::int64_t> place_index,
                     std::span<const std::int64_t> instant_index, const CharacteristicsOut& out) {
    for (const auto& buffer :
         {out.fof2_mhz, out.m3000f2_ratio, out.foe_mhz, out.fof1_mhz, out.hmf2_km}) {
        checks::same_length("output", buffer.size(), out.fof2_mhz.size());
    }
    each_pair(maps, field, drive, lat_deg, lon_deg, t_unix_s, f107_sfu, place_index, instant_index,
              out.fof2_mhz.size(), [&](std::size_t i, const Place* place, const Instant* instant) {
                  Characteristics c = {kNan, kNan, kNan, kNan, kNan, kNan};
                  if (place != nullptr) {
                      c = characteristics(*place, *instant, drive);
                  }
                  out.fof2_mhz[i] = c.fof2_mhz;
                  out.m3000f2_ratio[i] = c.m3000f2_ratio;
                  out.foe_mhz[i] = c.foe_mhz;
                  out.fof1_mhz[i] = c.fof1_mhz;
                  out.hmf2_km[i] = c.hmf2_km;
              });
}

void each_pair(const Maps& maps, const magnetic::Model& field, const Drive& drive,
               std::span<const double> lat_deg, std::span<const double> lon_deg,
               std::span<const double> t_unix_s, std::span<const double> f107_sfu,
               std::span<const std::int64_t> place_index,
               std::span<const std::int64_t> instant_index, std::size_t size, const PairUse& use) {
    const std::size_t places = lat_deg.size();
    checks::same_length("lon_deg", lon_deg.size(), places);
    checks::within("lat_deg", lat_deg, -90.0, 90.0);
    const checks::Pairs pairs(places, t_unix_s.size(), place_index, instant_index);
    checks::same_length("output", size, pairs.size());
    const auto instants = prepare(maps, t_unix_s, f107_sfu, drive);
    std::size_t current = places;  // none yet
    double year = kNan;
    Place place{};
    for (std::size_t i = 0; i < pairs.size(); ++i) {
        const auto [p, t] = pairs[i];
        const auto& instant = instants[t];
        if (!instant || std::isnan(lat_deg[p]) || std::isnan(lon_deg[p])) {
            use(i, nullptr, nullptr);
            continue;
        }
        if (p != current || instant->field_year != year) {
            current = p;
            year = instant->field_year;
            place = prepare(field, year, lat_deg[p], lon_deg[p]);
        }
        use(i, &place, &*instant);
    }
}

}  // namespace farhear::ionosphere
