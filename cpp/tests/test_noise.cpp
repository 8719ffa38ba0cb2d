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

TEST_CASE("galactic noise is shielded below foF2") {
    CHECK(noise::galactic_share(3.0, 6.0) < 1e-6);
    CHECK(noise::galactic_share(6.0, 6.0) == doctest::Approx(0.5));
    CHECK(noise::galactic_share(12.0, 6.0) > 1.0 - 1e-6);
}
