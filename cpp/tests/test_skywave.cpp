#include <doctest/doctest.h>

#include <cmath>

#include "farhear/skywave.hpp"

using namespace farhear;

TEST_CASE("hop geometry closes: law of sines against law of cosines") {
    // Source: plane triangle Earth centre, station, mirror; the sine form of STANDARDS (19) is an
    // independent way to the slant length.
    for (const double hop : {50.0, 500.0, 1000.0, 2000.0, 3000.0}) {
        for (const double height : {110.0, 200.0, 300.0, 450.0}) {
            const double a = hop / (2.0 * path::kEarthRadius_km);
            const double elevation_rad =
                skywave::elevation_deg(hop, height) * 3.14159265358979323846 / 180.0;
            const double sine_form =
                2.0 * path::kEarthRadius_km * std::sin(a) / std::cos(elevation_rad + a);
            CHECK(skywave::slant_km(hop, height) == doctest::Approx(sine_form).epsilon(1e-9));
        }
    }
    CHECK(skywave::elevation_deg(0.0, 300.0) == doctest::Approx(90.0));
    CHECK(skywave::slant_km(0.0, 300.0) == doctest::Approx(600.0));
}

TEST_CASE("the longest hop has the elevation it was asked for") {
    for (const double height : {110.0, 200.0, 300.0, 400.0}) {
        const double hop = skywave::longest_hop_km(3.0, height);
        CHECK(skywave::elevation_deg(hop, height) == doctest::Approx(3.0).epsilon(1e-9));
    }
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
        const double now = skywave::absorption_db(f, 1.2, 10.0, 0.8);
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
