#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "farhear/error.hpp"
#include "farhear/losses.hpp"

using namespace farhear;

namespace {

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

// hot functions may sit in any loop
static_assert(noexcept(losses::auroral_db(60.0, 0.0, 0.0, 0.0)));
static_assert(noexcept(losses::d_region_db(6.0, 1.2, 30.0, 0.5)));
static_assert(noexcept(losses::flare_db(6.0, 1e-5, 30.0, 0.5)));
static_assert(noexcept(losses::polar_cap_db(6.0, 1.0, 1.0, 30.0, 70.0, 0.5)));
static_assert(noexcept(losses::storm_factor(5.0, 50.0)));
static_assert(noexcept(losses::ground_reflection_db(6.0, 0.5, 0.5)));
static_assert(noexcept(losses::day_deciles(0.8, 50.0)));

zone::Regions rectangle(double west_deg, double south_deg, double east_deg, double north_deg) {
    const std::vector<double> lat{south_deg, south_deg, north_deg, north_deg, south_deg};
    const std::vector<double> lon{west_deg, east_deg, east_deg, west_deg, west_deg};
    const std::vector<std::int64_t> vertices{0, 5};
    const std::vector<std::int64_t> one{0, 1};
    return {lat, lon, vertices, one, one};
}

}  // namespace

TEST_CASE("local time is UTC and four minutes a degree") {
    // 2025-11-25T22:00Z at 26.7 E, by hand: 22 h + 26.7 / 15 h
    CHECK(losses::local_time_h(26.7, 1764108000.0) == doctest::Approx(23.78).epsilon(1e-9));
}

TEST_CASE("any local time and any value give an answer or NaN") {
    const double at = losses::auroral_db(65.0, 8.5, 0.3, 100.0);
    CHECK(losses::auroral_db(65.0, 8.5 + 24.0, 0.3, 100.0) == doctest::Approx(at).epsilon(1e-12));
    CHECK(losses::auroral_db(65.0, 8.5 - 48.0, 0.3, 100.0) == doctest::Approx(at).epsilon(1e-12));
    CHECK(losses::auroral_db(89.0, 8.5, 7.0, 100.0) == losses::auroral_db(80.0, 8.5, 1.0, 100.0));
    const double inf = std::numeric_limits<double>::infinity();
    for (const double bad : {kNan, inf, -inf}) {
        CHECK(std::isnan(losses::auroral_db(65.0, bad, 0.3, 100.0)));
        CHECK(std::isnan(losses::auroral_db(bad, 8.5, 0.3, 100.0)));
        CHECK(std::isnan(losses::day_deciles(1.0, bad).lower_db));
    }
    CHECK(std::isnan(losses::auroral_db(10.0, kNan, 0.3, 100.0)));
    CHECK(std::isnan(losses::flare_db(6.0, 0.0, kNan, 0.5)));
    CHECK(std::isnan(losses::storm_factor(kNan, 0.0)));
    CHECK(std::isnan(losses::polar_cap_db(6.0, kNan, 1.0, 30.0, 0.0, 1.0)));
    CHECK(std::isnan(losses::d_region_db(6.0, 1.2, 30.0, 0.5, kNan)));
}

TEST_CASE("a prepared D region gives what the single call gives, grazing and X waves included") {
    const losses::DRegion region(40.0, 2e-5);
    for (const double cosine : {0.0, 0.7, 1.0}) {
        for (const double gyro : {1.2, -1.2}) {
            const double loss = region.loss_db(5.0, gyro, cosine);
            CHECK(loss == losses::d_region_db(5.0, gyro, 40.0, cosine, 2e-5));
            CHECK(std::isfinite(loss));
        }
    }
    CHECK(std::isfinite(region.loss_db(1.2, -1.2, 0.5)));  // the X wave at its gyrofrequency
    // a negative flux is none
    CHECK(losses::d_region_db(5.0, 1.2, 40.0, 0.5, -1.0) ==
          losses::d_region_db(5.0, 1.2, 40.0, 0.5));
}

TEST_CASE("below the horizon a reflection is grazing, and grazing loses nothing") {
    CHECK(losses::ground_reflection_db(10.0, 0.0, 0.3) == doctest::Approx(0.0).epsilon(1e-12));
    CHECK(losses::ground_reflection_db(10.0, -0.1, 0.3) == doctest::Approx(0.0).epsilon(1e-12));
}

TEST_CASE("a hemisphere of land: halves on its meridians, at both poles, everywhere round") {
    const losses::Land half(rectangle(0.0, -90.0, 180.0, 90.0));
    for (const double lat : {-80.0, -41.3, 0.0, 20.25, 77.7}) {
        CHECK(half.sea_share(lat, 90.0) == 0.0);
        CHECK(half.sea_share(lat, -90.0) == 1.0);
        CHECK(half.sea_share(lat, 0.0) == doctest::Approx(0.5).epsilon(0.002));
        CHECK(half.sea_share(lat, 180.0) == doctest::Approx(0.5).epsilon(0.002));
        CHECK(half.sea_share(lat, 180.0) == half.sea_share(lat, -180.0));
        CHECK(half.sea_share(lat, 270.0) == half.sea_share(lat, -90.0));
    }
    for (const double lon : {-170.0, 0.0, 33.0, 180.0}) {
        CHECK(half.sea_share(90.0, lon) == doctest::Approx(0.5).epsilon(0.002));
        CHECK(half.sea_share(-90.0, lon) == doctest::Approx(0.5).epsilon(0.002));
    }
    CHECK(std::isnan(half.sea_share(kNan, 0.0)));
    CHECK(std::isnan(half.sea_share(0.0, kNan)));
    std::array<double, 1> out{};
    const std::array<double, 1> far_north{91.0};
    const std::array<double, 1> lon{0.0};
    CHECK_THROWS_AS(half.sea_share(far_north, lon, out), InputError);
    CHECK_THROWS_AS(half.sea_share(lon, lon, {}), InputError);
}

TEST_CASE("a polar cap of land wider than the blur, and one of its width") {
    const losses::Land cap(rectangle(-180.0, 80.0, 180.0, 90.0));
    CHECK(cap.sea_share(90.0, 12.0) == 0.0);
    CHECK(cap.sea_share(88.6, -170.0) == 0.0);
    CHECK(cap.sea_share(78.0, 12.0) == 1.0);
    // the edge, all round: a parallel bends away from the place, so a little more than half is sea
    for (const double lon : {-179.9, -30.0, 0.0, 179.9}) {
        CHECK(cap.sea_share(80.0, lon) == doctest::Approx(0.5).epsilon(0.05));
    }
}
