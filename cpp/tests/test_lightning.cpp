#include <doctest/doctest.h>

#include <cmath>

#include "farhear/lightning.hpp"

using namespace farhear;

TEST_CASE("one storm without losses gives its own power, falling with the fourth power of f") {
    // Source: the definition in the header, evaluated by hand; f^-2 of the flash and f^-2 of free
    // space, and a usable frequency far above.
    lightning::State state{};
    for (auto& p : state.paths) {
        p = {-1e3, 0.0, 1.1, std::log(300.0)};
    }
    state.paths[3].log_power = 10.0;
    CHECK(lightning::fa(state, 1.0).fa_db == doctest::Approx(43.4294).epsilon(1e-5));
    CHECK(lightning::fa(state, 10.0).fa_db == doctest::Approx(3.4294).epsilon(1e-4));
}
