#pragma once
// Elementary functions for code that runs once in a place. Private to the core.
//
// The C library's would do but for one thing: glibc picks its own by processor, and the last bits
// differ between those with fused multiply-add and those without, as they do between libraries.
// These are made of vector_math.hpp and what IEEE 754 fixes to the bit (square root, remainder, the
// exponent of a number): same bits on every machine. They take any number, and return what the C
// standard says for zeros, infinities and NaN unless said otherwise; errors were measured against
// mpmath (cpp/tests/test_elementary.cpp).

namespace farhear::elementary {

/// Relative error below 6 ulp; a subnormal argument is as good. log10 of a whole decade is whole.
[[nodiscard]] double log(double x) noexcept;
[[nodiscard]] double log10(double x) noexcept;
[[nodiscard]] double log1p(double x) noexcept;

/// Relative error below 5 ulp. Where the result is under 1e-304: 0.
[[nodiscard]] double exp(double x) noexcept;
[[nodiscard]] double expm1(double x) noexcept;

/// Relative error below 4 ulp (1 + |y log x|). A negative base gives NaN, whatever the
/// exponent but 0.
[[nodiscard]] double pow(double x, double y) noexcept;

/// Absolute error below 3.5e-16, and half an ulp of the angle beyond 1e6.
[[nodiscard]] double sin(double x_rad) noexcept;
[[nodiscard]] double cos(double x_rad) noexcept;
/// Relative error below 4 ulp at 0, growing towards the poles as that of its cosine.
[[nodiscard]] double tan(double x_rad) noexcept;

/// Relative error below 4 ulp; acos absolute, 5e-16. Not for two infinities.
[[nodiscard]] double atan2(double y, double x) noexcept;
[[nodiscard]] double atan(double x) noexcept;
[[nodiscard]] double asin(double x) noexcept;
[[nodiscard]] double acos(double x) noexcept;

/// Relative error below 8 ulp.
[[nodiscard]] double tanh(double x) noexcept;

/// Complement of the error function: relative error below 8 ulp (1 + x^2) for positive x, below 4
/// ulp for negative ones; 0 beyond 26.
[[nodiscard]] double erfc(double x) noexcept;

/// Length of two sides at a right angle, whose squares must not overflow.
[[nodiscard]] double hypot(double x, double y) noexcept;

}  // namespace farhear::elementary
