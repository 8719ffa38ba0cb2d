#pragma once
// Decibels and smooth steps, shared by the subjects. Private to the core.

#include <algorithm>
#include <numbers>

#include "vector_math.hpp"

namespace farhear::scales {

inline constexpr double kNeper_per_db = std::numbers::ln10 / 10.0;

/// Power ratio of a level, within +-3000 dB.
[[nodiscard]] inline double power(double db) noexcept {
    return vector_math::exp(db * kNeper_per_db);
}

/// Level of a power ratio, not below -3000 dB. [dB]
[[nodiscard]] inline double decibel(double power) noexcept {
    return vector_math::log(std::max(power, 1e-300)) * (1.0 / kNeper_per_db);
}

/// 0 up to `low`, 1 from `high` on, a cubic between.
[[nodiscard]] inline double smooth_step(double x, double low, double high) noexcept {
    const double t = std::clamp((x - low) / (high - low), 0.0, 1.0);
    return t * t * (3.0 - 2.0 * t);
}

}  // namespace farhear::scales
