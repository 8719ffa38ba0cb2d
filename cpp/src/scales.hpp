#pragma once
// Decibels, deciles and smooth steps, shared by the subjects. Private to the core.

#include <algorithm>
#include <cmath>
#include <numbers>

#include "elementary.hpp"
#include "vector_math.hpp"

namespace farhear::scales {

inline constexpr double kNeper_per_db = std::numbers::ln10 / 10.0;

inline constexpr double kDecile = 1.2815515655446004;  // 90 % point of the normal distribution

/// Normal distribution function, to the last digits; see vector_math::normal for a fast one.
[[nodiscard]] inline double normal(double z) noexcept {
    return 0.5 * elementary::erfc(-z / std::numbers::sqrt2);
}

/// Probability that a two-piece normal quantity exceeds a threshold `margin_db` below its median.
[[nodiscard]] inline double exceeds(double margin_db, double lower_db, double upper_db) noexcept {
    return normal(kDecile * margin_db / (margin_db >= 0.0 ? lower_db : upper_db));
}

/// Power ratio of a level, within +-3000 dB.
[[nodiscard]] inline double power(double db) noexcept {
    return vector_math::exp(db * kNeper_per_db);
}

/// Level of a power ratio, not below -3000 dB. [dB]
[[nodiscard]] inline double decibel(double power) noexcept {
    return vector_math::log(std::max(power, 1e-300)) * (1.0 / kNeper_per_db);
}

/// The same two for any number: NaN stays, a ratio of 0 is -infinity.
[[nodiscard]] inline double any_power(double db) noexcept {
    return elementary::exp(db * kNeper_per_db);
}
[[nodiscard]] inline double any_decibel(double power) noexcept {
    return 10.0 * elementary::log10(power);
}

/// 0 up to `low`, 1 from `high` on, a cubic between.
[[nodiscard]] inline double smooth_step(double x, double low, double high) noexcept {
    const double t = std::clamp((x - low) / (high - low), 0.0, 1.0);
    return t * t * (3.0 - 2.0 * t);
}

}  // namespace farhear::scales
