// Reception and circuits, both engines, with any numbers. The ranges are those of the headers and
// of reception.cpp.

#include <algorithm>
#include <optional>

#include "core_feed.hpp"
#include "core_models.hpp"
#include "farhear/circuit.hpp"
#include "farhear/reception.hpp"

namespace farhear::fuzz {

namespace {

constexpr double kFirst_s = -2.2e9;  // in 1900, where the magnetic model begins
constexpr double kLast_s = 1.89e9;   // in 2029

circuit::Options options_from(Feed& feed) {
    circuit::Options out;
    for (bool* one : {&out.f1, &out.focusing, &out.high_ray, &out.sporadic_e, &out.auroral,
                      &out.low_angle, &out.integral_absorption}) {
        *one = !feed.flag() || *one;  // mostly as they are by default
    }
    if (feed.flag()) {
        out.scatter_db = feed.number(0.0, 60.0);
        out.most_focusing_db = feed.number(0.0, 15.0);
        out.absorption_scale = feed.number(0.0, 3.0);
        out.night_absorption = feed.number(0.0, 1.0);
        out.fof2_spread = feed.number(0.0, 3.0);
        out.other_loss_db = feed.number(0.0, 30.0);
        out.es_dependence = feed.number(0.0, 1.0);
    }
    return out;
}

void check_modes(Feed& feed, const circuit::Models& models, const ionosphere::Drive& drive,
                 const circuit::Options& options, const circuit::Ends& ends, double t_unix_s,
                 double f107_sfu) {
    const std::array<double, 1> t = {t_unix_s};
    const std::array<double, 1> flux = {f107_sfu};
    const auto kp = feed.numbers(1, 0.0, 9.0);
    const auto xray = feed.numbers(1, 0.0, 0.1);
    const auto moments = circuit::prepare(models, t, flux, {kp, xray, {}, {}}, drive);
    if (!moments[0]) {
        return;
    }
    circuit::Circuit circuit(models, ends);
    circuit.at(*moments[0], drive, options);
    std::vector<circuit::Mode> modes;
    const double freq = feed.number(1.6, 30.0);
    const double power = feed.number(1e-9, 1e5);
    const auto signal = circuit.receive({freq, power, feed.number(-60.0, 60.0), {}}, 0.0, &modes);
    const auto weights = circuit::state_weights(signal.states);
    require(signal.states == circuit::kDays || signal.states == circuit::kStates,
            "states by days, or by patches and days");
    double whole = 0.0;
    for (const double weight : weights) {
        whole += weight;
    }
    require(std::abs(whole - 1.0) < 1e-9, "the weights of the states sum to 1");
    if (!feed.within()) {
        return;
    }
    require(std::isfinite(circuit.muf_mhz()) && circuit.muf_mhz() >= 0.0, "a MUF");
    for (std::size_t i = 0; i < signal.states; ++i) {
        require(std::isfinite(signal.power[i]) && signal.power[i] >= 0.0, "a power");
    }
    for (const auto& mode : modes) {
        require_finite(std::array{mode.elevation_deg, mode.group_path_km, mode.field_dbuv_m,
                                  mode.absorption_db, mode.muf_mhz, mode.support_db, mode.ground_db,
                                  mode.auroral_db, mode.horizon_db, mode.low_angle_db,
                                  mode.screening_db, mode.focusing_db},
                       "a mode is finite");
        require(mode.hops >= 1, "a mode has hops");
        require(mode.group_path_km >= circuit.distance_km() * 0.9 || mode.long_path,
                "a way is about as long as the great circle, or longer");
    }
}

}  // namespace

void sky(Bytes bytes) {
    Feed feed(bytes);
    const circuit::Models& models = world().models;
    const ionosphere::Drive drive = {
        feed.flag(),
        feed.flag() ? feed.number(1900.0, 2030.0) : std::numeric_limits<double>::quiet_NaN(),
        feed.flag()};
    const circuit::Options options = options_from(feed);
    const auto route = static_cast<skywave::Route>(feed.below(3));
    const auto engine = static_cast<reception::Engine>(feed.below(4) / 3);
    const auto tx_lat = feed.numbers(2, -90.0, 90.0);
    auto tx_lon = feed.numbers(2, -180.0, 360.0);
    auto rx_lat = feed.numbers(2, -90.0, 90.0);
    auto rx_lon = feed.numbers(2, -180.0, 360.0);
    switch (feed.below(8)) {
        case 0:  // the same place
            rx_lat = tx_lat;
            rx_lon = tx_lon;
            break;
        case 1:  // opposite ends
            for (std::size_t i = 0; i < 2; ++i) {
                rx_lat[i] = -tx_lat[i];
                rx_lon[i] = tx_lon[i] > 180.0 ? tx_lon[i] - 180.0 : tx_lon[i];
                tx_lon[i] = rx_lon[i] + 180.0;
            }
            break;
        default:
            break;
    }
    const auto freq = feed.numbers(2, 1600.0, 30000.0);
    const auto power = feed.numbers(2, 1e-9, 1e5);
    const auto gain = feed.numbers(2, -60.0, 60.0);
    const auto fa = feed.numbers(2, -60.0, 200.0);
    const auto fa_upper = feed.numbers(2, 0.0, 60.0);
    const auto fa_lower = feed.numbers(2, 0.0, 60.0);
    const auto bandwidth = feed.numbers(2, 0.01, 1e6);
    const auto required = feed.numbers(2, -50.0, 80.0);
    const auto least_elevation = feed.numbers(2, 0.0, 30.0);
    const auto gain_sd = feed.numbers(feed.flag() ? 2 : 0, 0.0, 30.0);
    const auto pattern =
        feed.numbers(feed.below(4) == 0 ? 2 * circuit::kPatternElevations_count : 0, -100.0, 60.0);
    const reception::CircuitColumns circuits = {
        tx_lat,   tx_lon,    rx_lat,   rx_lon,          freq,    power,  gain, fa, fa_upper,
        fa_lower, bandwidth, required, least_elevation, gain_sd, pattern};
    const auto t = feed.numbers(2, kFirst_s, kLast_s);
    const auto flux = feed.numbers(2, 50.0, 400.0);
    const bool disturbed = feed.flag();
    const auto kp = feed.numbers(disturbed ? 2 : 0, 0.0, 9.0);
    const auto xray = feed.numbers(disturbed ? 2 : 0, 0.0, 0.1);
    const auto protons_2 = feed.numbers(disturbed ? 2 : 0, 0.0, 1e7);
    const auto protons_5 = feed.numbers(disturbed ? 2 : 0, 0.0, 1e7);
    const reception::InstantColumns instants = {t, flux, kp, xray, protons_2, protons_5};
    std::vector<std::int64_t> circuit_index;
    std::vector<std::int64_t> instant_index;
    if (feed.flag()) {
        circuit_index = {1, 0, 1};
        instant_index = {0, 0, 1};
        if (feed.byte() > 250) {
            circuit_index[0] = static_cast<std::int64_t>(feed.bits(8));
        }
    }
    const std::size_t n = circuit_index.empty() ? 4 : 3;
    reception::EvaluationColumns evaluations;
    std::array<std::vector<double>, 7> others;
    if (feed.flag()) {
        for (std::size_t group = 0; group < 2; ++group) {
            others[3 * group] = feed.numbers(n, -60.0, 200.0);
            others[3 * group + 1] = feed.numbers(n, 0.0, 60.0);
            others[3 * group + 2] = feed.numbers(n, 0.0, 60.0);
        }
        others[6] = feed.numbers(n, 0.0, 60.0);
        evaluations = {
            {others[0], others[1], others[2]}, {others[3], others[4], others[5]}, others[6]};
    }
    std::array<std::vector<double>, 13> out;
    for (auto& column : out) {
        column.assign(n, -1.0);
    }
    std::vector<double> rungs(n * listening::kRungs);
    std::array<std::vector<std::uint8_t>, 4> codes;
    for (auto& column : codes) {
        column.assign(n, 255);
    }
    const reception::ResultColumns results = {
        out[0], out[1],  out[2],  out[3],  out[4], out[5],   out[6],   out[7],   out[8],
        out[9], out[10], out[11], out[12], rungs,  codes[0], codes[1], codes[2], codes[3]};
    const bool within = feed.within();
    const bool gone = refused([&] {
        reception::likelihood(models, drive, route, engine, options, circuits, instants,
                              circuit_index, instant_index, evaluations, results);
    });
    if (!gone) {
        require_range(out[0], 0.0, 1.0, "a likelihood lies in 0 .. 1");
        require_range(rungs, 0.0, 1.0, "a rung lies in 0 .. 1");
        for (std::size_t i = 0; i < n; ++i) {
            require(codes[1][i] <= 5 && codes[2][i] <= 1 && codes[3][i] <= 6, "codes");
        }
    }
    if (within && (circuit_index.empty() || circuit_index[0] == 1)) {
        require(!gone, "numbers within their ranges are refused");
        for (std::size_t i = 0; i < n; ++i) {
            for (std::size_t column = 0; column < out.size(); ++column) {
                require(std::isfinite(out[column][i]), "finite numbers in, finite numbers out");
            }
            require(out[2][i] <= out[1][i] + 1e-9 && out[1][i] <= out[3][i] + 1e-9,
                    "the median lies between the deciles");
            require(out[8][i] >= -90.0 && out[8][i] <= 90.0, "an elevation");
            const auto row = std::span(rungs).subspan(i * listening::kRungs, listening::kRungs);
            require(std::ranges::is_sorted(row, std::greater<>()), "rungs fall");
        }
    }
    const circuit::Ends ends = {tx_lat[0], tx_lon[0],          rx_lat[0],
                                rx_lon[0], least_elevation[0], route};
    // the single form asks its callers for places and a flux in range
    if (!gone && !std::isnan(tx_lat[0] + tx_lon[0] + rx_lat[0] + rx_lon[0] + least_elevation[0])) {
        (void)refused([&] { check_modes(feed, models, drive, options, ends, t[0], flux[0]); });
    }
}

}  // namespace farhear::fuzz
