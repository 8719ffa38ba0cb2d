#pragma once
// Branch-free elementary functions for dispatched loops. Private to the core.
//
// Every function here is inlined into a loop that is compiled for three x86-64 levels
// (FARHEAR_CLONES). With -ffp-contract=off the three versions give the same bits, so a study
// computed on one machine is reproduced on another. The library's sine would not do: its vector
// forms differ in the last bits between processors.

#include <bit>
#include <cstdint>
#include <numbers>

#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(FARHEAR_NO_CLONES)
#define FARHEAR_CLONES __attribute__((target_clones("default", "arch=x86-64-v3", "arch=x86-64-v4")))
#else
#define FARHEAR_CLONES
#endif
#define FARHEAR_INLINE [[gnu::always_inline]] inline

namespace farhear::vector_math {

inline constexpr double kRad_per_deg = std::numbers::pi / 180.0;
inline constexpr double kDeg_per_rad = 180.0 / std::numbers::pi;

struct SinCos {
    double sin;
    double cos;
};

/// Sine and cosine of x_rad for |x_rad| <= 1e6: absolute error below 2.3e-16 + 1 ulp (tested
/// against mpmath). The range reduction is exact to rounding there; reduce larger angles first.
/// NaN gives NaN.
/// Source: own fit. Interpolation at Chebyshev nodes on [0, (pi/4)^2]; error of the polynomials
/// 2.0e-17 (sine, relative) and 8.7e-19 (cosine), found with 50-digit arithmetic.
[[nodiscard]] FARHEAR_INLINE SinCos sincos(double x_rad) {
    constexpr double kRound = 6755399441055744.0;  // 1.5 * 2^52: adding it rounds to an integer
    const double shifted = x_rad * (2.0 / std::numbers::pi) + kRound;
    const auto quadrant = std::bit_cast<std::uint64_t>(shifted);
    const double turns = shifted - kRound;
    // pi/2 in three parts of 33, 33 and 53 bits
    const double r = ((x_rad - turns * 0x1.921fb544p+0) - turns * 0x1.0b4611a6p-34) -
                     turns * 0x1.3198a2e037073p-69;
    const double t = r * r;
    const double sin_poly =
        -0.16666666666666666 +
        t * (0.008333333333330946 +
             t * (-0.0001984126983675497 +
                  t * (2.755731610068303e-06 +
                       t * (-2.5051131455427946e-08 + t * 1.591810123027412e-10))));
    const double cos_poly =
        0.041666666666666664 +
        t * (-0.0013888888888887395 +
             t * (2.4801587298763433e-05 +
                  t * (-2.7557317270560173e-07 +
                       t * (2.0876146024665577e-09 + t * -1.1382614867131847e-11))));
    const double s = r + r * t * sin_poly;
    const double c = 1.0 - 0.5 * t + t * t * cos_poly;
    // swap in odd quadrants, negate the sine in 2 and 3, the cosine in 1 and 2: masks, no branch
    const std::uint64_t swap = 0ULL - (quadrant & 1ULL);
    const auto s_bits = std::bit_cast<std::uint64_t>(s);
    const auto c_bits = std::bit_cast<std::uint64_t>(c);
    const std::uint64_t sin_bits = (s_bits & ~swap) | (c_bits & swap);
    const std::uint64_t cos_bits = (c_bits & ~swap) | (s_bits & swap);
    const std::uint64_t sin_sign = (quadrant & 2ULL) << 62U;
    const std::uint64_t cos_sign = ((quadrant + 1ULL) & 2ULL) << 62U;
    return {std::bit_cast<double>(sin_bits ^ sin_sign), std::bit_cast<double>(cos_bits ^ cos_sign)};
}

}  // namespace farhear::vector_math
