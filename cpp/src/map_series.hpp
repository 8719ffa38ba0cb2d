#pragma once
// What the maps of F2 and of sporadic E have in common: geographic functions, diurnal series,
// months. Private to the core.

#include <date/date.h>

#include <Eigen/Core>
#include <array>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <vector>

#include "vector_math.hpp"

namespace farhear::map_series {

using vector_math::kRad_per_deg;

// ---------------------------------------------------------------- geographic functions

inline constexpr std::size_t kMaxPower = 13;
inline constexpr std::size_t kMaxOrder = 9;

/// Powers of the two sines and multiples of the longitude of one place.
struct Powers {
    std::array<double, kMaxPower> sin_modip;  // sin^i(modip)
    std::array<double, kMaxOrder> cos_lon;    // cos^m(lat) cos(m lon)
    std::array<double, kMaxOrder> sin_lon;    // cos^m(lat) sin(m lon)
};

FARHEAR_INLINE void powers(double sin_modip, double cos_lat, double sin_lon, double cos_lon,
                           double* sin_modip_power, double* c, double* s, std::size_t stride) {
    sin_modip_power[0] = 1.0;
    for (std::size_t i = 1; i < kMaxPower; ++i) {
        sin_modip_power[i * stride] = sin_modip_power[(i - 1) * stride] * sin_modip;
    }
    c[0] = 1.0;
    s[0] = 0.0;
    const double x = cos_lat * cos_lon;
    const double y = cos_lat * sin_lon;
    for (std::size_t m = 1; m < kMaxOrder; ++m) {
        const double before_c = c[(m - 1) * stride];
        const double before_s = s[(m - 1) * stride];
        c[m * stride] = before_c * x - before_s * y;
        s[m * stride] = before_s * x + before_c * y;
    }
}

template <std::size_t kOrders, std::size_t kTerms>
void fill(const std::array<int, kOrders>& counts, const Powers& p,
          std::array<double, kTerms>& out) noexcept {
    std::size_t k = 0;
    for (std::size_t m = 0; m < kOrders; ++m) {
        for (std::size_t i = 0; i < static_cast<std::size_t>(counts[m]); ++i) {
            out[k++] = p.sin_modip[i] * p.cos_lon[m];
            if (m > 0) {
                out[k++] = p.sin_modip[i] * p.sin_lon[m];
            }
        }
    }
}

/// Dot product in four lanes: the order of the additions is fixed, so are the bits.
template <std::size_t kTerms>
double dot(const std::array<double, kTerms>& a, const std::array<double, kTerms>& b) noexcept {
    constexpr std::size_t kLanes = 4;
    std::array<double, kLanes> sum = {0.0, 0.0, 0.0, 0.0};
    std::size_t k = 0;
    for (; k + kLanes <= kTerms; k += kLanes) {
        for (std::size_t lane = 0; lane < kLanes; ++lane) {
            sum[lane] += a[k + lane] * b[k + lane];
        }
    }
    for (; k < kTerms; ++k) {
        sum[k % kLanes] += a[k] * b[k];
    }
    return (sum[0] + sum[1]) + (sum[2] + sum[3]);
}

inline Powers powers(double lat_deg, double lon_deg, double modip_deg) noexcept {
    Powers p{};
    const auto modip = vector_math::sincos(modip_deg * kRad_per_deg);
    const auto lat = vector_math::sincos(lat_deg * kRad_per_deg);
    const auto lon = vector_math::sincos(lon_deg * kRad_per_deg);
    powers(modip.sin, lat.cos, lon.sin, lon.cos, p.sin_modip.data(), p.cos_lon.data(),
           p.sin_lon.data(), 1);
    return p;
}

// ---------------------------------------------------------------- time

/// The two months whose middles enclose an instant, with their weights, and the hour.
struct Months {
    std::array<std::size_t, 2> month;  // 0 .. 11
    std::array<double, 2> weight;
    double ut_h;
};

/// Middle of a calendar month. [s]
inline double middle_unix_s(date::year_month month) {
    const auto start = date::sys_days{month / date::day{1}};
    const auto end = date::sys_days{(month + date::months{1}) / date::day{1}};
    return 0.5 * static_cast<double>((start.time_since_epoch() + end.time_since_epoch()).count()) *
           86400.0;
}

[[nodiscard]] inline date::sys_days day_of(double t_unix_s) {
    return date::sys_days{date::days{static_cast<int>(std::floor(t_unix_s / 86400.0))}};
}

inline double hour_of(double t_unix_s) {
    return (t_unix_s - std::floor(t_unix_s / 86400.0) * 86400.0) / 3600.0;
}

/// Middle of the calendar year, for the magnetic field.
inline double middle_of_year(double t_unix_s) {
    return static_cast<int>(date::year_month_day{day_of(t_unix_s)}.year()) + 0.5;
}

/// Linear between the middles of the two nearest months (common practice).
inline Months between_months(double t_unix_s) {
    const date::year_month_day ymd{day_of(t_unix_s)};
    const auto this_month = ymd.year() / ymd.month();
    const double middle = middle_unix_s(this_month);
    const auto other =
        t_unix_s < middle ? this_month - date::months{1} : this_month + date::months{1};
    const double w = (t_unix_s - middle) / (middle_unix_s(other) - middle);
    return {
        {static_cast<unsigned>(this_month.month()) - 1U, static_cast<unsigned>(other.month()) - 1U},
        {1.0 - w, w},
        hour_of(t_unix_s)};
}

template <std::size_t kHarmonics>
Eigen::Matrix<double, static_cast<int>(kHarmonics), 1> diurnal(double ut_h) {
    Eigen::Matrix<double, static_cast<int>(kHarmonics), 1> d;
    const double angle_rad = (15.0 * ut_h - 180.0) * kRad_per_deg;
    d[0] = 1.0;
    for (int n = 1; 2 * n < static_cast<int>(kHarmonics); ++n) {
        const auto [sine, cosine] = vector_math::sincos(n * angle_rad);
        d[2 * n - 1] = sine;
        d[2 * n] = cosine;
    }
    return d;
}

/// Coefficients of an instant from a table [12 months][2 levels][terms][harmonics].
/// @param level  0 at the first level of activity, 1 at the second.
template <std::size_t kHarmonics, std::size_t kTerms>
void collapse(const std::vector<double>& table, const Months& months, double level,
              std::array<double, kTerms>& out) {
    using Set = Eigen::Matrix<double, static_cast<int>(kTerms), static_cast<int>(kHarmonics),
                              Eigen::RowMajor>;
    Set sum = Set::Zero();
    for (std::size_t i = 0; i < months.month.size(); ++i) {
        for (const std::size_t which : {std::size_t{0}, std::size_t{1}}) {
            const double w = months.weight[i] * (which == 0 ? 1.0 - level : level);
            const std::size_t set = months.month[i] * 2 + which;
            sum += w * Eigen::Map<const Set>(table.data() + set * kTerms * kHarmonics);
        }
    }
    Eigen::Map<Eigen::Matrix<double, static_cast<int>(kTerms), 1>>(out.data()) =
        sum * diurnal<kHarmonics>(months.ut_h);
}

}  // namespace farhear::map_series
