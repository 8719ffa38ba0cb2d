#include <doctest/doctest.h>

#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <span>
#include <type_traits>
#include <vector>

#include "farhear/error.hpp"
#include "farhear/magnetic.hpp"

namespace {

using farhear::InputError;
using farhear::magnetic::Model;

constexpr std::size_t kCount = 195;

// A pure dipole: g10, g11, h11 of IGRF-14 at 2025.0 (file IGRF14.shc), the rest zero.
Model dipole() {
    std::vector<double> table(2 * kCount, 0.0);
    for (std::size_t epoch = 0; epoch < 2; ++epoch) {
        table[epoch * kCount] = -29350.0;
        table[epoch * kCount + 1] = -1410.3;
        table[epoch * kCount + 2] = 4545.5;
    }
    return {{2025.0, 2030.0}, table};
}

}  // namespace

TEST_CASE("a dipole's field is the textbook dipole") {
    // B = B0 (a/r)^3 sqrt(1 + 3 sin^2 G), tan I = 2 tan G (any textbook of geomagnetism), on the
    // equatorial plane z = 0, where geodetic and geocentric frames are the same.
    const Model model = dipole();
    for (const double lon_deg : {-170.0, -72.8, 0.0, 45.0, 107.2}) {
        const auto field = model.components(2026.0, 0.0, lon_deg, 300.0);
        const double strength = std::sqrt(29350.0 * 29350.0 + 1410.3 * 1410.3 + 4545.5 * 4545.5);
        const double lat = model.geomagnetic_lat_deg(2026.0, 0.0, lon_deg);
        const double sine = std::sin(lat * std::numbers::pi / 180.0);
        const double expected = strength * std::pow(6371.2 / (6378.137 + 300.0), 3) *
                                std::sqrt(1.0 + 3.0 * sine * sine);
        CHECK(farhear::magnetic::total_nt(field) == doctest::Approx(expected).epsilon(1e-12));
        const double dip = farhear::magnetic::dip_deg(field) * std::numbers::pi / 180.0;
        CHECK(std::tan(dip) ==
              doctest::Approx(2.0 * std::tan(lat * std::numbers::pi / 180.0)).epsilon(1e-9));
    }
}

TEST_CASE("a block that is not full gives the same bits as a full one") {
    const Model model = dipole();
    std::vector<double> lat;
    std::vector<double> lon;
    for (int i = 0; i < 67; ++i) {
        lat.push_back(-90.0 + i * 2.7);
        lon.push_back(-180.0 + i * 5.1);
    }
    const std::vector<double> height(lat.size(), 300.0);
    std::vector<double> north(lat.size());
    std::vector<double> east(lat.size());
    std::vector<double> down(lat.size());
    model.components(2026.0, lat, lon, height, north, east, down);
    for (std::size_t i = 0; i < lat.size(); ++i) {
        const auto one = model.components(2026.0, lat[i], lon[i], 300.0);
        CHECK(one.north_nt == north[i]);
        CHECK(one.east_nt == east[i]);
        CHECK(one.down_nt == down[i]);
    }
    std::vector<double> none;
    CHECK_NOTHROW(model.components(2026.0, none, none, none, none, none, none));
}

TEST_CASE("wrong models and wrong lengths are refused") {
    const std::vector<double> table(2 * kCount, 1.0);
    CHECK_THROWS_AS(Model({2025.0}, std::vector<double>(kCount, 1.0)), InputError);
    CHECK_THROWS_AS(Model({2025.0, 2025.0}, table), InputError);
    CHECK_THROWS_AS(Model({2025.0, 2030.0, 2035.0}, table), InputError);
    std::vector<double> broken = table;
    broken[7] = std::numeric_limits<double>::infinity();
    CHECK_THROWS_AS(Model({2025.0, 2030.0}, broken), InputError);

    const Model model = dipole();
    const std::vector<double> two(2, 1.0);
    const std::vector<double> three(3, 1.0);
    std::vector<double> out(2);
    CHECK_THROWS_AS(model.components(2026.0, two, three, two, out, out, out), InputError);
    CHECK_THROWS_AS(static_cast<void>(model.components(2031.0, 0.0, 0.0, 0.0)), InputError);
    CHECK_THROWS_AS(static_cast<void>(model.components(2026.0, 90.5, 0.0, 0.0)), InputError);
    CHECK(std::isnan(model.components(std::nan(""), 0.0, 0.0, 0.0).north_nt));
}

TEST_CASE("modip at the poles is held, not infinite or NaN") {
    CHECK(farhear::magnetic::modip_deg(88.0, 90.0) == doctest::Approx(90.0).epsilon(2e-5));
    CHECK(farhear::magnetic::modip_deg(-88.0, -90.0) == doctest::Approx(-90.0).epsilon(2e-5));
    CHECK(farhear::magnetic::modip_deg(0.0, 90.0) == 0.0);
}

static_assert(std::is_copy_constructible_v<Model>);
static_assert(!std::is_default_constructible_v<Model>);
