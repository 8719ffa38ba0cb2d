#pragma once
// Branch-free elementary functions for dispatched loops. Private to the core.
//
// Every function here is inlined into a loop that is compiled for three x86-64 levels
// (FARHEAR_CLONES). With -ffp-contract=off the three versions give the same bits, so a study
// computed on one machine is reproduced on another. The library's sine would not do: its vector
// forms differ in the last bits between processors.

#include <bit>
#include <cmath>
#include <cstdint>
#include <numbers>

// For tests: FARHEAR_NO_CLONES leaves the baseline alone, FARHEAR_LEVEL=3 or 4 that level alone.
#ifdef FARHEAR_LEVEL
#define FARHEAR_TEXT_(x) #x
#define FARHEAR_TEXT(x) FARHEAR_TEXT_(x)
#define FARHEAR_CLONES __attribute__((target("arch=x86-64-v" FARHEAR_TEXT(FARHEAR_LEVEL))))
#elif defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(FARHEAR_NO_CLONES)
#define FARHEAR_CLONES __attribute__((target_clones("default", "arch=x86-64-v3", "arch=x86-64-v4")))
#define FARHEAR_DISPATCHED
#else
#define FARHEAR_CLONES
#endif
#define FARHEAR_INLINE [[gnu::always_inline]] inline

namespace farhear::vector_math {

/// Whether the clone that runs has registers of four numbers or more.
[[nodiscard]] inline bool has_wide_registers() noexcept {
#ifdef FARHEAR_DISPATCHED
    return __builtin_cpu_supports("avx2") != 0;
#elif defined(FARHEAR_LEVEL)
    return FARHEAR_LEVEL >= 3;
#else
    return false;
#endif
}

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
    return {
        .sin = std::bit_cast<double>(sin_bits ^ sin_sign),
        .cos = std::bit_cast<double>(cos_bits ^ cos_sign),
    };
}

/// x_deg less the nearest multiple of 360, in [-180, 180], for |x_deg| < 1e11; exact but for the
/// rounding of x_deg itself. Use it on angles that grow with time before sincos. NaN gives NaN.
[[nodiscard]] FARHEAR_INLINE double reduce_deg(double x_deg) {
    constexpr double kRound = 6755399441055744.0;  // see sincos
    return x_deg - 360.0 * ((x_deg * (1.0 / 360.0) + kRound) - kRound);
}

/// |x| and the sign of `sign`: masks, no branch.
[[nodiscard]] FARHEAR_INLINE double copy_sign(double x, double sign) {
    constexpr std::uint64_t kSign_bit = 1ULL << 63U;
    return std::bit_cast<double>((std::bit_cast<std::uint64_t>(x) & ~kSign_bit) |
                                 (std::bit_cast<std::uint64_t>(sign) & kSign_bit));
}
[[nodiscard]] FARHEAR_INLINE double absolute(double x) { return copy_sign(x, 0.0); }

/// Direction of the point (x, y) from the x axis, in [-pi, pi], for finite arguments whose sum does
/// not overflow: relative error below 4 ulp (tested against mpmath). (0, 0) gives 0 or +-pi by the
/// signs, as the library's does; NaN in either gives NaN.
/// Source: own fit. Both arguments are folded into the first octant and turned by pi/8 where the
/// ratio exceeds tan(pi/8); there atan(t) = t + t^3 p(t^2), p interpolated at 11 Chebyshev nodes on
/// [0, tan^2(pi/8)], error 7.2e-18 relative, found with 50-digit arithmetic.
[[nodiscard]] FARHEAR_INLINE double atan2(double y, double x) {
    constexpr double kTan_pi_8 = 0.41421356237309503;
    const double ax = absolute(x);
    const double ay = absolute(y);
    const bool steep = ay > ax;
    const double low = steep ? ax : ay;
    const double high = steep ? ay : ax;
    const bool turned = low > high * kTan_pi_8;
    const double numerator = turned ? low - high : low;
    const double denominator = turned ? low + high : high;
    const double t = numerator / (denominator == 0.0 ? 1.0 : denominator);
    const double u = t * t;
    const double poly =
        -0.3333333333333333 +
        u * (0.1999999999999552 +
             u * (-0.14285714284666542 +
                  u * (0.11111111015256361 +
                       u * (-0.09090904578123901 +
                            u * (0.07692183190826087 +
                                 u * (-0.06664511447381939 +
                                      u * (0.058581489128021295 +
                                           u * (-0.05085449737939841 +
                                                u * (0.03923165829557509 +
                                                     u * -0.019176887119047435)))))))));
    const double octant = t + t * u * poly + (turned ? std::numbers::pi / 4.0 : 0.0);
    const double quadrant = steep ? std::numbers::pi / 2.0 - octant : octant;
    const bool left = copy_sign(1.0, x) < 0.0;
    return copy_sign(left ? std::numbers::pi - quadrant : quadrant, y);
}

/// Arc cosine in [0, pi]: absolute error below 5e-16 (tested against mpmath). Outside [-1, 1] and
/// for NaN it gives NaN. The error in x is magnified near +-1, as in any arc cosine.
[[nodiscard]] FARHEAR_INLINE double acos(double x) {
    return atan2(std::sqrt((1.0 - x) * (1.0 + x)), x);
}

/// Arc sine in [-pi/2, pi/2]: relative error below 4 ulp (tested against mpmath). Outside [-1, 1]
/// and for NaN it gives NaN.
[[nodiscard]] FARHEAR_INLINE double asin(double x) {
    return atan2(x, std::sqrt((1.0 - x) * (1.0 + x)));
}

/// Natural logarithm of a positive normal number: relative error below 4 ulp, absolute
/// below 2.3e-16 near 1 (tested against mpmath). Zero, negative, infinite and NaN arguments give
/// nonsense without a trap: keep them out. Source: textbook series of the inverse hyperbolic
/// tangent, log m = 2 atanh((m - 1)/(m + 1)), on m in [sqrt(1/2), sqrt(2)), cut where the next term
/// is below 3e-17.
[[nodiscard]] FARHEAR_INLINE double log(double x) {
    constexpr std::uint64_t kSqrt_half = 0x3fe6a09e667f3bcdULL;  // bits of sqrt(1/2)
    constexpr double kRound = 6755399441055744.0;                // see sincos
    constexpr std::uint64_t kBias = 1023;
    const auto bits = std::bit_cast<std::uint64_t>(x);
    // the exponent that leaves m within [sqrt(1/2), sqrt(2)), plus the bias so that it is positive
    const std::uint64_t exponent = (bits - kSqrt_half + (kBias << 52U)) >> 52U;
    const auto m = std::bit_cast<double>(bits - ((exponent - kBias) << 52U));
    const double e = std::bit_cast<double>(std::bit_cast<std::uint64_t>(kRound) + exponent) -
                     (kRound + static_cast<double>(kBias));
    const double s = (m - 1.0) / (m + 1.0);
    const double t = s * s;
    const double t2 = t * t;
    const double t4 = t2 * t2;
    // by pairs of pairs: terms that do not wait for each other
    const double series =
        ((1.0 / 3.0 + t * (1.0 / 5.0)) + t2 * (1.0 / 7.0 + t * (1.0 / 9.0))) +
        t4 * (((1.0 / 11.0 + t * (1.0 / 13.0)) + t2 * (1.0 / 15.0 + t * (1.0 / 17.0))) +
              t4 * (1.0 / 19.0));
    return e * std::numbers::ln2 + 2.0 * (s + s * t * series);
}

/// Exponential for x within +-700 (kept there): relative error below 4 ulp (tested against mpmath).
/// NaN gives nonsense without a trap.
/// Source: textbook reduction by multiples of ln 2 in two parts and the Taylor series on
/// [-ln(2)/2, ln(2)/2], cut where the next term is below 1e-17.
[[nodiscard]] FARHEAR_INLINE double exp(double x) {
    constexpr double kLn_2_high = 0x1.62e42feep-1;  // NOLINT(modernize-use-std-numbers)
    constexpr double kRound = 6755399441055744.0;   // see sincos
    const double not_low = x < -700.0 ? -700.0 : x;
    const double kept = not_low > 700.0 ? 700.0 : not_low;
    const double shifted = kept * std::numbers::log2e + kRound;
    const double k = shifted - kRound;
    // ln 2 in two parts
    const double r = (kept - k * kLn_2_high) - k * 0x1.a39ef35793c76p-33;
    const double r2 = r * r;
    const double r4 = r2 * r2;
    // by pairs of pairs, as in log
    const double series =
        ((1.0 / 6.0 + r * (1.0 / 24.0)) + r2 * (1.0 / 120.0 + r * (1.0 / 720.0))) +
        r4 * (((1.0 / 5040.0 + r * (1.0 / 40320.0)) +
               r2 * (1.0 / 362880.0 + r * (1.0 / 3628800.0))) +
              r4 * ((1.0 / 39916800.0 + r * (1.0 / 479001600.0)) + r2 * (1.0 / 6227020800.0)));
    const double mantissa = 1.0 + (r + r2 * (0.5 + r * series));
    const std::uint64_t exponent = std::bit_cast<std::uint64_t>(shifted) << 52U;
    return std::bit_cast<double>(std::bit_cast<std::uint64_t>(mantissa) + exponent);
}

/// Normal distribution function and density: absolute error below 7.5e-8.
/// Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.17.
struct Normal {
    double below;
    double density;
};
[[nodiscard]] FARHEAR_INLINE Normal normal_both(double x) {
    const double far = absolute(x);
    const double t = 1.0 / (1.0 + 0.2316419 * far);
    const double poly =
        t * (0.319381530 +
             t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
    const double density = 0.3989422804014327 * vector_math::exp(-0.5 * far * far);
    const double tail = density * poly;
    return {x < 0.0 ? tail : 1.0 - tail, density};
}
[[nodiscard]] FARHEAR_INLINE double normal(double x) { return normal_both(x).below; }

}  // namespace farhear::vector_math
