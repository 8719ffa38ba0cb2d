#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <limits>
#include <type_traits>
#include <vector>

#include "farhear/antenna.hpp"
#include "farhear/error.hpp"

using namespace farhear;
using antenna::Antenna;
using antenna::Kind;
using antenna::Pattern;

namespace {

constexpr double kInfinite = std::numeric_limits<double>::infinity();

Antenna curtain(double columns, double rows, double height_wl, double slew_deg = 0.0) {
    return {Kind::kCurtain, columns, rows, height_wl, slew_deg, 10.0,
            20.0,           60.0,    0.0,  0.0,       1.0,      kInfinite};
}

}  // namespace

TEST_CASE("what is used tens of thousands of times a second cannot throw") {
    static_assert(noexcept(std::declval<const Pattern&>().gain_dbi(0.0, 0.0)));
    static_assert(noexcept(std::declval<const Pattern&>().table(
        0.0, 25.0, std::declval<std::span<double, antenna::kElevations>>())));
    static_assert(std::is_trivially_copyable_v<Pattern>);
}

TEST_CASE("a table is the filled-in gain, and ends where gain ends") {
    const Pattern pattern(curtain(4, 4, 0.5, 15.0), 11.0);
    std::array<double, antenna::kElevations> table{};
    pattern.table(-37.0, 25.0, table);
    const double fill = std::pow(10.0, -2.5);
    for (std::size_t i = 0; i < table.size(); ++i) {
        const double gain =
            std::pow(10.0, 0.1 * pattern.gain_dbi(-37.0, 2.0 * static_cast<double>(i)));
        const double filled = (1.0 - fill) * gain + fill * std::pow(10.0, 0.1 * pattern.peak_dbi());
        CHECK(table.at(i) == doctest::Approx(10.0 * std::log10(filled)).epsilon(1e-12));
    }
}

TEST_CASE("NaN passes, a perfect null is a number") {
    const Pattern pattern(curtain(2, 2, 0.5), 10.0);
    constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
    CHECK(std::isnan(pattern.gain_dbi(kNan, 10.0)));
    CHECK(std::isnan(pattern.gain_dbi(0.0, kNan)));
    CHECK(pattern.gain_dbi(0.0, 0.0) == doctest::Approx(antenna::kLeast_dbi));
}

// In free space a stack looks the same from above and from below: at 0 degrees all its rows add.
TEST_CASE("over a ground of air there is no ground") {
    Antenna a = curtain(2, 2, 0.5);
    a.permittivity = 1.0;
    a.conductivity_s_m = 0.0;
    const Pattern low(a, 10.0);
    a.height_wl = 3.0;
    const Pattern high(a, 10.0);
    for (const double elevation : {0.0, 1e-7, 10.0, 45.0}) {
        CHECK(std::isfinite(low.gain_dbi(0.0, elevation)));
        CHECK(low.gain_dbi(0.0, elevation) ==
              doctest::Approx(high.gain_dbi(0.0, elevation)).epsilon(1e-3));
    }
    CHECK(low.gain_dbi(0.0, 0.0) == doctest::Approx(low.peak_dbi()).epsilon(1e-9));
}

TEST_CASE("no slew, no taper; the taper passes smoothly through it") {
    CHECK(Pattern(curtain(4, 4, 0.5), 10.0).taper() == 0.0);
    const Pattern right(curtain(4, 4, 0.5, 0.01), 10.0);
    const Pattern left(curtain(4, 4, 0.5, -0.01), 10.0);
    CHECK(right.taper() == doctest::Approx(-left.taper()).epsilon(1e-6));
    CHECK(std::abs(right.taper()) < 5e-4);
}

TEST_CASE("a description that cannot be is refused by name") {
    const auto refused = [](Antenna a, double freq_mhz) {
        CHECK_THROWS_AS(Pattern(a, freq_mhz), InputError);
    };
    refused(curtain(2.5, 2, 0.5), 10.0);
    refused(curtain(0, 2, 0.5), 10.0);
    refused(curtain(2, 2, 0.01), 10.0);
    refused(curtain(2, 2, 0.5, 61.0), 10.0);
    refused(curtain(1, 2, 0.5, 10.0), 10.0);
    refused(curtain(2, 2, 0.5), 4.9);
    refused(curtain(2, 2, std::numeric_limits<double>::quiet_NaN()), 10.0);
    CHECK_THROWS_WITH_AS(Pattern(curtain(2, 2, 0.5), 21.0),
                         "freq_mhz / design_mhz = 2.1 is outside [0.5, 2]", InputError);
}

TEST_CASE("columns of unequal length are refused, an element is named") {
    const std::vector<std::int64_t> kind = {1, 1};
    const std::vector<double> one = {1.0, 1.0};
    const std::vector<double> height = {0.5, 9.0};
    const std::vector<double> zero = {0.0, 0.0};
    const std::vector<double> ten = {10.0, 10.0};
    const std::vector<double> infinite = {kInfinite, kInfinite};
    const antenna::AntennaColumns columns = {kind, one, one,  height, zero, ten,
                                             zero, ten, zero, zero,   one,  infinite};
    std::vector<double> out(2);
    CHECK_THROWS_WITH_AS(antenna::gain_dbi(columns, ten, zero, zero, out),
                         "element 1: height_wl = 9 is outside [0.05, 5]", InputError);
    CHECK_THROWS_AS(antenna::gain_dbi(columns, ten, zero, zero, std::span(out).first(1)),
                    InputError);
}
