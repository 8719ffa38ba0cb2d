#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <vector>

#include "farhear/noise.hpp"

using namespace farhear;

TEST_CASE("one source combines to itself, two equal ones to a little more than 3 dB less spread") {
    const noise::Source one{40.0, 9.2, 4.6};
    const auto same = noise::combine(std::array{one});
    CHECK(same.fa_db == doctest::Approx(40.0).epsilon(1e-12));
    CHECK(same.upper_db == doctest::Approx(9.2).epsilon(1e-12));
    CHECK(same.lower_db == doctest::Approx(4.6).epsilon(1e-12));
    const auto two = noise::combine(std::array{one, one});
    CHECK(two.fa_db > 43.0);
    CHECK(two.upper_db < 9.2);
    CHECK(std::isinf(noise::combine({}).fa_db));
}

TEST_CASE("sources combine to numbers however far they spread") {
    const noise::Source wide{200.0, 100.0, 100.0};  // the widest that the array forms take
    const auto same = noise::combine(std::array{wide});
    CHECK(same.fa_db == doctest::Approx(200.0).epsilon(1e-12));
    CHECK(same.upper_db == doctest::Approx(100.0).epsilon(1e-12));
    const auto both = noise::combine(std::array{wide, noise::Source{-4000.0, 0.0, 0.0}});
    CHECK(both.fa_db == doctest::Approx(200.0).epsilon(1e-12));
    CHECK(both.lower_db == doctest::Approx(100.0).epsilon(1e-12));
}

TEST_CASE("galactic noise is shielded below foF2") {
    CHECK(noise::galactic_share(3.0, 6.0) < 1e-6);
    CHECK(noise::galactic_share(6.0, 6.0) == doctest::Approx(0.5));
    CHECK(noise::galactic_share(12.0, 6.0) > 1.0 - 1e-6);
}
