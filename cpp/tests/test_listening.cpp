#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numeric>
#include <vector>

#include "farhear/error.hpp"
#include "farhear/listening.hpp"

using namespace farhear;
using listening::Emission;
using listening::Mode;

namespace {

constexpr double kInfinity = std::numeric_limits<double>::infinity();
constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

static_assert(noexcept(listening::ladder(0.0, 1.0, 1.0, 9000.0)));
static_assert(noexcept(listening::relative_protection_db(0.0, 2.8)));
static_assert(noexcept(listening::choose(1.0, 0.0, 0.0, 0.0, Emission::kDigital, 40.0)));
static_assert(noexcept(listening::interference_source({}, {}, 6.0, 9000.0)));
static_assert(noexcept(listening::sinpo({})));

double decibel(double linear) { return 10.0 * std::log10(linear); }

}  // namespace

TEST_CASE("the ladder: one half where the median stands on a rung, less on each higher rung") {
    const auto p = listening::ladder(17.0, 12.0, 10.0, 9000.0);
    CHECK(p[2] == doctest::Approx(0.5));
    for (std::size_t i = 1; i < p.size(); ++i) {
        CHECK(p.at(i) < p.at(i - 1));
    }
    // a tenth of the bandwidth has a tenth of the noise: 10 dB more S/N is the same signal
    const auto narrow = listening::ladder(27.0, 12.0, 10.0, 900.0);
    for (std::size_t i = 0; i < p.size(); ++i) {
        CHECK(narrow.at(i) == doctest::Approx(p.at(i)).epsilon(1e-12));
    }
    CHECK(std::isnan(listening::ladder(kNan, 12.0, 10.0, 9000.0)[0]));
}

TEST_CASE("protection: even, no step in value or slope, monotone beyond the whistle") {
    const double h = 1e-5;
    for (const double audio : {2.0, 2.8, 4.5}) {
        CHECK(listening::relative_protection_db(0.0, audio) == 0.0);
        double before = listening::relative_protection_db(3.5, audio);
        for (double x = 3.5 + h; x < 60.0; x += 0.01) {
            const double now = listening::relative_protection_db(x, audio);
            CHECK(now < before);
            CHECK(listening::relative_protection_db(-x, audio) == now);
            before = now;
        }
        for (const double knot : {0.1, 0.3, 1.0, 2.0, 3.0, 4.0, 5.0, 10.0, 15.0, 20.0}) {
            const double at = listening::relative_protection_db(knot, audio);
            const double left = at - listening::relative_protection_db(knot - h, audio);
            const double right = listening::relative_protection_db(knot + h, audio) - at;
            CHECK(std::abs(left - right) < 1e-6);
        }
    }
}

TEST_CASE("share above the carrier: one half on the channel, mirror images add to one") {
    CHECK(listening::upper_share(0.0) == doctest::Approx(0.5));
    CHECK(listening::upper_share(-0.0) == doctest::Approx(0.5));
    CHECK(listening::upper_share(5.0) == 1.0);
    CHECK(listening::upper_share(-5.0) == 0.0);
    double before = 0.0;
    for (double x = -5.0; x <= 5.0; x += 0.001) {
        const double share = listening::upper_share(x);
        CHECK(share + listening::upper_share(-x) == doctest::Approx(1.0));
        CHECK(std::abs(share - before) < 0.011);
        before = share;
    }
}

TEST_CASE("sidebands: costs and the factor of a neighbour agree with the exact choice") {
    const double suppression = 40.0;
    for (const Mode mode : {Mode::kAm, Mode::kLsb, Mode::kUsb}) {
        for (const double share : {0.0, 0.3, 0.5, 1.0}) {
            const double noise = 1.0;
            const double other = 25.0;
            const auto c = listening::choose(noise, other * share, other * (1.0 - share), 0.0,
                                             Emission::kDoubleSideband, suppression);
            const double cost =
                listening::mode_cost_db(mode, Emission::kDoubleSideband, suppression);
            const double sum =
                noise + other * std::pow(10.0, listening::side_db(mode, share, suppression) / 10.0);
            const std::array by_mode = {c.am_db, c.lsb_db, c.usb_db};
            const double whole = by_mode.at(static_cast<std::size_t>(mode));
            CHECK(whole == doctest::Approx(cost + decibel(sum)).epsilon(1e-12));
        }
    }
    // half on each side is the same as on the channel
    const auto a = listening::choose(1.0, 2.0, 2.0, 0.0, Emission::kDoubleSideband, suppression);
    const auto b = listening::choose(1.0, 0.0, 0.0, 4.0, Emission::kDoubleSideband, suppression);
    CHECK(a.usb_db == doctest::Approx(b.usb_db));
    CHECK(a.best == Mode::kAm);
}

TEST_CASE("emissions: what works and what does not") {
    const auto full = listening::choose(1.0, 0.0, 0.0, 0.0, Emission::kUpperFullCarrier, 40.0);
    CHECK(full.best == Mode::kUsb);
    CHECK(full.gain_db == doctest::Approx(10.0 * std::log10(2.0)).epsilon(1e-3));
    CHECK(full.lsb_db > full.am_db + 30.0);
    const auto upper = listening::choose(1.0, 9.0, 0.0, 0.0, Emission::kUpperNoCarrier, 40.0);
    CHECK(upper.am_db == kInfinity);
    CHECK(upper.gain_db == kInfinity);
    CHECK(upper.best == Mode::kUsb);
    const auto lower = listening::choose(1.0, 0.0, 0.0, 0.0, Emission::kLowerNoCarrier, 40.0);
    CHECK(lower.best == Mode::kLsb);
    const auto digital = listening::choose(1.0, 0.0, 0.0, 0.0, Emission::kDigital, 40.0);
    CHECK(digital.best == Mode::kNone);
    CHECK(std::isnan(digital.gain_db));
    CHECK(listening::choose(kNan, 0.0, 0.0, 0.0, Emission::kDoubleSideband, 40.0).best ==
          Mode::kNone);
}

TEST_CASE("interference: nobody, one, many") {
    const std::array<listening::Interferer, 2> silent = {listening::Interferer{kNan, 8.0, 8.0},
                                                         {kNan, 8.0, 8.0}};
    const std::array<double, 2> weights = {0.0, -3.0};
    CHECK(listening::interference_source(silent, weights, 6.0, 9000.0).fa_db == -kInfinity);
    CHECK(listening::interference_source({}, {}, 6.0, 9000.0).fa_db == -kInfinity);
    CHECK(std::isnan(listening::interference_source(silent, weights, kNan, 9000.0).fa_db));

    const std::array<listening::Interferer, 2> one = {listening::Interferer{kNan, 8.0, 8.0},
                                                      {40.0, 7.0, 9.0}};
    const auto s = listening::interference_source(one, weights, 6.0, 9000.0);
    CHECK(s.upper_db == doctest::Approx(7.0));
    CHECK(s.lower_db == doctest::Approx(9.0));
    // the ratio of a field to the source is the difference of fields and weight
    CHECK(listening::ratio_db(60.0, s.fa_db, 6.0, 9000.0) == doctest::Approx(23.0));

    // steady powers add, in portions too
    const std::vector<listening::Interferer> many(100, {20.0, 0.0, 0.0});
    const std::vector<double> none(100, 0.0);
    const auto sum = listening::interference_source(many, none, 6.0, 9000.0);
    CHECK(listening::ratio_db(40.0, sum.fa_db, 6.0, 9000.0) == doctest::Approx(0.0));
    CHECK(std::abs(sum.upper_db) < 1e-9);
}

TEST_CASE("report codes: rows sum to one, overall stays under the degrading digits") {
    const listening::Impression in = {50.0, 11.0, 8.0, 33.0, 5.0, 10.0, 20.0, 8.0, 8.0, 0.7, 1.0};
    const auto r = listening::sinpo(in);
    for (const auto& row : r.probability) {
        CHECK(std::accumulate(row.begin(), row.end(), 0.0) == doctest::Approx(1.0).epsilon(1e-14));
        for (const double p : row) {
            CHECK(p > 0.0);
        }
    }
    CHECK(r.code[4] <= std::min({r.code[1], r.code[2], r.code[3]}));
    CHECK(r.code_probability > 0.0);
    CHECK(r.code_probability < r.probability[0].at(r.code[0] - 1U));

    auto unknown = in;
    unknown.snr_db = kNan;
    CHECK(std::isnan(listening::sinpo(unknown).probability[4][0]));
    auto alone = in;
    alone.sir_db = kInfinity;
    CHECK(listening::sinpo(alone).probability[1][4] ==
          doctest::Approx(1.0 - listening::kLapse * 0.8));
}

TEST_CASE("columns that do not fit are named") {
    const std::vector<double> two(2, 1.0);
    std::vector<double> out(9);
    CHECK_THROWS_AS(listening::ladder(two, two, two, two, out), InputError);
    std::vector<double> three(2);
    CHECK_THROWS_AS(listening::interference_source({two, two, two}, two, Mode::kAm, {}, two, 9000.0,
                                                   three, three, three),
                    InputError);
    const std::vector<double> one(1, 1.0);
    std::vector<double> a(1);
    CHECK_THROWS_AS(
        listening::interference_source({one, one, one}, one, Mode::kNone, {}, one, 9000.0, a, a, a),
        InputError);
}
