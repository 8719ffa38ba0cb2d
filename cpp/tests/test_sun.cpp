#include <doctest/doctest.h>

#include <array>
#include <bit>
#include <cmath>
#include <cstdint>
#include <limits>
#include <numbers>
#include <vector>

#include "farhear/error.hpp"
#include "farhear/sun.hpp"
#include "vector_math.hpp"

namespace {

namespace sun = farhear::sun;
namespace vm = farhear::vector_math;

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kDay_s = 86400.0;
constexpr double kUlp = std::numeric_limits<double>::epsilon();  // largest, relative

// mpmath 1.3 at 200 bits, of the binary value of each argument, rounded to double. mpmath found
// over 30,000 random arguments at most 1.93 ulp (atan2), 2.14 ulp (asin), 4.4e-16 (acos).
TEST_CASE("atan2, asin and acos agree with 200-bit arithmetic") {
    struct Sample {
        double y;
        double x;
        double angle_rad;
    };
    for (const Sample& d : {
             Sample{.y = 1.0, .x = 3.0, .angle_rad = 0.3217505543966422},
             Sample{.y = -1e-300, .x = 1e-300, .angle_rad = -0.7853981633974483},
             Sample{.y = 0.4142135623730951, .x = 1.0, .angle_rad = 0.3926990816987242},
             Sample{.y = 0.41421356237309503, .x = 1.0, .angle_rad = 0.39269908169872414},
             Sample{.y = 5.0, .x = -0.001, .angle_rad = 1.57099632679223},
             Sample{.y = -0.3, .x = -0.7, .angle_rad = -2.7367008673047097},
             Sample{.y = 0.25, .x = -1.0, .angle_rad = 2.896613990462929},
             Sample{.y = 2.0, .x = 1.9999999, .angle_rad = 0.7853981883974489},
         }) {
        CAPTURE(d.y);
        CAPTURE(d.x);
        CHECK(std::abs(vm::atan2(d.y, d.x) - d.angle_rad) <= 4 * kUlp * std::abs(d.angle_rad));
    }
    struct Ratio {
        double value;
        double acos_rad;
        double asin_rad;
    };
    for (const Ratio& r : {
             Ratio{.value = 0.5, .acos_rad = 1.0471975511965979, .asin_rad = 0.5235987755982989},
             Ratio{.value = -0.98, .acos_rad = 2.9412578112666736, .asin_rad = -1.3704614844717768},
             Ratio{.value = 1e-9, .acos_rad = 1.5707963257948967, .asin_rad = 1e-9},
             Ratio{.value = -0.5, .acos_rad = 2.0943951023931957, .asin_rad = -0.5235987755982989},
         }) {
        CAPTURE(r.value);
        CHECK(std::abs(vm::acos(r.value) - r.acos_rad) <= 5e-16);
        CHECK(std::abs(vm::asin(r.value) - r.asin_rad) <= 4 * kUlp * std::abs(r.asin_rad));
    }
}

// The C library is right to 1 ulp; ours may differ by its own bound of 4 ulp and that one.
TEST_CASE("atan2, asin and acos stay within their bounds of the C library all around") {
    double worst_atan2 = 0.0;
    double worst_asin = 0.0;
    double worst_acos = 0.0;
    constexpr int kN = 400'000;
    for (int i = 0; i < kN; ++i) {
        const double angle = (2.0 * i / kN - 1.0) * std::numbers::pi;
        const double radius = std::exp2(i % 41 - 20);
        const double x = radius * std::cos(angle);
        const double y = radius * std::sin(angle);
        const double expected = std::atan2(y, x);
        worst_atan2 = std::max(worst_atan2, std::abs(vm::atan2(y, x) - expected) /
                                                std::max(std::abs(expected), 1e-300));
        const double ratio = 2.0 * i / kN - 1.0;
        worst_asin = std::max(worst_asin, std::abs(vm::asin(ratio) - std::asin(ratio)) /
                                              std::max(std::abs(ratio), 1e-300));
        worst_acos = std::max(worst_acos, std::abs(vm::acos(ratio) - std::acos(ratio)));
    }
    CHECK(worst_atan2 < 5 * kUlp);
    CHECK(worst_asin < 5 * kUlp);
    CHECK(worst_acos < 1e-15);
}

TEST_CASE("quadrants, zeros and NaN follow the C library") {
    for (const double y : {0.0, -0.0, 1.0, -1.0}) {
        for (const double x : {0.0, -0.0, 1.0, -1.0}) {
            const double ours = vm::atan2(y, x);
            const double theirs = std::atan2(y, x);
            CHECK(std::abs(ours - theirs) < 1e-15);
            CHECK(std::signbit(ours) == std::signbit(theirs));
        }
        CHECK(std::isnan(vm::atan2(y, kNan)));
        CHECK(std::isnan(vm::atan2(kNan, y)));
    }
    CHECK(std::isnan(vm::acos(1.0000001)));
    CHECK(std::isnan(vm::asin(-1.0000001)));
    CHECK(std::isnan(vm::acos(kNan)));
    CHECK(vm::acos(1.0) == 0.0);
    CHECK(vm::acos(-1.0) == std::numbers::pi);
    CHECK(vm::asin(1.0) == std::numbers::pi / 2.0);
}

TEST_CASE("angles are reduced to half a turn either side") {
    for (const double whole : {-1e6, -1.0, 0.0, 3.0, 36525.0 * 366.0}) {
        for (const double rest : {-179.5, -0.25, 0.0, 90.0, 179.5}) {
            CHECK(vm::reduce_deg(whole * 360.0 + rest) == rest);
        }
    }
    CHECK(std::isnan(vm::reduce_deg(kNan)));
}

struct Many {
    std::vector<double> t;
    std::vector<double> lat;
    std::vector<double> lon;
    explicit Many(std::size_t n) : t(n), lat(n), lon(n) {
        for (std::size_t i = 0; i < n; ++i) {
            const auto k = static_cast<double>(i);
            t[i] = -2.2e9 + 6.3e9 * std::fmod(k * 0.6180339887498949, 1.0);
            lat[i] = -90.0 + 180.0 * std::fmod(k * 0.7548776662466927, 1.0);
            lon[i] = -180.0 + 540.0 * std::fmod(k * 0.5698402909980532, 1.0);
        }
    }
};

// Regression value of our own: built for x86-64, x86-64-v3 and x86-64-v4 without dispatch, and
// dispatched, the kernel gave this sum. On another processor it must too.
TEST_CASE("the bits of 100,003 positions are those of every other machine") {
    const Many many(100'003);
    std::vector<double> zenith(many.t.size());
    std::vector<double> azimuth(many.t.size());
    sun::position(many.t, many.lat, many.lon, zenith, azimuth);
    std::uint64_t digest = 14695981039346656037ULL;  // FNV-1a over 64-bit words
    for (std::size_t i = 0; i < zenith.size(); ++i) {
        digest = (digest ^ std::bit_cast<std::uint64_t>(zenith[i])) * 1099511628211ULL;
        digest = (digest ^ std::bit_cast<std::uint64_t>(azimuth[i])) * 1099511628211ULL;
    }
    CHECK(digest == 0x57925ca4c272b56dULL);
}

TEST_CASE("the grid has the bits of the pairs, for few and many places") {
    for (const std::size_t places : {std::size_t{1}, std::size_t{3}, std::size_t{40}}) {
        const Many many(1100);
        const std::vector<double> lat(many.lat.data(), many.lat.data() + places);
        const std::vector<double> lon(many.lon.data(), many.lon.data() + places);
        const std::size_t n = many.t.size() * places;
        std::vector<double> zenith(n);
        std::vector<double> azimuth(n);
        sun::position_grid(many.t, lat, lon, zenith, azimuth);
        std::vector<double> t_pairs;
        std::vector<double> lat_pairs;
        std::vector<double> lon_pairs;
        for (const double t : many.t) {
            for (std::size_t j = 0; j < places; ++j) {
                t_pairs.push_back(t);
                lat_pairs.push_back(lat[j]);
                lon_pairs.push_back(lon[j]);
            }
        }
        std::vector<double> zenith_pairs(n);
        std::vector<double> azimuth_pairs(n);
        sun::position(t_pairs, lat_pairs, lon_pairs, zenith_pairs, azimuth_pairs);
        CHECK(zenith == zenith_pairs);
        CHECK(azimuth == azimuth_pairs);
    }
}

TEST_CASE("cos_zenith is the cosine of the kernel's angle") {
    const Many many(500);
    std::vector<double> zenith(500);
    std::vector<double> azimuth(500);
    sun::position(many.t, many.lat, many.lon, zenith, azimuth);
    for (std::size_t i = 0; i < 500; ++i) {
        const double lat_rad = many.lat[i] * vm::kRad_per_deg;
        const double found = sun::cos_zenith(sun::subsolar(many.t[i]), std::sin(lat_rad),
                                             std::cos(lat_rad), many.lon[i] * vm::kRad_per_deg);
        CHECK(found == doctest::Approx(std::cos(zenith[i] * vm::kRad_per_deg)).epsilon(1e-13));
    }
    const sun::Subsolar missing = sun::subsolar(kNan);
    CHECK(std::isnan(missing.declination_rad));
    CHECK(std::isnan(sun::cos_zenith(missing, 0.0, 1.0, 0.0)));
}

TEST_CASE("events of an empty list, a NaN and a window that runs backwards") {
    std::array<double, 1> rise{};
    std::array<double, 1> set{};
    std::array<sun::Occurs, 1> state{};
    const std::array<double, 1> zero{0.0};
    const std::array<double, 1> day{kDay_s};
    const std::array<double, 1> nan{kNan};
    const std::array<double, 1> angle{sun::kHorizon_zenith_deg};
    CHECK_NOTHROW(sun::events({}, {}, {}, {}, {}, {}, {}, {}));
    sun::events(zero, day, nan, zero, angle, rise, set, state);
    CHECK(state[0] == sun::Occurs::kMissing);
    CHECK(std::isnan(rise[0]));
    CHECK_THROWS_AS(sun::events(day, zero, zero, zero, angle, rise, set, state),
                    farhear::InputError);
    CHECK_THROWS_AS(sun::events(zero, day, angle, zero, angle, rise, set, state),
                    farhear::InputError);
    CHECK_THROWS_AS(static_cast<void>(sun::zenith_at_height_deg(10.0, 35.0)), farhear::InputError);
    CHECK(sun::zenith_at_height_deg(0.0) == 90.0);
}

// A threshold set a hair inside the day's extreme gives a peak or dip of about a minute, far
// shorter than the sampling step: both of its crossings must be found, around the extreme.
TEST_CASE("short dips and peaks are not missed") {
    for (const double lat : {-70.0, -20.0, 0.0, 35.0, 58.4, 89.0}) {
        const double t0 = 1'771'000'000.0;
        std::vector<double> t(8641);
        for (std::size_t i = 0; i < t.size(); ++i) {
            t[i] = t0 + 10.0 * static_cast<double>(i);
        }
        std::vector<double> zenith(t.size());
        std::vector<double> azimuth(t.size());
        const std::array<double, 1> lats{lat};
        const std::array<double, 1> lons{26.7};
        sun::position_grid(t, lats, lons, zenith, azimuth);
        std::size_t low = 1;
        std::size_t high = 1;
        for (std::size_t i = 1; i + 1 < t.size(); ++i) {
            low = zenith[i] < zenith[low] ? i : low;
            high = zenith[i] > zenith[high] ? i : high;
        }
        const std::array<double, 1> start{t0};
        const std::array<double, 1> end{t0 + kDay_s};
        std::array<double, 1> rise{};
        std::array<double, 1> set{};
        std::array<sun::Occurs, 1> state{};
        // the sun culminates just above, or dips just below, the angle
        for (const std::size_t at : {low, high}) {
            const double inward = at == low ? -1.0 : 1.0;
            const double beside = zenith[at - 3] - inward * 1e-9;
            const std::array<double, 1> angle{beside};
            sun::events(start, end, lats, lons, angle, rise, set, state);
            CAPTURE(lat);
            CHECK(state[0] == sun::Occurs::kYes);
            CHECK(std::abs(rise[0] - t[at]) < 60.0);
            CHECK(std::abs(set[0] - t[at]) < 60.0);
            CHECK((at == low ? rise[0] < set[0] : set[0] < rise[0]));
        }
    }
}

TEST_CASE("the sun is at the angle at its events, to the promised time") {
    const Many many(300);
    std::vector<double> end(300);
    std::vector<double> angle(300, sun::kHorizon_zenith_deg);
    std::vector<double> rise(300);
    std::vector<double> set(300);
    std::vector<sun::Occurs> state(300);
    for (std::size_t i = 0; i < 300; ++i) {
        end[i] = many.t[i] + kDay_s;
    }
    sun::events(many.t, end, many.lat, many.lon, angle, rise, set, state);
    for (std::size_t i = 0; i < 300; ++i) {
        for (const double event : {rise[i], set[i]}) {
            if (std::isnan(event)) {
                continue;
            }
            CHECK(event >= many.t[i]);
            CHECK(event < end[i]);
            const double sign = event == rise[i] ? 1.0 : -1.0;
            const std::array<double, 2> t{event - 0.05, event + 0.05};
            const std::array<double, 2> lat{many.lat[i], many.lat[i]};
            const std::array<double, 2> lon{many.lon[i], many.lon[i]};
            std::array<double, 2> zenith{};
            std::array<double, 2> azimuth{};
            sun::position(t, lat, lon, zenith, azimuth);
            CHECK(sign * (zenith[0] - angle[i]) > 0.0);
            CHECK(sign * (zenith[1] - angle[i]) < 0.0);
        }
    }
}

}  // namespace
