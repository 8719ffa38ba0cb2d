#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "farhear/error.hpp"
#include "farhear/path.hpp"

namespace path = farhear::path;

namespace {

constexpr double dms(double deg, double min, double sec) { return deg + min / 60.0 + sec / 3600.0; }

// T. Vincenty, Survey Review 23 (1975), p. 88, test lines a to e. Start longitude 0.
// a on the Bessel ellipsoid, b to e on the International one. Angles printed to 1e-5", lengths to
// 1 mm.
constexpr path::Ellipsoid kBessel{6377.397155, 1.0 / 299.1528128};
constexpr path::Ellipsoid kInternational{6378.388, 1.0 / 297.0};
struct Line {
    path::Ellipsoid ellipsoid;
    double lat1_deg, azimuth_deg, distance_m, lat2_deg, lon2_deg, forward2_deg;
};
constexpr std::array<Line, 5> kVincenty{{
    {kBessel, dms(55, 45, 0), dms(96, 36, 8.79960), 14110526.170, -dms(33, 26, 0), dms(108, 13, 0),
     dms(137, 52, 22.01454)},
    {kInternational, dms(37, 19, 54.95367), dms(95, 27, 59.63089), 4085966.703,
     dms(26, 7, 42.83946), dms(41, 28, 35.50729), dms(118, 5, 58.96161)},
    {kInternational, dms(35, 16, 11.24862), dms(15, 44, 23.74850), 8084823.839,
     dms(67, 22, 14.77638), dms(137, 47, 28.31435), dms(144, 55, 39.92147)},
    {kInternational, dms(1, 0, 0), dms(89, 0, 0), 19960000.000, -dms(0, 59, 53.83076),
     dms(179, 17, 48.02997), dms(91, 0, 6.11733)},
    {kInternational, dms(1, 0, 0), dms(4, 59, 59.99995), 19780006.558, dms(1, 1, 15.18952),
     dms(179, 46, 17.84244), dms(174, 59, 59.88481)},
}};

}  // namespace

TEST_CASE("Vincenty's lines, direct: printed digits") {
    for (const Line& line : kVincenty) {
        const auto end = path::direct_on(line.ellipsoid, line.lat1_deg, 0.0, line.azimuth_deg,
                                         line.distance_m / 1000.0);
        // half of the last printed place of the start (0.5 mm, 0.5e-5") grows at most tenfold here
        CHECK(std::abs(end.point.lat_deg - line.lat2_deg) < 1.5e-8);
        CHECK(std::abs(end.point.lon_deg - line.lon2_deg) < 1.5e-8);
        CHECK(std::abs(end.back_azimuth_deg - (line.forward2_deg + 180.0)) < 1.5e-8);
    }
}

TEST_CASE("Vincenty's lines, inverse: distance to a millimetre") {
    for (const Line& line : kVincenty) {
        const auto back =
            path::inverse_on(line.ellipsoid, line.lat1_deg, 0.0, line.lat2_deg, line.lon2_deg);
        CHECK(std::abs(back.distance_km * 1000.0 - line.distance_m) < 1.0e-3);
        // d and e are nearly antipodal: the printed ends fix the azimuth less well
        CHECK(std::abs(back.azimuth_deg - line.azimuth_deg) < 1.0e-6);
    }
}

TEST_CASE("Flinders Peak to Buninyong") {
    // GDA Technical Manual (ICSM), GRS80: 54 972.271 m, 306 52 05.37, reverse 127 10 25.07.
    constexpr path::Ellipsoid kGrs80{6378.137, 1.0 / 298.257222101};
    const auto line = path::inverse_on(kGrs80, -dms(37, 57, 3.72030), dms(144, 25, 29.52440),
                                       -dms(37, 39, 10.15610), dms(143, 55, 35.38390));
    CHECK(std::abs(line.distance_km * 1000.0 - 54972.271) < 1.0e-3);
    CHECK(std::abs(line.azimuth_deg - dms(306, 52, 5.37)) < 0.01 / 3600.0);
    CHECK(std::abs(line.back_azimuth_deg - dms(127, 10, 25.07)) < 0.01 / 3600.0);
}

// Along the equator the angle is the distance over the equatorial radius.
TEST_CASE("a start a subnormal number off the equator is one on it") {
    constexpr double kQuarter_km = path::kWgs84.equatorial_radius_km * std::numbers::pi / 2.0;
    for (const double lat : {0.0, 1e-280, 2e-314, -5e-324}) {
        CAPTURE(lat);
        const auto end = path::direct(lat, 0.0, 90.0, kQuarter_km);
        CHECK(end.lon_deg == doctest::Approx(90.0).epsilon(1e-14));
        CHECK(std::abs(end.lat_deg) < 1e-14);
    }
}

TEST_CASE("a meridian a subnormal number off another is the same one") {
    for (const double lon : {0.0, 2e-318, -5e-324}) {
        CAPTURE(lon);
        const auto way = path::inverse(89.999989, lon, 89.999988, 0.0);
        CHECK(way.azimuth_deg == 180.0);
        CHECK(way.back_azimuth_deg == 0.0);
    }
}

TEST_CASE("an ellipsoid out of range is refused") {
    CHECK_THROWS_AS((void)path::inverse_on({-1.0, 0.0}, 0, 0, 1, 1), farhear::InputError);
    CHECK_THROWS_AS((void)path::inverse_on({6378.0, 0.1}, 0, 0, 1, 1), farhear::InputError);
    CHECK_THROWS_WITH_AS((void)path::inverse(0, 0, 95, 0), "lat2_deg = 95 is outside [-90, 90]",
                         farhear::InputError);
}

TEST_CASE("unit vectors are exact on the axes and the angle keeps its digits") {
    const auto pole = path::unit_vector(90.0, 123.0);
    CHECK(pole.z == 1.0);
    CHECK(pole.x == 0.0);
    const auto east = path::unit_vector(0.0, 90.0);
    CHECK(east.y == 1.0);
    CHECK(east.x == 0.0);
    const auto a = path::unit_vector(10.0, 20.0);
    const auto b = path::unit_vector(10.0 + 1e-9, 20.0);
    CHECK(path::central_angle_rad(a, b) ==
          doctest::Approx(1e-9 * std::numbers::pi / 180.0).epsilon(1e-4));
    CHECK(path::central_angle_rad(a, {-a.x, -a.y, -a.z}) ==
          doctest::Approx(std::numbers::pi).epsilon(1e-15));
}

TEST_CASE("along: ends, both ways, and ends that give no direction") {
    const auto a = path::unit_vector(45.0, 25.0);
    const auto b = path::unit_vector(51.5, 0.0);
    for (const bool long_path : {false, true}) {
        CHECK(path::central_angle_rad(path::along(a, b, 0.0, long_path), a) < 1e-15);
        CHECK(path::central_angle_rad(path::along(a, b, 1.0, long_path), b) < 1e-15);
    }
    // the two middles are antipodes
    const auto near = path::along(a, b, 0.5, false);
    const auto far = path::along(a, b, 0.5, true);
    CHECK(path::central_angle_rad(near, far) == doctest::Approx(std::numbers::pi).epsilon(1e-15));

    CHECK(path::to_point(path::along(a, a, 0.5, false)).lat_deg == doctest::Approx(45.0));
    CHECK(path::to_point(path::along(a, a, 0.25, true)).lat_deg == doctest::Approx(-45.0));
    const path::Vector anti{-a.x, -a.y, -a.z};
    CHECK(path::to_point(path::along(a, anti, 0.25, false)).lat_deg == doctest::Approx(90.0));
    CHECK(path::to_point(path::along(a, anti, 0.75, true)).lat_deg == doctest::Approx(-90.0));
    const path::Vector north{0.0, 0.0, 1.0};
    const path::Vector south{0.0, 0.0, -1.0};
    const auto equator = path::to_point(path::along(north, south, 0.5, false));
    CHECK(equator.lon_deg == doctest::Approx(0.0));
    CHECK(std::abs(equator.lat_deg) < 1e-12);
}

TEST_CASE("the zero vector and NaN") {
    const auto centre = path::to_point({0.0, 0.0, 0.0});
    CHECK(centre.lat_deg == 0.0);
    CHECK(centre.lon_deg == 0.0);
    const double nan = std::numeric_limits<double>::quiet_NaN();
    CHECK(std::isnan(path::direct(0.0, 0.0, nan, 1.0).lat_deg));
    CHECK(std::isnan(path::inverse(0.0, nan, 0.0, 1.0).azimuth_deg));
    CHECK(std::isnan(path::sphere_point(90.0, nan, 0.0, 0.0, 0.0, false).lat_deg));
}
