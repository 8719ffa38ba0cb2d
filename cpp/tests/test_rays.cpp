#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "farhear/rays.hpp"
#include "vector_math.hpp"

namespace {

namespace rays = farhear::rays;
namespace vm = farhear::vector_math;

constexpr double kUlp = std::numeric_limits<double>::epsilon();  // largest, relative
constexpr rays::Layer kE = {.critical_mhz = 3.2, .peak_km = 110.0, .half_thickness_km = 20.0};
constexpr rays::Layer kNoF1 = {.critical_mhz = 0.0, .peak_km = 0.0, .half_thickness_km = 0.0};
constexpr rays::Layer kF2 = {.critical_mhz = 8.0, .peak_km = 300.0, .half_thickness_km = 100.0};

// mpmath 1.3 at 200 bits, of the binary value of each argument, rounded to double. mpmath found
// over 15,000 random arguments each at most 1.41 ulp (log), 0.64 ulp (exp) and 7.45e-8 (normal).
TEST_CASE("log and exp agree with 200-bit arithmetic") {
    struct Sample {
        double x;
        double value;
    };
    for (const Sample& d : {
             Sample{.x = 1e-300, .value = -690.7755278982137},
             Sample{.x = 1e-9, .value = -20.72326583694641},
             Sample{.x = 0.2, .value = -1.6094379124341003},
             Sample{.x = 0.7, .value = -0.35667494393873245},
             Sample{.x = 0.7071067811865475, .value = -0.34657359027997275},
             Sample{.x = 0.7071067811865476, .value = -0.3465735902799726},
             Sample{.x = 0.9999999, .value = -1.0000000494736474e-07},
             Sample{.x = 1.0000001, .value = 9.999999505838704e-08},
             Sample{.x = 1.5, .value = 0.4054651081081644},
             Sample{.x = 3.0, .value = 1.0986122886681098},
             Sample{.x = 1234.5678, .value = 7.118476228297786},
             Sample{.x = 1e17, .value = 39.14394658089878},
             Sample{.x = 1.7e308, .value = 709.7268368932282},
         }) {
        CAPTURE(d.x);
        CHECK(std::abs(vm::log(d.x) - d.value) <= 4 * kUlp * std::abs(d.value));
    }
    CHECK(vm::log(1.0) == 0.0);
    for (const Sample& d : {
             Sample{.x = -700.0, .value = 9.85967654375977e-305},
             Sample{.x = -230.25850929940458, .value = 9.99999999999989e-101},
             Sample{.x = -1.0, .value = 0.36787944117144233},
             Sample{.x = -0.34657359027997264, .value = 0.7071067811865476},
             Sample{.x = -1e-9, .value = 0.999999999},
             Sample{.x = 0.1, .value = 1.1051709180756477},
             Sample{.x = 0.8, .value = 2.225540928492468},
             Sample{.x = 1.25, .value = 3.4903429574618414},
             Sample{.x = 50.5, .value = 8.548134287298057e+21},
             Sample{.x = 700.0, .value = 1.0142320547350045e+304},
         }) {
        CAPTURE(d.x);
        CHECK(std::abs(vm::exp(d.x) - d.value) <= 4 * kUlp * d.value);
    }
    CHECK(vm::exp(0.0) == 1.0);
}

// The C library is right to 1 ulp; ours may differ by its own bound of 4 ulp and that one.
TEST_CASE("log, exp and the normal distribution stay within their bounds of the C library") {
    double worst_log = 0.0;
    double worst_near_one = 0.0;
    double worst_exp = 0.0;
    double worst_normal = 0.0;
    double worst_density = 0.0;
    constexpr int kN = 200'000;
    for (int i = 0; i <= kN; ++i) {
        const double u = 2.0 * i / kN - 1.0;
        const double x = std::exp2(1000.0 * u);
        worst_log = std::max(worst_log, std::abs(vm::log(x) - std::log(x)) /
                                            std::max(std::abs(std::log(x)), 1e-300));
        const double near_one = 1.0 + 0.2 * u;
        worst_near_one = std::max(worst_near_one, std::abs(vm::log(near_one) - std::log(near_one)));
        const double y = 700.0 * u;
        worst_exp = std::max(worst_exp, std::abs(vm::exp(y) / std::exp(y) - 1.0));
        const double z = 9.0 * u;
        const auto both = vm::normal_both(z);
        worst_normal = std::max(worst_normal,
                                std::abs(both.below - 0.5 * std::erfc(-z / std::numbers::sqrt2)));
        worst_density = std::max(
            worst_density, std::abs(both.density - std::exp(-0.5 * z * z) * 0.3989422804014327));
    }
    CHECK(worst_log < 5 * kUlp);
    CHECK(worst_near_one < 2.5e-16);
    CHECK(worst_exp < 6 * kUlp);
    CHECK(worst_normal < 7.5e-8);  // the bound that the handbook states
    CHECK(worst_normal > 1e-9);    // and no better: the formula is the one it claims to be
    CHECK(worst_density < 1e-15);
    CHECK(vm::exp(1e4) == vm::exp(700.0));
    CHECK(vm::exp(-1e4) == vm::exp(-700.0));
}

// Values: tests/reference/test_rays_reference.py, where they come from.
TEST_CASE("a ray of each region is where quadrature finds it") {
    const auto profile = rays::join({.e = kE, .f1 = kNoF1, .f2 = kF2});
    CHECK(profile.count == 3);
    const auto low = rays::trace(profile, 9.0, 3.0);
    CHECK(low.region == rays::Region::kE);
    CHECK(low.ground_range_km == doctest::Approx(1623.30280).epsilon(1e-8));
    const auto high = rays::trace(profile, 15.0, 10.0);
    CHECK(high.region == rays::Region::kF2);
    CHECK(high.ground_range_km == doctest::Approx(2295.34998).epsilon(1e-8));
    CHECK(std::isnan(rays::trace(profile, 9.0, 90.0).ground_range_km));
    const auto with_f1 =
        rays::join({.e = kE,
                    .f1 = {.critical_mhz = 4.8, .peak_km = 180.0, .half_thickness_km = 40.0},
                    .f2 = kF2});
    CHECK(with_f1.count == 5);
    CHECK(rays::trace(with_f1, 4.0, 80.0).region == rays::Region::kF1);
}

TEST_CASE("pieces meet in value and slope") {
    const auto profile =
        rays::join({.e = kE,
                    .f1 = {.critical_mhz = 4.8, .peak_km = 180.0, .half_thickness_km = 40.0},
                    .f2 = kF2});
    for (std::size_t i = 0; i + 1 < profile.count; ++i) {
        const auto& below = profile.segments.at(i);
        const auto& above = profile.segments.at(i + 1);
        const double r = below.high_km;
        CHECK(above.low_km == r);
        const auto value = [r](const rays::Segment& s) {
            return s.a + s.b * (1.0 - s.rk_km / r) * (1.0 - s.rk_km / r);
        };
        const auto slope = [r](const rays::Segment& s) {
            return 2.0 * s.b * (1.0 - s.rk_km / r) * s.rk_km / (r * r);
        };
        CHECK(value(below) == doctest::Approx(value(above)).epsilon(1e-12));
        CHECK(slope(below) == doctest::Approx(slope(above)).epsilon(1e-9));
        CHECK(below.high_mhz2 == doctest::Approx(value(below)).epsilon(1e-12));
    }
}

TEST_CASE("layers that do not fit are bent, and nothing is missing") {
    constexpr std::array<rays::Layers, 6> kOdd = {{
        // E as strong as F2
        {.e = {9.0, 110.0, 20.0}, .f1 = kNoF1, .f2 = kF2},
        // all three alike
        {.e = {8.0, 110.0, 20.0}, .f1 = {8.0, 180.0, 40.0}, .f2 = kF2},
        // F1 below E, F1 above F2
        {.e = kE, .f1 = {4.0, 100.0, 40.0}, .f2 = kF2},
        {.e = kE, .f1 = {4.0, 350.0, 40.0}, .f2 = kF2},
        // F2 thicker than its height, F1 likewise
        {.e = kE, .f1 = {5.0, 111.0, 400.0}, .f2 = {8.0, 150.0, 900.0}},
        // a night with hardly any E
        {.e = {0.05, 110.0, 20.0}, .f1 = kNoF1, .f2 = {1.0, 700.0, 1.0}},
    }};
    for (const rays::Layers& layers : kOdd) {
        const auto profile = rays::join(layers);
        CHECK(profile.layers.e.critical_mhz < profile.layers.f2.critical_mhz);
        for (const double hop : {0.0, 1.0, 500.0, 4000.0, 10000.0}) {
            for (const auto region : {rays::Region::kE, rays::Region::kF2}) {
                const auto curve = rays::land(profile, region, hop);
                CHECK(std::ranges::all_of(curve.freq_mhz,
                                          [](double f) { return std::isfinite(f) && f > 0.0; }));
                CHECK(std::ranges::all_of(curve.sin_elevation,
                                          [](double s) { return std::abs(s) <= 1.0; }));
                CHECK(std::ranges::all_of(curve.mirror_km,
                                          [](double h) { return std::isfinite(h); }));
                const auto top = rays::muf(curve);
                CHECK(top.freq_mhz >= *std::ranges::max_element(curve.freq_mhz));
                for (const double freq : {1e-3, 0.5 * top.freq_mhz, top.freq_mhz, 1e3}) {
                    for (const auto& ray :
                         {rays::low_ray(curve, top, freq), rays::high_ray(curve, top, freq)}) {
                        CHECK(std::abs(ray.sin_elevation) <= 1.0);
                        CHECK(std::isfinite(ray.mirror_km));
                        CHECK(std::isfinite(ray.turning_km));
                        CHECK(std::isfinite(ray.range_slope_km));
                    }
                }
            }
        }
        CHECK(std::isfinite(rays::tied_peak_km(layers, 3.0)));
        CHECK(rays::plasma_mhz2(profile, 0.0) == 0.0);
        CHECK(rays::plasma_mhz2(profile, 2000.0) == 0.0);
    }
}

TEST_CASE("low and high ray meet at the MUF, and stay on the curve") {
    const auto profile = rays::join({.e = kE, .f1 = kNoF1, .f2 = kF2});
    const auto curve = rays::land(profile, rays::Region::kF2, 2000.0);
    const auto top = rays::muf(curve);
    const auto at_top = rays::low_ray(curve, top, top.freq_mhz);
    CHECK(rays::high_ray(curve, top, top.freq_mhz).sin_elevation == at_top.sin_elevation);
    CHECK(rays::low_ray(curve, top, 99.0).sin_elevation == at_top.sin_elevation);
    double last_low = at_top.sin_elevation;
    double last_high = at_top.sin_elevation;
    for (int i = 1; i <= 60; ++i) {
        const double freq = top.freq_mhz * (1.0 - 0.005 * i);
        const auto low = rays::low_ray(curve, top, freq);
        const auto high = rays::high_ray(curve, top, freq);
        CHECK(low.sin_elevation <= last_low + 1e-9);
        CHECK(high.sin_elevation >= last_high - 1e-9);
        last_low = low.sin_elevation;
        last_high = high.sin_elevation;
        // a traced ray of that elevation and frequency lands there: within 0.3 % in the upper
        // quarter, within 2 % near E, where points are few and the curve bends
        const double elevation = std::asin(low.sin_elevation) * vm::kDeg_per_rad;
        CHECK(rays::trace(profile, freq, elevation).ground_range_km ==
              doctest::Approx(2000.0).epsilon(i <= 30 ? 0.01 : 0.02));
    }
}

TEST_CASE("the slope of a landing is that of traced rays") {
    const auto profile = rays::join({.e = kE, .f1 = kNoF1, .f2 = kF2});
    const auto curve = rays::land(profile, rays::Region::kF2, 2000.0);
    const auto top = rays::muf(curve);
    for (const double share : {0.75, 0.85, 0.95}) {
        const double freq = share * top.freq_mhz;
        const auto low = rays::low_ray(curve, top, freq);
        const double elevation = std::asin(low.sin_elevation) * vm::kDeg_per_rad;
        constexpr double kStep_deg = 0.01;
        const double ahead = rays::trace(profile, freq, elevation + kStep_deg).ground_range_km;
        const double behind = rays::trace(profile, freq, elevation - kStep_deg).ground_range_km;
        const double traced = (ahead - behind) / (2.0 * kStep_deg * vm::kRad_per_deg);
        CAPTURE(share);
        // 11, 15 and 5 % off: 0.6 dB of focusing
        CHECK(low.range_slope_km == doctest::Approx(traced).epsilon(0.2));
    }
}

}  // namespace
