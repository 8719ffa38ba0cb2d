#include "farhear/reception.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>
#include <optional>
#include <tuple>
#include <vector>

#include "checks.hpp"
#include "elementary.hpp"
#include "farhear/error.hpp"
#include "scales.hpp"
#include "vector_math.hpp"

namespace farhear::reception {

namespace {

using scales::decibel;
using scales::kDecile;
using scales::normal;
using scales::power;

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kSupportWidth = 0.04;
constexpr double kScreenWidth = 0.05;
constexpr double kScreened = 1e-6;  // what gets past a layer that screens: 60 dB less [own]
constexpr std::size_t kStates = circuit::kStates;
constexpr double kFarOff = 6.0;  // standard deviations beyond which a share is 0 or 1

double share(double z) noexcept {
    if (z > kFarOff) {
        return 1.0;
    }
    return z < -kFarOff ? 0.0 : normal(z);
}

/// Power of a mode when ln(foF2) stands `z` standard deviations off its median.
double carried(const skywave::Mode& mode, double full, double freq_mhz, double z) noexcept {
    const double muf = z == 0.0 ? mode.muf_mhz : mode.muf_mhz * elementary::exp(z * mode.spread);
    double part = support(freq_mhz, muf);
    if (part < 1.0) {
        part += (1.0 - part) * power(-skywave::penetration_db(freq_mhz, muf));
    }
    if (mode.screening_mhz > 0.0) {
        const double open = share(elementary::log(freq_mhz / mode.screening_mhz) / kScreenWidth);
        part *= open + (1.0 - open) * kScreened;
    }
    return full * part;
}

bool there(const noise::Source& source) noexcept { return source.fa_db > -200.0; }

/// All that the signal has to compete with.
noise::Source surroundings(const Listener& listener, double freq_mhz, double rx_fof2_mhz) noexcept {
    std::array<noise::Source, 4> sources = {listener.man_made};
    std::size_t count = 1;
    const double through = noise::galactic_share(freq_mhz, rx_fof2_mhz);
    if (through > 1e-6) {
        sources[count] = noise::galactic(freq_mhz);
        sources[count++].fa_db += decibel(through);
    }
    if (there(listener.atmospheric)) {
        sources[count++] = listener.atmospheric;
    }
    if (there(listener.interference)) {
        sources[count++] = listener.interference;
    }
    return noise::combine(std::span(sources).first(count));
}

double blend(double low, double high, double lat_deg) noexcept {
    return low + (high - low) * std::clamp((lat_deg - 55.0) / 10.0, 0.0, 1.0);
}

/// Field at the receiver in S/N: available power at an isotropic antenna against noise power. [dB]
/// Source: P.525-5, P.372
double field_to_snr_db(double freq_mhz, double noise_fa_db, double bandwidth_hz) noexcept {
    return -20.0 * elementary::log10(freq_mhz) - 107.2 -
           noise::power_dbw(noise_fa_db, bandwidth_hz);
}

/// Noise figure of a place without people and storms. [dB]
double quiet_fa_db(double freq_mhz) noexcept {
    return std::max(noise::man_made(noise::Environment::kQuietRural, freq_mhz).fa_db,
                    noise::galactic(freq_mhz).fa_db);
}

/// What would help most if it were taken away; where nothing helps much, power is what lacks.
Limit held_back_by(std::initializer_list<std::pair<double, Limit>> gains_db) {
    constexpr double kWorthwhile_db = 3.0;
    const auto* const most =
        std::ranges::max_element(gains_db, {}, [](const auto& gain) { return gain.first; });
    return most->first >= kWorthwhile_db ? most->second : Limit::kPower;
}

}  // namespace

double two_piece(double margin_db, double lower_db, double upper_db) noexcept {
    return scales::exceeds(margin_db, lower_db, upper_db);
}

double support(double freq_mhz, double muf_mhz) noexcept {
    return share(elementary::log(muf_mhz / freq_mhz) / kSupportWidth);
}

double beam_gain_dbi(double off_beam_deg, double peak_dbi, double width_deg,
                     double floor_db) noexcept {
    const double turns = off_beam_deg / 360.0;
    const double off_deg = 360.0 * std::abs(turns - std::round(turns));
    const double ratio = off_deg / width_deg;
    return peak_dbi - std::min(12.0 * ratio * ratio, floor_db);
}

Result evaluate(skywave::Finder& finder, const ionosphere::Instant& instant,
                const ionosphere::Drive& drive, const Listener& listener) {
    const skywave::Modes modes = finder.find(instant, drive);
    const double freq = finder.circuit().freq_mhz;

    double median = 0.0;
    double low_day = 0.0;
    double high_day = 0.0;
    double all_carried = 0.0;
    bool some_carried = false;
    double no_absorption = 0.0;
    double strongest = -1.0;
    const skywave::Mode* best = nullptr;
    Result out{};
    for (std::size_t i = 0; i < modes.count; ++i) {
        const skywave::Mode& mode = modes.list[i];
        const double full = power(mode.field_dbuv_m);
        const double now = carried(mode, full, freq, 0.0);
        median += now;
        low_day += carried(mode, full, freq, -kDecile);
        high_day += carried(mode, full, freq, kDecile);
        all_carried += full;
        some_carried = some_carried || now > 0.5 * full;
        no_absorption += now * power(mode.absorption_db);
        out.muf_mhz = std::max(out.muf_mhz, mode.muf_mhz);
        if (now > strongest) {
            strongest = now;
            best = &mode;
        }
    }

    const noise::Source ambient = surroundings(listener, freq, modes.rx_fof2_mhz);

    const double to_snr_db = field_to_snr_db(freq, ambient.fa_db, listener.bandwidth_hz);
    out.field_dbuv_m = decibel(median);
    out.snr_db = out.field_dbuv_m + to_snr_db;
    const double day_lower = out.field_dbuv_m - decibel(low_day);
    const double day_upper = decibel(high_day) - out.field_dbuv_m;
    const double lat = modes.highest_geomagnetic_deg;
    const double lower = elementary::hypot(elementary::hypot(day_lower, blend(8.0, 11.0, lat)),
                                           elementary::hypot(8.0, ambient.upper_db));
    const double upper = elementary::hypot(elementary::hypot(day_upper, blend(6.0, 9.0, lat)),
                                           elementary::hypot(5.0, ambient.lower_db));
    out.snr_lower_db = out.snr_db - lower;
    out.snr_upper_db = out.snr_db + upper;
    out.likelihood = two_piece(out.snr_db - listener.required_snr_db, lower, upper);
    out.noise_fa_db = ambient.fa_db;
    out.noise_lower_db = ambient.lower_db;
    out.noise_upper_db = ambient.upper_db;
    out.f_over_muf = freq / best->muf_mhz;
    out.modes = 1.0;
    out.rungs = listening::ladder(out.snr_db, lower, upper, listener.bandwidth_hz);
    out.absorption_db = best->absorption_db;
    out.elevation_deg = best->elevation_deg;
    out.hops = static_cast<std::uint8_t>(best->hops);
    out.layer = static_cast<circuit::Layer>(best->layer);
    out.long_path = best->long_path;

    if (out.likelihood < 0.5) {
        out.limit = held_back_by(
            {{some_carried ? 0.0 : decibel(all_carried) - out.field_dbuv_m, Limit::kAboveMuf},
             {decibel(no_absorption) - out.field_dbuv_m, Limit::kAbsorption},
             {ambient.fa_db - quiet_fa_db(freq), Limit::kNoise}});
    }
    return out;
}

namespace {

/// Share of the states and of the other variations on which the level is at least `threshold_db`,
/// and how fast it falls with the threshold.
struct Exceedance {
    double share;
    double density_per_db;
};

FARHEAR_CLONES void exceedance(const double* __restrict level_db, const double* __restrict weight,
                               std::size_t count, double threshold_db, double lower_db,
                               double upper_db, Exceedance* __restrict out) {
    std::array<double, kStates> share;    // NOLINT: filled
    std::array<double, kStates> density;  // NOLINT
    const double by_lower = kDecile / lower_db;
    const double by_upper = kDecile / upper_db;
    for (std::size_t i = 0; i < count; ++i) {
        const double margin = level_db[i] - threshold_db;
        const double scale = margin >= 0.0 ? by_lower : by_upper;
        const auto normal = vector_math::normal_both(scale * margin);
        share[i] = weight[i] * normal.below;
        density[i] = weight[i] * scale * normal.density;
    }
    out->share = 0.0;
    out->density_per_db = 0.0;
    for (std::size_t i = 0; i < count; ++i) {
        out->share += share[i];
        out->density_per_db += density[i];
    }
}

/// Distribution of a level: states, and about each of them a two-piece normal.
struct Mixture {
    std::array<double, kStates> level_db;
    const double* weight;
    std::size_t count;
    double lower_db;
    double upper_db;

    [[nodiscard]] Exceedance at(double threshold_db) const {
        Exceedance out;  // NOLINT: filled
        exceedance(level_db.data(), weight, count, threshold_db, lower_db, upper_db, &out);
        return out;
    }
    /// The weights sum to 1 but for rounding.
    [[nodiscard]] double above(double threshold_db) const {
        return std::min(at(threshold_db).share, 1.0);
    }

    /// Level exceeded with a probability: Newton's steps, kept inside a bracket that shrinks.
    [[nodiscard]] double quantile_db(double probability, double start_db) const {
        const auto [least, most] = std::minmax_element(
            level_db.begin(), level_db.begin() + static_cast<std::ptrdiff_t>(count));
        double low = *least - 6.0 * lower_db;
        double high = *most + 6.0 * upper_db;
        double level = std::clamp(start_db, low, high);
        for (int i = 0; i < 60; ++i) {
            const Exceedance now = at(level);
            const double excess = now.share - probability;
            (excess > 0.0 ? low : high) = level;
            if (std::abs(excess) < 1e-10) {
                break;
            }
            const double next = level + excess / std::max(now.density_per_db, 1e-12);
            level = next > low && next < high ? next : 0.5 * (low + high);
        }
        return level;
    }
};

}  // namespace

Result evaluate(circuit::Circuit& circuit, const circuit::Emission& emission,
                const Listener& listener, bool brief) {
    const double freq = emission.freq_mhz;
    const noise::Source ambient = surroundings(listener, freq, circuit.rx_fof2_mhz());
    const double to_snr_db = field_to_snr_db(freq, ambient.fa_db, listener.bandwidth_hz);
    const circuit::Signal signal =
        circuit.receive(emission, std::min(listener.required_snr_db, 0.0) - to_snr_db);

    Mixture snr;  // NOLINT: filled
    snr.count = signal.states;
    snr.weight = circuit::state_weights(signal.states).data();
    for (std::size_t i = 0; i < snr.count; ++i) {
        snr.level_db[i] = decibel(signal.power[i]) + to_snr_db;
    }
    const double lat = circuit.highest_geomagnetic_deg();
    const double antenna_db = kDecile * listener.tx_gain_sd_db;
    const auto all = [antenna_db](double hour, double day, double noise) {
        return std::sqrt(hour * hour + day * day + noise * noise + antenna_db * antenna_db);
    };
    snr.lower_db = all(8.0, blend(8.0, 11.0, lat), ambient.upper_db);
    snr.upper_db = all(5.0, blend(6.0, 9.0, lat), ambient.lower_db);

    Result out{};
    const double cost = listener.mode_cost_db;
    out.likelihood = snr.above(listener.required_snr_db + cost);
    const double to_rungs = cost - listening::to_rung_bandwidth_db(listener.bandwidth_hz);
    for (std::size_t i = 0; i < out.rungs.size() && !brief; ++i) {
        out.rungs[i] = snr.above(listening::kRung_snr_db[i] + to_rungs);
    }
    const double median_db = snr.quantile_db(0.5, decibel(signal.median) + to_snr_db);
    out.field_dbuv_m = median_db - to_snr_db;
    out.snr_db = median_db - cost;
    if (!brief) {
        out.snr_lower_db = snr.quantile_db(0.9, median_db - snr.lower_db) - cost;
        out.snr_upper_db = snr.quantile_db(0.1, median_db + snr.upper_db) - cost;
    }
    out.muf_mhz = circuit.muf_mhz();
    out.noise_fa_db = ambient.fa_db;
    out.noise_lower_db = ambient.lower_db;
    out.noise_upper_db = ambient.upper_db;
    out.absorption_db = signal.best.absorption_db;
    out.elevation_deg = std::max(signal.best.elevation_deg, 0.0);
    out.hops = static_cast<std::uint8_t>(signal.best.hops);
    out.layer = signal.best.layer;
    out.long_path = signal.best.long_path;
    out.f_over_muf = signal.f_over_muf;
    out.modes = static_cast<double>(signal.alike);
    if (out.likelihood < 0.5) {
        Listener alone = listener;
        alone.interference = kNoSource;
        const double without_db = there(listener.interference)
                                      ? surroundings(alone, freq, circuit.rx_fof2_mhz()).fa_db
                                      : ambient.fa_db;
        const double now_db = decibel(signal.median);
        out.limit = held_back_by({{decibel(signal.if_carried) - now_db, Limit::kAboveMuf},
                                  {decibel(signal.no_absorption) - now_db, Limit::kAbsorption},
                                  {without_db - quiet_fa_db(freq), Limit::kNoise},
                                  {ambient.fa_db - without_db, Limit::kInterference}});
    }
    return out;
}

namespace {

void check(const CircuitColumns& c) {
    const std::size_t n = c.tx_lat_deg.size();
    struct Rule {
        const char* name;
        std::span<const double> values;
        double low;
        double high;
    };
    constexpr double kAny = std::numeric_limits<double>::infinity();
    const std::array<Rule, 13> rules = {Rule{"tx_lat_deg", c.tx_lat_deg, -90.0, 90.0},
                                        Rule{"tx_lon_deg", c.tx_lon_deg, -180.0, 360.0},
                                        Rule{"rx_lat_deg", c.rx_lat_deg, -90.0, 90.0},
                                        Rule{"rx_lon_deg", c.rx_lon_deg, -180.0, 360.0},
                                        Rule{"freq_khz", c.freq_khz, 1600.0, 30000.0},
                                        Rule{"power_kw", c.power_kw, 1e-9, 1e5},
                                        Rule{"tx_gain_dbi", c.tx_gain_dbi, -60.0, 60.0},
                                        Rule{"man_made_fa_db", c.man_made_fa_db, -60.0, 200.0},
                                        Rule{"man_made_upper_db", c.man_made_upper_db, 0.0, 60.0},
                                        Rule{"man_made_lower_db", c.man_made_lower_db, 0.0, 60.0},
                                        Rule{"bandwidth_hz", c.bandwidth_hz, 0.01, 1e6},
                                        Rule{"required_snr_db", c.required_snr_db, -kAny, kAny},
                                        Rule{"min_elevation_deg", c.min_elevation_deg, 0.0, 30.0}};
    for (const auto& rule : rules) {
        checks::same_length(rule.name, rule.values.size(), n);
        checks::within(rule.name, rule.values, rule.low, rule.high);
    }
    if (!c.tx_gain_sd_db.empty()) {
        checks::same_length("tx_gain_sd_db", c.tx_gain_sd_db.size(), n);
        checks::within("tx_gain_sd_db", c.tx_gain_sd_db, 0.0, 30.0);
    }
    if (!c.pattern_dbi.empty()) {
        checks::same_length("pattern_dbi", c.pattern_dbi.size(),
                            n * circuit::kPatternElevations_count);
        checks::within("pattern_dbi", c.pattern_dbi, -100.0, 60.0);
    }
}

skywave::Circuit circuit_of(const CircuitColumns& c, std::size_t i, skywave::Route route) {
    return {c.tx_lat_deg[i],  c.tx_lon_deg[i],        c.rx_lat_deg[i],
            c.rx_lon_deg[i],  c.freq_khz[i] / 1000.0, c.power_kw[i],
            c.tx_gain_dbi[i], c.min_elevation_deg[i], route};
}

Listener listener_of(const CircuitColumns& c, std::size_t i) {
    return {{c.man_made_fa_db[i], c.man_made_upper_db[i], c.man_made_lower_db[i]},
            c.bandwidth_hz[i],
            c.required_snr_db[i],
            c.tx_gain_sd_db.empty() ? 0.0 : c.tx_gain_sd_db[i]};
}

/// What concerns a single evaluation.
void add_evaluation(const EvaluationColumns& e, std::size_t i, Listener& listener) {
    const auto source = [i](const std::array<std::span<const double>, 3>& columns) {
        return columns[0].empty() || std::isnan(columns[0][i])
                   ? kNoSource
                   : noise::Source{columns[0][i], columns[1][i], columns[2][i]};
    };
    listener.atmospheric = source(e.atmospheric);
    listener.interference = source(e.interference);
    listener.mode_cost_db = e.mode_cost_db.empty() ? 0.0 : e.mode_cost_db[i];
}

void check(const EvaluationColumns& e, std::size_t count) {
    const auto length = [count](const char* name, std::span<const double> column) {
        if (!column.empty()) {
            checks::same_length(name, column.size(), count);
        }
    };
    for (const auto* group : {&e.atmospheric, &e.interference}) {
        for (const auto& column : *group) {
            length("a noise column", column);
            checks::same_length("a noise column", column.size(), (*group)[0].size());
        }
    }
    length("mode_cost_db", e.mode_cost_db);
}

bool missing(const CircuitColumns& c, std::size_t i) {
    const std::initializer_list<std::span<const double>> columns = {
        c.tx_lat_deg,        c.tx_lon_deg,        c.rx_lat_deg,   c.rx_lon_deg,
        c.freq_khz,          c.power_kw,          c.tx_gain_dbi,  c.man_made_fa_db,
        c.man_made_upper_db, c.man_made_lower_db, c.bandwidth_hz, c.required_snr_db,
        c.min_elevation_deg};
    return std::ranges::any_of(columns, [i](const auto& column) { return std::isnan(column[i]); });
}

void store(const Result& r, const ResultColumns& out, std::size_t i) {
    out.likelihood[i] = r.likelihood;
    out.snr_db[i] = r.snr_db;
    out.field_dbuv_m[i] = r.field_dbuv_m;
    out.muf_mhz[i] = r.muf_mhz;
    out.absorption_db[i] = r.absorption_db;
    out.noise_fa_db[i] = r.noise_fa_db;
    out.elevation_deg[i] = r.elevation_deg;
    out.noise_lower_db[i] = r.noise_lower_db;
    out.noise_upper_db[i] = r.noise_upper_db;
    out.f_over_muf[i] = r.f_over_muf;
    out.modes[i] = r.modes;
    if (!out.rungs.empty()) {
        out.snr_lower_db[i] = r.snr_lower_db;
        out.snr_upper_db[i] = r.snr_upper_db;
        std::ranges::copy(r.rungs, out.rungs.subspan(i * r.rungs.size()).begin());
    }
    out.hops[i] = r.hops;
    out.layer[i] = static_cast<std::uint8_t>(r.layer);
    out.long_path[i] = r.long_path ? 1 : 0;
    out.limit[i] = static_cast<std::uint8_t>(r.limit);
}

constexpr Result kMissing = {kNan,
                             kNan,
                             kNan,
                             kNan,
                             kNan,
                             kNan,
                             kNan,
                             kNan,
                             kNan,
                             kNan,
                             kNan,
                             kNan,
                             {kNan, kNan, kNan, kNan, kNan},
                             kNan,
                             0,
                             circuit::Layer::kNone,
                             false,
                             Limit::kNone};

constexpr std::size_t kPolled = 256;  // evaluations between two calls of a poll

/// Evaluations in an order in which all that share ends and instant are neighbours.
struct Task {
    std::size_t group;  // of equal ends
    std::size_t instant;
    std::size_t circuit;
    std::size_t element;
};

std::vector<std::size_t> group_by_ends(const CircuitColumns& c) {
    std::map<std::array<double, 5>, std::size_t> known;
    std::vector<std::size_t> out(c.tx_lat_deg.size());
    for (std::size_t i = 0; i < out.size(); ++i) {
        if (missing(c, i)) {
            out[i] = out.size();  // no group
            continue;
        }
        out[i] = known
                     .try_emplace({c.tx_lat_deg[i], c.tx_lon_deg[i], c.rx_lat_deg[i],
                                   c.rx_lon_deg[i], c.min_elevation_deg[i]},
                                  known.size())
                     .first->second;
    }
    return out;
}

void by_rays(const circuit::Models& models, const ionosphere::Drive& drive, skywave::Route route,
             const circuit::Options& options, const CircuitColumns& circuits,
             const std::vector<std::optional<circuit::Moment>>& moments, const checks::Pairs& pairs,
             const EvaluationColumns& evaluations, const ResultColumns& out, const Poll& poll) {
    const auto groups = group_by_ends(circuits);
    std::vector<Task> tasks;
    tasks.reserve(pairs.size());
    for (std::size_t i = 0; i < pairs.size(); ++i) {
        const auto [c, t] = pairs[i];
        if (groups[c] == groups.size() || !moments[t]) {
            store(kMissing, out, i);
        } else {
            tasks.push_back({groups[c], t, c, i});
        }
    }
    std::ranges::sort(tasks, {}, [](const Task& task) {
        return std::tuple(task.group, task.instant, task.element);
    });
    std::optional<circuit::Circuit> ends;
    const Task* before = nullptr;
    std::size_t done = 0;
    for (const Task& task : tasks) {
        if (poll && ++done % kPolled == 0) {
            poll();
        }
        const std::size_t c = task.circuit;
        const auto& moment = moments[task.instant];
        if (!moment) {
            continue;  // left out above
        }
        if (!ends || before == nullptr || before->group != task.group) {
            ends.emplace(models, circuit::Ends{circuits.tx_lat_deg[c], circuits.tx_lon_deg[c],
                                               circuits.rx_lat_deg[c], circuits.rx_lon_deg[c],
                                               circuits.min_elevation_deg[c], route});
            before = nullptr;
        }
        if (before == nullptr || before->instant != task.instant) {
            ends->at(*moment, drive, options);
        }
        before = &task;
        constexpr std::size_t kRow = circuit::kPatternElevations_count;
        const circuit::Emission emission = {
            circuits.freq_khz[c] / 1000.0, circuits.power_kw[c], circuits.tx_gain_dbi[c],
            circuits.pattern_dbi.empty() ? std::span<const double>{}
                                         : circuits.pattern_dbi.subspan(c * kRow, kRow)};
        Listener listener = listener_of(circuits, c);
        add_evaluation(evaluations, task.element, listener);
        store(evaluate(*ends, emission, listener, out.rungs.empty()), out, task.element);
    }
}

void check(const InstantColumns& c) {
    struct Rule {
        const char* name;
        std::span<const double> values;
        double high;
    };
    for (const auto& rule :
         {Rule{"kp", c.kp, 9.0}, Rule{"xray_w_m2", c.xray_w_m2, 0.1},
          Rule{"proton_2_pfu", c.proton_2_pfu, 1e7}, Rule{"proton_5_pfu", c.proton_5_pfu, 1e7}}) {
        if (!rule.values.empty()) {
            checks::same_length(rule.name, rule.values.size(), c.t_unix_s.size());
            checks::within(rule.name, rule.values, 0.0, rule.high);
        }
    }
}

}  // namespace

void likelihood(const circuit::Models& models, const ionosphere::Drive& drive, skywave::Route route,
                Engine engine, const circuit::Options& options, const CircuitColumns& circuits,
                const InstantColumns& instants, std::span<const std::int64_t> circuit_index,
                std::span<const std::int64_t> instant_index, const EvaluationColumns& evaluations,
                const ResultColumns& out, const Poll& poll) {
    check(circuits);
    check(instants);
    const std::size_t circuits_count = circuits.tx_lat_deg.size();
    const checks::Pairs pairs(circuits_count, instants.t_unix_s.size(), circuit_index,
                              instant_index);
    check(evaluations, pairs.size());
    checks::same_length("output", out.likelihood.size(), pairs.size());

    if (engine == Engine::kRays) {
        const auto moments = circuit::prepare(
            models, instants.t_unix_s, instants.f107_sfu,
            {instants.kp, instants.xray_w_m2, instants.proton_2_pfu, instants.proton_5_pfu}, drive);
        by_rays(models, drive, route, options, circuits, moments, pairs, evaluations, out, poll);
        return;
    }
    const auto prepared =
        ionosphere::prepare(*models.maps, instants.t_unix_s, instants.f107_sfu, drive);
    std::optional<skywave::Finder> finder;
    std::size_t current = circuits_count;  // none yet
    for (std::size_t i = 0; i < pairs.size(); ++i) {
        if (poll && (i + 1) % kPolled == 0) {
            poll();
        }
        const auto [c, t] = pairs[i];
        if (c != current) {
            current = c;
            finder.reset();
            if (!missing(circuits, c)) {
                finder.emplace(*models.field, circuit_of(circuits, c, route));
            }
        }
        const auto& instant = prepared[t];
        if (!finder || !instant) {
            store(kMissing, out, i);
            continue;
        }
        Listener listener = listener_of(circuits, c);
        add_evaluation(evaluations, i, listener);
        store(evaluate(*finder, *instant, drive, listener), out, i);
    }
}

}  // namespace farhear::reception
