// The other array forms: layers of the ionosphere, sporadic E, lightning, magnetic field, land and
// sea, antennas, the listening ladder, sidebands, interference, report codes.

#include <algorithm>
#include <numeric>

#include "core_feed.hpp"
#include "core_models.hpp"
#include "farhear/antenna.hpp"
#include "farhear/lightning.hpp"
#include "farhear/listening.hpp"

namespace farhear::fuzz {

namespace {

constexpr std::size_t kN = 2;
constexpr double kFirst_s = -2.2e9;
constexpr double kLast_s = 1.89e9;

void layers(Feed feed) {
    const auto lat = feed.numbers(kN, -90.0, 90.0);
    const auto lon = feed.numbers(kN, -180.0, 360.0);
    const auto t = feed.numbers(kN, kFirst_s, kLast_s);
    const auto flux = feed.numbers(kN, 50.0, 400.0);
    const auto freq = feed.numbers(kN, 1.0, 30.0);
    const ionosphere::Drive drive = {
        feed.flag(),
        feed.flag() ? feed.number(1900.0, 2030.0) : std::numeric_limits<double>::quiet_NaN(),
        feed.flag()};
    const auto& models = world().models;
    std::array<std::vector<double>, 11> out;
    for (auto& column : out) {
        column.assign(kN * kN, -1.0);
    }
    const bool gone = refused([&] {
        ionosphere::characteristics(*models.maps, *models.field, drive, lat, lon, t, flux, {}, {},
                                    {out[0], out[1], out[2], out[3], out[4]});
    });
    const bool es_gone = refused([&] {
        sporadic::foes(*models.es, *models.field, lat, lon, t, flux, {}, {}, out[5], out[6],
                       out[7]);
    });
    const bool noise_gone = refused([&] {
        lightning::columns(*models.maps, *models.field, drive, {lat, lon}, {t, flux, freq}, {}, {},
                           {out[8], out[9], out[10]});
    });
    if (feed.within()) {
        require(!gone && !es_gone && !noise_gone, "numbers within their ranges are refused");
        for (const std::size_t column : {0U, 1U, 2U, 4U, 5U, 6U, 7U, 8U, 9U, 10U}) {
            require_finite(out[column], "finite numbers in, finite numbers out");
        }
        require_range(out[0], 0.5, 100.0, "foF2");
        require_range(out[1], 1.5, 4.5, "M(3000)F2");
        for (std::size_t i = 0; i < kN * kN; ++i) {
            require(out[2][i] > 0.0 && !(out[3][i] <= 0.0), "critical frequencies are positive");
            require(out[5][i] < out[6][i] && out[6][i] < out[7][i],
                    "the median of foEs lies between its deciles");
        }
    }
}

void fields(Feed feed) {
    const auto year = feed.numbers(kN, 1900.0, 2030.0);
    const auto lat = feed.numbers(kN, -90.0, 90.0);
    const auto lon = feed.numbers(kN, -360.0, 360.0);
    const auto height = feed.numbers(kN, -10.0, 10000.0);
    std::array<std::vector<double>, 6> out;
    for (auto& column : out) {
        column.assign(kN, 0.0);
    }
    const auto& model = *world().models.field;
    const bool gone =
        refused([&] { model.components(year, lat, lon, height, out[0], out[1], out[2]); });
    require(!gone || !feed.within(), "numbers within their ranges are refused");
    if (!gone) {
        magnetic::derive(out[0], out[1], out[2], lat, out[3], out[4], out[5]);
        require_range(out[3], -90.0, 90.0, "a dip");
        require_range(out[4], -90.0, 90.0, "a modip");
        if (feed.within()) {
            for (const auto& column : out) {
                require_finite(column, "finite numbers in, finite numbers out");
            }
            // the strongest field on Earth is below 70,000 nT [practice]; deeper by 10 km, 0.5 %
            require_range(out[0], -72000.0, 72000.0, "a field of the Earth");
            require_range(out[2], -72000.0, 72000.0, "a field of the Earth");
        }
    }
    std::vector<double> share(kN);
    if (!refused([&] { world().models.land->sea_share(lat, lon, share); })) {
        require_range(share, 0.0, 1.0, "a share of sea");
        require(!feed.within() || std::isfinite(share[0] + share[1]), "a share");
    }
}

void antennas(Feed feed) {
    namespace antenna = farhear::antenna;
    const auto kind = static_cast<antenna::Kind>(feed.below(6));
    antenna::Antenna a{};
    a.kind = kind;
    a.columns = feed.flag() ? std::rint(feed.number(1.0, 16.0)) : feed.number(1.0, 4.0);
    a.rows = feed.flag() ? std::rint(feed.number(1.0, 16.0)) : 2.0;
    a.height_wl = feed.number(0.05, 5.0);
    a.slew_deg = feed.flag() ? feed.number(-60.0, 60.0) : 0.0;
    const double freq = feed.number(1.6, 30.0);
    a.design_mhz = feed.flag() ? freq : freq * feed.number(0.5, 2.0);
    a.front_back_db = feed.number(0.0, 60.0);
    a.width_deg = feed.number(10.0, 360.0);
    a.peak_dbi = feed.number(-30.0, 40.0);
    a.high_angle_share = feed.number(0.0, 1.0);
    a.permittivity = feed.number(1.0, 100.0);
    a.conductivity_s_m =
        feed.flag() ? feed.number(0.0, 10.0) : std::numeric_limits<double>::infinity();
    const double off = feed.number(-360.0, 360.0);
    const double elevation = feed.number(0.0, 90.0);
    const double floor = feed.number(1.0, 60.0);
    (void)refused([&] {
        const antenna::Pattern pattern(a, freq);
        const double gain = pattern.gain_dbi(off, elevation);
        std::array<double, antenna::kElevations> table{};
        pattern.table(off, floor, table);
        if (feed.within()) {
            const double peak = pattern.peak_dbi();
            require(std::isfinite(peak) && std::isfinite(gain), "a gain");
            require(gain >= antenna::kLeast_dbi && gain <= peak + 0.05, "no gain beyond the peak");
            require_finite(table, "a table of gains");
            require_range(table, peak - floor - 0.1, peak + 0.05, "nulls are filled in");
            require(pattern.peak_elevation_deg() >= 0.0 && pattern.peak_elevation_deg() <= 90.0,
                    "an elevation");
        }
    });
}

void listening_to(Feed feed) {
    namespace listening = farhear::listening;
    const auto snr = feed.numbers(1, -100.0, 150.0);
    const auto lower = feed.numbers(1, 0.01, 100.0);
    const auto upper = feed.numbers(1, 0.01, 100.0);
    const auto bandwidth = feed.numbers(1, 0.01, 1e6);
    std::vector<double> rungs(listening::kRungs);
    if (!refused([&] { listening::ladder(snr, lower, upper, bandwidth, rungs); })) {
        require_range(rungs, 0.0, 1.0, "a rung");
        require(!feed.within() || std::ranges::is_sorted(rungs, std::greater<>()), "rungs fall");
    }
    std::array<std::vector<double>, 11> impression;
    constexpr std::array<double, 11> kLow = {-50, 0, 0, -100, 0, 0, -100, 0, 0, 1e-3, 1};
    constexpr std::array<double, 11> kHigh = {150, 100, 100, 150, 100, 100,
                                              150, 100, 100, 1e3, 1e3};
    std::array<std::span<const double>, 11> columns;
    for (std::size_t i = 0; i < columns.size(); ++i) {
        impression[i] = feed.numbers(1, kLow[i], kHigh[i]);
        columns[i] = impression[i];
    }
    std::vector<double> probability(25);
    std::vector<std::uint8_t> code(5);
    double joint = 0.0;
    const bool gone = refused([&] { listening::sinpo(columns, probability, code, {&joint, 1}); });
    require(!gone || !feed.within(), "numbers within their ranges are refused");
    if (!gone) {
        require_range(probability, 0.0, 1.0 + 1e-12, "a probability");
        require(std::ranges::all_of(code, [](auto digit) { return digit <= 5; }), "a digit");
        for (std::size_t letter = 0; letter < 5 && feed.within(); ++letter) {
            const auto row = std::span(probability).subspan(5 * letter, 5);
            const double sum = std::accumulate(row.begin(), row.end(), 0.0);
            require(std::abs(sum - 1.0) < 1e-9, "the digits of a letter sum to 1");
        }
    }
}

void neighbours(Feed feed) {
    namespace listening = farhear::listening;
    const auto mode = static_cast<listening::Mode>(feed.below(4));
    const auto emission = static_cast<listening::Emission>(feed.below(5));
    const double suppression = feed.number(30.0, 60.0);
    const listening::Receiver receiver = {feed.number(2.0, 6.0), suppression,
                                          feed.number(-10.0, 10.0)};
    const std::size_t others = feed.below(40);  // beyond 32 they are summed in portions
    const auto offset = feed.numbers(others, -30.0, 30.0);
    const auto field = feed.numbers(others, -100.0, 150.0);
    const auto upper = feed.numbers(others, 0.0, 100.0);
    const auto lower = feed.numbers(others, 0.0, 100.0);
    const auto freq = feed.numbers(1, 1.6, 30.0);
    const double bandwidth = feed.number(100.0, 20000.0);
    std::array<double, 3> out = {};
    const bool gone = refused([&] {
        listening::interference_source({field, upper, lower}, offset, mode, receiver, freq,
                                       bandwidth, {&out[0], 1}, {&out[1], 1}, {&out[2], 1});
    });
    if (feed.within()) {
        require(gone == (mode == listening::Mode::kNone),
                "numbers within their ranges are refused");
        if (!gone && others > 0) {
            require_finite(out, "finite numbers in, finite numbers out");
            require(out[1] >= 0.0 && out[2] >= 0.0, "deciles are positive");
        }
    }
    std::array<std::vector<double>, 4> levels;
    for (auto& column : levels) {
        column = feed.numbers(1, -200.0, 200.0);
    }
    std::array<double, 4> choice = {};
    std::uint8_t best = 255;
    if (!refused([&] {
            listening::choose(
                {levels[0], levels[1], levels[2], levels[3]}, emission, suppression,
                {{&choice[0], 1}, {&choice[1], 1}, {&choice[2], 1}, {&choice[3], 1}, {&best, 1}});
        })) {
        require(best <= 3, "a mode");
        require(!(choice[3] < 0.0), "the best of them is not worse than AM");
    }
}

}  // namespace

void columns(Bytes bytes) { one_of({layers, fields, antennas, listening_to, neighbours}, bytes); }

}  // namespace farhear::fuzz
