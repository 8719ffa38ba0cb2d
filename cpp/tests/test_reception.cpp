#include <doctest/doctest.h>

#include <cmath>

#include "farhear/reception.hpp"

using namespace farhear;

TEST_CASE("two-piece normal: one half at the median, nine tenths at the decile") {
    CHECK(reception::two_piece(0.0, 12.0, 10.0) == doctest::Approx(0.5));
    CHECK(reception::two_piece(12.0, 12.0, 10.0) == doctest::Approx(0.9));
    CHECK(reception::two_piece(-10.0, 12.0, 10.0) == doctest::Approx(0.1));
}

TEST_CASE("support: one half at the MUF, smooth about it") {
    CHECK(reception::support(10.0, 10.0) == doctest::Approx(0.5));
    CHECK(reception::support(10.0, 14.0) == 1.0);
    CHECK(reception::support(14.0, 10.0) == 0.0);
    double before = 0.0;
    for (double muf = 5.0; muf < 20.0; muf += 0.01) {
        const double now = reception::support(10.0, muf);
        CHECK(now >= before);
        CHECK(now - before < 0.012);
        before = now;
    }
}

TEST_CASE("beam gain wraps round the circle") {
    const double back = reception::beam_gain_dbi(180.0, 17.0, 40.0, 18.0);
    CHECK(back == doctest::Approx(-1.0));
    CHECK(reception::beam_gain_dbi(350.0, 17.0, 40.0, 18.0) ==
          doctest::Approx(reception::beam_gain_dbi(-10.0, 17.0, 40.0, 18.0)));
    CHECK(reception::beam_gain_dbi(370.0, 17.0, 40.0, 18.0) ==
          doctest::Approx(reception::beam_gain_dbi(10.0, 17.0, 40.0, 18.0)));
}
