#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <vector>

#include "farhear/error.hpp"
#include "farhear/ionosphere.hpp"

namespace {

using namespace farhear;

// Maps with one coefficient set: foF2 = 5 everywhere at index 0, 9 at index 100; M = 3.
ionosphere::Maps flat_maps() {
    std::vector<double> fof2(std::size_t{12} * 2 * 76 * 13, 0.0);
    std::vector<double> m3000(std::size_t{12} * 2 * 49 * 9, 0.0);
    for (std::size_t month = 0; month < 12; ++month) {
        fof2[(month * 2 + 0) * 76 * 13] = 5.0;
        fof2[(month * 2 + 1) * 76 * 13] = 9.0;
        m3000[(month * 2 + 0) * 49 * 9] = 3.0;
        m3000[(month * 2 + 1) * 49 * 9] = 3.0;
    }
    return {fof2, m3000};
}

}  // namespace

TEST_CASE("index conversions invert and stay in bounds") {
    // Source: the two formulas of Recommendation ITU-R P.371 are each other's inverse (the
    // coefficients themselves are from memory).
    for (const double r12 : {0.0, 12.5, 50.0, 100.0, 150.0, 200.0}) {
        CHECK(ionosphere::r12_from_f107(ionosphere::f107_from_r12(r12)) ==
              doctest::Approx(r12).epsilon(1e-12));
    }
    CHECK(ionosphere::r12_from_f107(60.0) == 0.0);
    CHECK(ionosphere::map_index(300.0, true) ==
          doctest::Approx(ionosphere::ig12_from_r12(150.0)).epsilon(1e-14));
    CHECK(ionosphere::map_index(300.0, false) > ionosphere::map_index(300.0, true));
    // without saturation the quadratic must not turn back down
    CHECK(ionosphere::map_index(400.0, false) >= ionosphere::map_index(350.0, false));
}

TEST_CASE("maps interpolate between the levels and between the middles of months") {
    const auto maps = flat_maps();
    const auto place = ionosphere::basis(10.0, 20.0, 30.0);
    CHECK(ionosphere::combine(place, maps.month(6, 12.0, 25.0)).fof2_mhz ==
          doctest::Approx(6.0).epsilon(1e-14));
    CHECK(ionosphere::combine(place, maps.month(6, 12.0, -10.0)).fof2_mhz ==
          doctest::Approx(4.6).epsilon(1e-14));
    // over a whole year the day weights always sum to one
    for (int day = 0; day < 366; ++day) {
        const double t = 1704067200.0 + day * 86400.0 + 1234.0;  // from 2024-01-01
        CHECK(ionosphere::combine(place, maps.at(t, 0.0)).fof2_mhz ==
              doctest::Approx(5.0).epsilon(1e-13));
    }
}

TEST_CASE("the blocked product equals the single dot product") {
    std::vector<double> fof2(std::size_t{12} * 2 * 76 * 13);
    std::vector<double> m3000(std::size_t{12} * 2 * 49 * 9);
    for (std::size_t i = 0; i < fof2.size(); ++i) {
        fof2[i] = std::sin(0.1 * static_cast<double>(i));
    }
    for (std::size_t i = 0; i < m3000.size(); ++i) {
        m3000[i] = std::cos(0.2 * static_cast<double>(i));
    }
    const ionosphere::Maps maps(fof2, m3000);
    // 67 places (not a multiple of the block), 5 instants (not a multiple of the group)
    std::vector<double> lat;
    std::vector<double> lon;
    std::vector<double> modip;
    for (int i = 0; i < 67; ++i) {
        lat.push_back(-90.0 + i * 2.6);
        lon.push_back(-180.0 + i * 5.3);
        modip.push_back(-80.0 + i * 2.3);
    }
    std::vector<ionosphere::Terms> instants;
    for (int i = 0; i < 5; ++i) {
        instants.push_back(maps.month(i + 3, 4.7 * i, 60.0));
    }
    std::vector<double> f(lat.size() * instants.size());
    std::vector<double> m(f.size());
    ionosphere::product(lat, lon, modip, instants, f, m);
    for (std::size_t t = 0; t < instants.size(); ++t) {
        for (std::size_t p = 0; p < lat.size(); ++p) {
            const auto one =
                ionosphere::combine(ionosphere::basis(lat[p], lon[p], modip[p]), instants[t]);
            CHECK(f[t * lat.size() + p] == doctest::Approx(one.fof2_mhz).epsilon(1e-11));
            CHECK(m[t * lat.size() + p] == doctest::Approx(one.m3000f2_ratio).epsilon(1e-11));
        }
    }
}

TEST_CASE("foE form B has no step at the terminator and overflows nowhere") {
    double before = ionosphere::foe_mhz(100.0, 50.0, 60.0, 0.0);
    for (double chi = 60.01; chi <= 180.0; chi += 0.01) {
        const double now = ionosphere::foe_mhz(100.0, 50.0, chi, 0.0);
        CHECK(std::isfinite(now));
        CHECK(now >= 0.69);  // sqrt(0.49), the night value of the formula
        CHECK(now <= before + 1e-9);
        CHECK(before - now < 0.01);
        before = now;
    }
}

TEST_CASE("day-to-day spread blends between its published corners without a step") {
    // the corner values are the proxy's own definition
    CHECK(ionosphere::fof2_spread(30.0, 50.0, 45.0) == doctest::Approx(0.08));
    CHECK(ionosphere::fof2_spread(120.0, 50.0, 45.0) == doctest::Approx(0.16));
    CHECK(ionosphere::fof2_spread(120.0, 5.0, 5.0) == doctest::Approx(0.30));
    CHECK(ionosphere::fof2_spread(120.0, 65.0, 65.0) == doctest::Approx(0.16 * 1.4));
    double before = ionosphere::fof2_spread(70.0, 24.0, 54.0);
    for (double chi = 70.0; chi < 110.0; chi += 0.1) {
        const double now = ionosphere::fof2_spread(chi, 24.0, 54.0);
        CHECK(std::abs(now - before) < 0.003);
        before = now;
    }
}

TEST_CASE("wrong coefficient tables are refused") {
    CHECK_THROWS_AS(ionosphere::Maps({1.0, 2.0}, {}), InputError);
    std::vector<double> fof2(std::size_t{12} * 2 * 76 * 13, 0.0);
    fof2[17] = std::nan("");
    CHECK_THROWS_WITH_AS(ionosphere::Maps(fof2, std::vector<double>(std::size_t{12} * 2 * 49 * 9)),
                         "map coefficient 17 is not finite", InputError);
}
