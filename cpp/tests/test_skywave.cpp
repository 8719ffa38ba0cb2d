#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "farhear/skywave.hpp"

using namespace farhear;

TEST_CASE("hop geometry closes: no angles against the usual angles") {
    // Source: plane triangle Earth centre, station, mirror, in the usual form with the elevation
    // (P.533 5.1): an independent way to the same figures.
    for (const double hop_km : {50.0, 500.0, 1000.0, 2000.0, 3000.0, 4500.0}) {
        for (const double height : {110.0, 200.0, 300.0, 450.0}) {
            const double a = hop_km / (2.0 * path::kEarthRadius_km);
            const double ratio = path::kEarthRadius_km / (path::kEarthRadius_km + height);
            const double elevation_rad = std::atan((std::cos(a) - ratio) / std::sin(a));
            const auto hop = skywave::hop_over(hop_km, height);
            CHECK(skywave::elevation_deg(hop) * std::numbers::pi / 180.0 ==
                  doctest::Approx(elevation_rad).epsilon(1e-9));
            CHECK(hop.slant_km == doctest::Approx(2.0 * path::kEarthRadius_km * std::sin(a) /
                                                  std::cos(elevation_rad + a))
                                      .epsilon(1e-9));
            CHECK(skywave::secant_incidence(hop.cos_elevation, 110.0) ==
                  doctest::Approx(1.0 / std::cos(std::asin(path::kEarthRadius_km *
                                                           std::cos(elevation_rad) / 6481.0)))
                      .epsilon(1e-9));
        }
    }
    CHECK(skywave::elevation_deg(skywave::hop_over(0.0, 300.0)) == doctest::Approx(90.0));
    CHECK(skywave::hop_over(0.0, 300.0).slant_km == doctest::Approx(600.0));
}

TEST_CASE("the longest hop has the elevation it was asked for") {
    for (const double height : {110.0, 200.0, 300.0, 400.0}) {
        const double hop_km = skywave::longest_hop_km(3.0, height);
        CHECK(skywave::elevation_deg(skywave::hop_over(hop_km, height)) ==
              doctest::Approx(3.0).epsilon(1e-9));
    }
}

TEST_CASE("E frequency: secant law") {
    // Source: no published values; an independent evaluation of the same formulas in Python
    // (constants of P.533 from memory). foE 3.2 MHz: 12.7405 at 1000 km, 17.2226
    // at 2000 km; absorption: 38.886 dB a hop at 6 MHz, fH 1.2, elevation 10, chi 45, R12 50.
    CHECK(skywave::e_muf_mhz(skywave::hop_over(1000.0, 110.0), 3.2) ==
          doctest::Approx(12.7405).epsilon(1e-5));
    CHECK(skywave::e_muf_mhz(skywave::hop_over(2000.0, 110.0), 3.2) ==
          doctest::Approx(17.2226).epsilon(1e-5));
    const double ten_deg = std::cos(10.0 * std::numbers::pi / 180.0);
    CHECK(skywave::absorption_db(6.0, 1.2, ten_deg, skywave::absorption_factor(45.0, 50.0)) ==
          doctest::Approx(38.886).epsilon(2e-5));
    CHECK(skywave::absorption_db(9.6, 1.2, ten_deg, skywave::absorption_factor(90.0, 50.0)) ==
          doctest::Approx(3.029).epsilon(2e-4));
}

TEST_CASE("F2 frequency: worked values") {
    // Source: as above. foF2 8, foE 3.2, M 3.05, fH 1.2 MHz; dmax 5118.14 km, B 3.06450.
    const auto shape = skywave::f2_shape(8.0, 3.2, 3.05);
    CHECK(shape.dmax_km == doctest::Approx(5118.14).epsilon(2e-6));
    CHECK(shape.b == doctest::Approx(3.06450).epsilon(2e-6));
    CHECK(skywave::f2_muf_mhz(0.0, 8.0, shape, 1.2) == doctest::Approx(8.6));
    CHECK(skywave::f2_muf_mhz(500.0, 8.0, shape, 1.2) == doctest::Approx(9.8763).epsilon(1e-5));
    CHECK(skywave::f2_muf_mhz(2000.0, 8.0, shape, 1.2) == doctest::Approx(20.1095).epsilon(1e-5));
    CHECK(skywave::f2_muf_mhz(4000.0, 8.0, shape, 1.2) == doctest::Approx(27.1614).epsilon(1e-5));
}

TEST_CASE("F2 distance factor is 0 at no distance and 1 at the greatest") {
    // Source: the boundary values P.533's polynomial must have (Lockwood 1983).
    CHECK(skywave::f2_distance_factor(0.0, 4800.0) == doctest::Approx(0.0).epsilon(1e-12));
    CHECK(skywave::f2_distance_factor(4800.0, 4800.0) == doctest::Approx(1.0).epsilon(1e-12));
}

TEST_CASE("F2 usable frequency grows with distance for every shape the maps can give") {
    // The polynomial itself starts with a slightly negative slope: within 250 km the frequency may
    // dip, by less than 1 % of its value overhead (found here, a property of the formula).
    for (double m = 2.2; m <= 4.4; m += 0.2) {
        for (double x = 1.2; x <= 12.0; x += 0.6) {
            const auto shape = skywave::f2_shape(8.0, 8.0 / x, m);
            const double overhead = skywave::f2_muf_mhz(0.0, 8.0, shape, 1.2);
            double before = 0.0;
            for (double d = 0.0; d <= shape.dmax_km; d += 50.0) {
                const double now = skywave::f2_muf_mhz(d, 8.0, shape, 1.2);
                if (d <= 250.0) {
                    CHECK(now > 0.99 * overhead);
                } else {
                    CHECK(now > before);
                }
                before = now;
            }
        }
    }
}

TEST_CASE("absorption falls with frequency and has no step at its night edge") {
    double before = 1e9;
    for (double f = 1.6; f <= 30.0; f += 0.1) {
        const double now = skywave::absorption_db(f, 1.2, 0.98, 0.8);
        CHECK(now < before);
        before = now;
    }
    for (double chi = 80.0; chi < 130.0; chi += 0.05) {
        CHECK(std::abs(skywave::absorption_factor(chi + 0.05, 100.0) -
                       skywave::absorption_factor(chi, 100.0)) < 0.002);
    }
}

TEST_CASE("convergence gain is capped at the antipode") {
    CHECK(skywave::convergence_db(0.0) == 0.0);
    CHECK(skywave::convergence_db(20015.0) == 15.0);
}
