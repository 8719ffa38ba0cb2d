#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <vector>

#include "farhear/error.hpp"
#include "farhear/sporadic.hpp"

namespace {

using namespace farhear;

constexpr double kDecile = 1.2815515655446004;  // of the normal distribution, any table

// The same value everywhere and always at each level of activity.
sporadic::Maps flat_maps(double lower_mhz, double median_mhz, double upper_mhz,
                         double high_over_low) {
    const auto table = [&](std::size_t terms, std::size_t harmonics, double value) {
        std::vector<double> out(std::size_t{12} * 2 * terms * harmonics, 0.0);
        for (std::size_t set = 0; set < std::size_t{12} * 2; ++set) {
            out[set * terms * harmonics] = value * (set % 2 == 0 ? 1.0 : high_over_low);
        }
        return out;
    };
    return {table(sporadic::kLowerTerms_count, sporadic::kDecileHarmonics_count, lower_mhz),
            table(sporadic::kMedianTerms_count, sporadic::kMedianHarmonics_count, median_mhz),
            table(sporadic::kUpperTerms_count, sporadic::kDecileHarmonics_count, upper_mhz)};
}

}  // namespace

TEST_CASE("flat maps give the flat value, at every day and place") {
    const auto maps = flat_maps(3.0, 6.0, 12.0, 1.0);
    for (int day = 0; day < 366; ++day) {
        const double t = 1704067200.0 + day * 86400.0 + 1234.0;  // from 2024-01-01
        const auto es =
            sporadic::combine(sporadic::basis(-60.0 + day / 3.0, day, 20.0), maps.at(t, 80.0));
        // the soft limits lift by less than width^2 / (4 distance): 0.3, 5 MHz; 0.1, ratio 0.45
        CHECK(es.median_mhz == doctest::Approx(6.0).epsilon(0.0009));
        CHECK(sporadic::quantile_mhz(es, kDecile) == doctest::Approx(12.0).epsilon(0.002));
        CHECK(sporadic::quantile_mhz(es, -kDecile) == doctest::Approx(3.0).epsilon(0.013));
    }
}

TEST_CASE("activity is linear between the levels and held outside 0 to 200") {
    const auto maps = flat_maps(30.0, 60.0, 120.0, 2.0);
    const auto place = sporadic::basis(10.0, 20.0, 30.0);
    const auto median = [&](double r12) {
        return sporadic::combine(place, maps.at(1.7e9, r12)).median_mhz;
    };
    // levels at 10 and 180; far above the floor the soft limit is below 0.001
    CHECK(median(10.0) == doctest::Approx(60.0).epsilon(1e-4));
    CHECK(median(95.0) == doctest::Approx(90.0).epsilon(1e-4));
    CHECK(median(180.0) == doctest::Approx(120.0).epsilon(1e-4));
    CHECK(median(250.0) == median(200.0));
    CHECK(median(-5.0) == median(0.0));
    CHECK(median(0.0) < median(10.0));
}

TEST_CASE("whatever the maps ring to, the distribution is one") {
    for (const double median : {-20.0, -1.0, 0.0, 1.0, 4.0}) {
        for (const double other : {-50.0, 0.0, 3.0, 100.0}) {
            const auto maps = flat_maps(other, median, other, 1.0);
            const auto es = sporadic::combine(sporadic::basis(0.0, 0.0, 0.0), maps.at(1.7e9, 10.0));
            CHECK(es.median_mhz > 1.0);
            CHECK(sporadic::quantile_mhz(es, kDecile) / es.median_mhz > 1.05);
            CHECK(sporadic::quantile_mhz(es, kDecile) / es.median_mhz < 4.0 + 1e-9);
            CHECK(sporadic::quantile_mhz(es, -kDecile) / es.median_mhz < 0.95);
            CHECK(sporadic::quantile_mhz(es, -kDecile) / es.median_mhz > 0.25 - 1e-9);
        }
    }
}

TEST_CASE("deciles, quantile and share agree") {
    const auto es = sporadic::from_deciles(2.0, 4.0, 9.0);
    CHECK(sporadic::quantile_mhz(es, -kDecile) == doctest::Approx(2.0).epsilon(1e-9));
    CHECK(sporadic::quantile_mhz(es, 0.0) == doctest::Approx(4.0).epsilon(1e-12));
    CHECK(sporadic::quantile_mhz(es, kDecile) == doctest::Approx(9.0).epsilon(1e-9));
    CHECK(sporadic::probability_above(es, 2.0) == doctest::Approx(0.9).epsilon(1e-6));
    CHECK(sporadic::probability_above(es, 4.0) == doctest::Approx(0.5).epsilon(1e-6));
    CHECK(sporadic::probability_above(es, 9.0) == doctest::Approx(0.1).epsilon(1e-6));
}

TEST_CASE("loss of a reflection: the formula worked apart") {
    // Source: ITU-R P.534 (formula from memory; the same stands as equation G.2.1 of ITU-R P.2001
    // in an open implementation of that Recommendation), worked in double precision outside this
    // code.
    struct Row {
        double hop_km;
        double freq_mhz;
        double foes_mhz;
        double loss_db;
    };
    constexpr std::array<Row, 4> kRows = {{{1000.0, 14.0, 7.0, 6.692784355101014},
                                           {1600.0, 21.0, 6.0, 10.764241773183544},
                                           {2000.0, 25.0, 8.0, 9.383032598020483},
                                           {2200.0, 10.0, 9.0, 7.5742983446829}}};
    for (const auto& row : kRows) {
        const double here = sporadic::loss_db(row.hop_km, row.freq_mhz, row.foes_mhz);
        // kept under 80 dB smoothly: at 11 dB that takes 0.1 dB
        CHECK(here <= row.loss_db);
        CHECK(here > row.loss_db - 0.12);
    }
    CHECK(sporadic::loss_db(500.0, 28.0, 5.0) < 80.0);  // the formula gives 142
    CHECK(sporadic::loss_db(500.0, 28.0, 5.0) > 65.0);
}

TEST_CASE("loss rises with frequency, falls with foEs, and stays within bounds") {
    for (const double hop_km : {0.0, 300.0, 1000.0, 1700.0, 2300.0, 4000.0}) {
        double before = 0.0;
        for (double freq_mhz = 2.0; freq_mhz < 30.0; freq_mhz *= 1.1) {
            const double here = sporadic::loss_db(hop_km, freq_mhz, 5.0);
            CHECK(here >= before);
            CHECK(here <= 80.0);
            CHECK(sporadic::loss_db(hop_km, freq_mhz, 6.0) <= here);
            before = here;
        }
    }
}

TEST_CASE("a ray far above foEs passes, one far below loses 15 dB") {
    CHECK(sporadic::obscuration_db(3.0, 12.0) == doctest::Approx(0.0).epsilon(1e-6));
    // 97 % hidden: -10 lg 0.03
    CHECK(sporadic::obscuration_db(12.0, 3.0) == doctest::Approx(15.2288).epsilon(1e-4));
    // half of 97 % where the blanketing frequency, 0.6 foEs, is the ray's: -10 lg (1 - 0.485)
    CHECK(sporadic::obscuration_db(5.0, 3.0) == doctest::Approx(2.8819).epsilon(3e-4));
    double before = 0.0;
    for (double foes_mhz = 1.0; foes_mhz < 20.0; foes_mhz *= 1.02) {
        const double here = sporadic::obscuration_db(foes_mhz, 5.0);
        CHECK(here >= before);
        CHECK(here - before < 0.8);
        before = here;
    }
}

TEST_CASE("tables of another size are refused") {
    CHECK_THROWS_AS(sporadic::Maps({}, {}, {}), InputError);
}
