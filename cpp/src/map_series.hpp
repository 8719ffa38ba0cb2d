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

#include "checks.hpp"
#include "map_functions.hpp"
#include "vector_math.hpp"

namespace farhear::map_series {

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

/// @throws InputError on an instant more than 3000 years off, which the calendar does not hold.
[[nodiscard]] inline date::sys_days day_of(double t_unix_s) {
    checks::within("t_unix_s", {&t_unix_s, 1}, -checks::kFarthest_s, checks::kFarthest_s);
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
