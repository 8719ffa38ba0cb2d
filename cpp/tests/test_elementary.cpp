#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

#include "elementary.hpp"

namespace {

namespace el = farhear::elementary;

constexpr double kUlp = std::numeric_limits<double>::epsilon();  // largest, relative
constexpr double kInfinity = std::numeric_limits<double>::infinity();
constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

struct Sample {
    double (*ours)(double) noexcept;
    double x;
    double value;
    double ulps;
};

}  // namespace

// mpmath 1.3 at 200 bits, of the binary value of each argument, rounded to double.
TEST_CASE("elementary functions agree with 200-bit arithmetic") {
    const std::vector<Sample> samples = {
        {el::log, 5e-324, -744.4400719213812, 5},
        {el::log, 1e-310, -713.8013788281542, 5},
        {el::log, 0.3, -1.2039728043259361, 5},
        {el::log, 1.0000001, 9.999999505838704e-08, 5},
        {el::log, 7.0, 1.9459101490553132, 5},
        {el::log, 1.7e+308, 709.7268368932282, 5},
        {el::log10, 1e-30, -30.0, 5},
        {el::log10, 0.5, -0.3010299956639812, 5},
        {el::log10, 1000.0, 3.0, 5},
        {el::log10, 15000.0, 4.176091259055681, 5},
        {el::log1p, -0.875, -2.0794415416798357, 5},
        {el::log1p, -1e-09, -1.0000000005000001e-09, 5},
        {el::log1p, 1e-17, 1e-17, 5},
        {el::log1p, 1e-08, 9.999999950000001e-09, 5},
        {el::log1p, 0.3, 0.26236426446749106, 5},
        {el::log1p, 1e300, 690.7755278982137, 5},
        {el::exp, -699.0, 2.680137958338607e-304, 4},
        {el::exp, -3.2, 0.04076220397836621, 4},
        {el::exp, 5.5, 244.69193226422038, 4},
        {el::exp, 705.0, 1.505253833063194e+306, 8},
        {el::expm1, -40.0, -1.0, 4},
        {el::expm1, -0.7, -0.5034146962085905, 4},
        {el::expm1, -1e-12, -9.999999999995e-13, 4},
        {el::expm1, 1e-17, 1e-17, 4},
        {el::expm1, 1e-08, 1.0000000050000001e-08, 4},
        {el::expm1, 2.5, 11.182493960703473, 4},
        {el::sin, -50.0, 0.26237485370392877, 4},
        {el::sin, 1e5, 0.03574879797201651, 8},
        {el::cos, -50.0, 0.9649660284921133, 4},
        {el::tan, 1e-9, 1e-9, 4},
        {el::tan, 1.5, 14.101419947171719, 16},
        {el::tan, -3.0, 0.1425465430742778, 8},
        {el::atan, 1e-12, 1e-12, 4},
        {el::atan, -0.3, -0.2914567944778671, 4},
        {el::atan, 57.0, 1.5532542667374942, 4},
        {el::atan, 1e300, 1.5707963267948966, 4},
        {el::tanh, 1e-9, 1e-9, 8},
        {el::tanh, -0.2, -0.197375320224904, 8},
        {el::tanh, 3.0, 0.9950547536867305, 8},
        {el::erfc, -5.0, 1.9999999999984626, 4},
        {el::erfc, -0.3, 1.3286267594591274, 4},
        {el::erfc, 1e-09, 0.9999999988716208, 8},
        {el::erfc, 0.3, 0.6713732405408726, 8},
        {el::erfc, 1.0, 0.15729920705028513, 8 * 2},
        {el::erfc, 2.5, 0.0004069520174449589, 8 * 7},
        {el::erfc, 6.0, 2.1519736712498913e-17, 8 * 37},
        {el::erfc, 13.0, 1.7395573154667246e-75, 8 * 170},
        {el::erfc, 25.5, 8.80166269072795e-285, 8 * 651},
    };
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const Sample& s = samples[i];
        CAPTURE(i);
        CAPTURE(s.x);
        CHECK(std::abs(s.ours(s.x) - s.value) <= s.ulps * kUlp * std::abs(s.value));
    }
    CHECK(el::pow(0.3, 0.6) == doctest::Approx(0.4855933748302038).epsilon(1e-15));
    CHECK(el::pow(17.5, 1.98) == doctest::Approx(289.2113524668125).epsilon(4e-15));
    CHECK(el::pow(1e-5, -2.5) == doctest::Approx(3162277660168.379).epsilon(2e-14));
}

// The C library is right to 1 ulp or so; ours may differ by its own bound and that.
TEST_CASE("elementary functions stay within their bounds of the C library") {
    double log = 0.0;
    double log1p = 0.0;
    double expm1 = 0.0;
    double sine = 0.0;
    double tanh = 0.0;
    double erfc = 0.0;
    double pow = 0.0;
    constexpr int kN = 100'000;
    for (int i = 0; i <= kN; ++i) {
        const double u = 2.0 * i / kN - 1.0;
        const auto off = [](double ours, double theirs) {
            return std::abs(ours - theirs) / std::max(std::abs(theirs), 1e-300);
        };
        const double small = std::copysign(std::exp2(60.0 * (std::abs(u) - 1.0)), u);
        log =
            std::max(log, off(el::log10(std::exp2(1020.0 * u)), std::log10(std::exp2(1020.0 * u))));
        log1p = std::max(log1p, off(el::log1p(0.999 * small), std::log1p(0.999 * small)));
        expm1 = std::max(expm1, off(el::expm1(20.0 * small), std::expm1(20.0 * small)));
        tanh = std::max(tanh, off(el::tanh(20.0 * small), std::tanh(20.0 * small)));
        const double wide = 1e3 * u;
        sine = std::max({sine, std::abs(el::sin(wide) - std::sin(wide)),
                         std::abs(el::cos(wide) - std::cos(wide))});
        const double z = 26.0 * u;
        erfc = std::max(erfc, off(el::erfc(z), std::erfc(z)) / (1.0 + (z > 0.0 ? z * z : 0.0)));
        const double base = std::exp2(10.0 * u);
        pow = std::max(pow, off(el::pow(base, 3.3), std::pow(base, 3.3)) /
                                (1.0 + 3.3 * std::abs(std::log(base))));
    }
    CHECK(log < 6 * kUlp);
    CHECK(log1p < 7 * kUlp);
    CHECK(expm1 < 6 * kUlp);
    CHECK(sine < 3.5e-16);
    CHECK(tanh < 9 * kUlp);
    CHECK(erfc < 8 * kUlp);
    CHECK(pow < 4 * kUlp);
}

// ISO C, annex F: what the functions give at zeros, infinities and NaN.
TEST_CASE("elementary functions at the ends of the numbers") {
    CHECK(el::log(0.0) == -kInfinity);
    CHECK(el::log(-0.0) == -kInfinity);
    CHECK(el::log(kInfinity) == kInfinity);
    CHECK(std::isnan(el::log(-1.0)));
    CHECK(el::log(1.0) == 0.0);
    CHECK(el::log1p(0.0) == 0.0);
    CHECK(el::log1p(-1.0) == -kInfinity);
    CHECK(el::log1p(kInfinity) == kInfinity);
    CHECK(std::isnan(el::log1p(-1.5)));
    CHECK(el::exp(0.0) == 1.0);
    CHECK(el::exp(kInfinity) == kInfinity);
    CHECK(el::exp(-kInfinity) == 0.0);
    CHECK(el::exp(720.0) == kInfinity);
    CHECK(el::exp(-760.0) == 0.0);
    CHECK(el::expm1(kInfinity) == kInfinity);
    CHECK(el::expm1(-kInfinity) == -1.0);
    CHECK(el::pow(0.0, 0.6) == 0.0);
    CHECK(el::pow(0.0, -1.0) == kInfinity);
    CHECK(el::pow(0.0, 0.0) == 1.0);
    CHECK(el::pow(1.0, 1e9) == 1.0);
    CHECK(std::isnan(el::pow(-1.0, 0.5)));
    CHECK(el::sin(0.0) == 0.0);
    CHECK(el::cos(0.0) == 1.0);
    CHECK(std::isnan(el::sin(kInfinity)));
    CHECK(std::abs(el::sin(3e7) - std::sin(3e7)) < 1e-8);  // half an ulp of the angle is 1.9e-9
    CHECK(el::atan(kInfinity) == std::numbers::pi / 2.0);
    CHECK(el::atan2(0.0, -1.0) == std::numbers::pi);
    CHECK(el::tanh(kInfinity) == 1.0);
    CHECK(el::tanh(-kInfinity) == -1.0);
    CHECK(el::tanh(0.0) == 0.0);
    CHECK(el::erfc(0.0) == doctest::Approx(1.0).epsilon(1e-15));
    CHECK(el::erfc(kInfinity) == 0.0);
    CHECK(el::erfc(-kInfinity) == 2.0);
    CHECK(el::hypot(3.0, 4.0) == 5.0);
    CHECK(el::hypot(0.0, kInfinity) == kInfinity);
    for (auto* const one : {el::log, el::log10, el::log1p, el::exp, el::expm1, el::sin, el::cos,
                            el::tan, el::atan, el::asin, el::acos, el::tanh, el::erfc}) {
        CHECK(std::isnan(one(kNan)));
    }
    CHECK(std::isnan(el::pow(kNan, 2.0)));
    CHECK(el::log10(0.0) == -kInfinity);
    for (int decade = -300; decade <= 300; ++decade) {
        CHECK(el::log10(std::stod("1e" + std::to_string(decade))) == decade);
    }
}
