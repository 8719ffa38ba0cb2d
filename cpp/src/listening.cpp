#include "farhear/listening.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <limits>
#include <numbers>
#include <vector>

#include "checks.hpp"
#include "elementary.hpp"
#include "farhear/error.hpp"
#include "scales.hpp"

namespace farhear::listening {

namespace {

using scales::any_decibel;
using scales::any_power;
using scales::exceeds;
using scales::kDecile;
using scales::normal;

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kInfinity = std::numeric_limits<double>::infinity();

// Knots of the protection curve: offset in kHz, dB. To 4 kHz from the spectral estimate at 2.8 kHz
// audio, from 5 kHz planning values [memory].
struct Knot {
    double x_khz;
    double y_db;
};
constexpr std::array<Knot, 11> kKnots = {Knot{0.0, 0.0}, {0.1, 9.35},   {0.3, 13.17}, {1.0, 14.0},
                                         {2.0, 13.77},   {3.0, 9.78},   {4.0, 2.03},  {5.0, -3.0},
                                         {10.0, -35.0},  {15.0, -49.0}, {20.0, -54.0}};
constexpr double kDb_per_decade = 80.0;  // fourth order
constexpr std::size_t kLast = kKnots.size() - 1;

/// Slopes at the knots: weighted harmonic mean of the secants, 0 where they turn; flat at 0, since
/// the curve is even; that of the fourth-order law at the end.
constexpr std::array<double, kKnots.size()> knot_slopes() {
    std::array<double, kKnots.size()> slope{};
    for (std::size_t i = 1; i < kLast; ++i) {
        const double left = kKnots[i].x_khz - kKnots[i - 1].x_khz;
        const double right = kKnots[i + 1].x_khz - kKnots[i].x_khz;
        const double before = (kKnots[i].y_db - kKnots[i - 1].y_db) / left;
        const double after = (kKnots[i + 1].y_db - kKnots[i].y_db) / right;
        if (before * after > 0.0) {
            const double w1 = 2.0 * right + left;
            const double w2 = right + 2.0 * left;
            slope[i] = (w1 + w2) / (w1 / before + w2 / after);
        }
    }
    slope[kLast] = -kDb_per_decade / (std::numbers::ln10 * kKnots[kLast].x_khz);
    return slope;
}
constexpr auto kSlopes = knot_slopes();

/// The curve at the planning bandwidth, offset not negative.
double planning_db(double x_khz) noexcept {
    if (x_khz >= kKnots[kLast].x_khz) {
        return kKnots[kLast].y_db - kDb_per_decade * elementary::log10(x_khz / kKnots[kLast].x_khz);
    }
    std::size_t i = 0;
    while (i + 1 < kLast && x_khz >= kKnots.at(i + 1).x_khz) {
        ++i;
    }
    const Knot& a = kKnots.at(i);
    const Knot& b = kKnots.at(i + 1);
    const double h = b.x_khz - a.x_khz;
    const double t = (x_khz - a.x_khz) / h;
    const double u = 1.0 - t;
    return u * u * ((1.0 + 2.0 * t) * a.y_db + t * h * kSlopes.at(i)) +
           t * t * ((1.0 + 2.0 * u) * b.y_db - u * h * kSlopes.at(i + 1));
}

// The programme of the spectral estimate: power density 1/(1 + a^2) up to 4.5 kHz, a in kHz.
constexpr double kProgramme_khz = 4.5;

double eighth(double x) noexcept {
    const double square = x * x;
    const double fourth = square * square;
    return fourth * fourth;
}

struct Sidebands {
    double lower;
    double upper;
    bool carrier;
};
// Audio amplitudes of the sidebands relative to the whole audio of a double-sideband emission.
Sidebands sidebands(Emission emission) noexcept {
    switch (emission) {
        case Emission::kDoubleSideband:
            return {0.5, 0.5, true};
        case Emission::kUpperFullCarrier:
            return {0.0, 0.5, true};
        case Emission::kUpperNoCarrier:
            return {0.0, 1.0, false};
        case Emission::kLowerNoCarrier:
            return {1.0, 0.0, false};
        case Emission::kDigital:
            break;
    }
    return {0.0, 0.0, false};
}

/// Noise and interference in a mode, for the powers above and below the carrier, over the audio.
double effective(Mode mode, const Sidebands& s, double leak, double above, double below) noexcept {
    switch (mode) {
        case Mode::kAm:
            return s.carrier ? (above + below) / ((s.lower + s.upper) * (s.lower + s.upper))
                             : kInfinity;
        case Mode::kLsb:
            return (below + leak * above) / (s.lower * s.lower + leak * s.upper * s.upper);
        case Mode::kUsb:
            return (above + leak * below) / (s.upper * s.upper + leak * s.lower * s.lower);
        case Mode::kNone:
            break;
    }
    return kInfinity;
}

// Quadrature over half of the normal distribution: 24 Gauss-Legendre points on [0, 5] standard
// deviations, weights times the density, made to sum to one half (numpy.polynomial.legendre).
struct Node {
    double z;
    double weight;
};
constexpr std::array<Node, 24> kNodes = {
    {{0.012031950007446723, 0.01230771204240447}, {0.06317861007172632, 0.028399224549984014},
     {0.154313619993168, 0.04363771026488488},    {0.2839611824889973, 0.056804823219905536},
     {0.44999503506524263, 0.06610864597649757},  {0.6496895210536141, 0.06960668216744924},
     {0.8797658701575611, 0.06611709664576956},   {1.136446321527901, 0.05618051264801498},
     {1.4155162309348874, 0.04230178462035262},   {1.7123933007595915, 0.028008939091505362},
     {2.0222028313159592, 0.016243481204357937},  {2.339857767843486, 0.00826006852547738},
     {2.660142232156514, 0.003708849507674652},   {2.9777971686840408, 0.0014898952689859552},
     {3.2876066992404085, 0.0005457961177376588}, {3.5844837690651126, 0.0001868237592262357},
     {3.8635536784720994, 6.147046609406819e-05}, {4.120234129842439, 2.0045646367171848e-05},
     {4.350310478946386, 6.679635733410386e-06},  {4.550004964934757, 2.33737848095493e-06},
     {4.716038817511002, 8.756248172425097e-07},  {4.845686380006832, 3.517780189882666e-07},
     {4.936821389928274, 1.4514967458402515e-07}, {4.987968049992554, 4.871058556588553e-08}}};

constexpr std::array<double, 4> kStrength_db = {22.0, 34.0, 46.0, 60.0};
constexpr std::array<double, 4> kNoise_db = {10.0, 20.0, 30.0, 40.0};
constexpr std::array<double, 4> kInterference_db = {6.0, 14.0, 24.0, 34.0};

/// At least digit k, k = 1..6: [k - 1]. The ends are 1 and 0.
using AtLeast = std::array<double, 6>;
using Digits = std::array<double, 5>;

/// A digit of thresholds: with the rater's spread joined to the deciles.
AtLeast at_least(double level_db, const std::array<double, 4>& threshold_db, double lower_db,
                 double upper_db) noexcept {
    AtLeast out = {1.0};
    for (std::size_t k = 0; k < 4; ++k) {
        const double p = exceeds(level_db - threshold_db.at(k), lower_db, upper_db);
        out.at(k + 1) = (1.0 - kLapse) * p + kLapse * static_cast<double>(4 - k) / 5.0;
    }
    return out;
}

AtLeast propagation(double freq_over_muf, double modes) noexcept {
    constexpr Digits kCalm = {0.0, 0.0, 0.1, 0.4, 0.5};
    constexpr Digits kMixed = {0.0, 0.25, 0.5, 0.25, 0.0};
    constexpr Digits kFailing = {0.3, 0.5, 0.2, 0.0, 0.0};
    constexpr double kNear = 0.8;
    const double failing = normal(elementary::log(freq_over_muf) / kMuf_sigma);
    const double near = normal(elementary::log(freq_over_muf / kNear) / kMuf_sigma);
    const double multi = std::clamp(modes - 1.0, 0.0, 1.0);
    const double mixed = (1.0 - failing) * (1.0 - (1.0 - near) * (1.0 - multi));
    const double calm = 1.0 - failing - mixed;
    AtLeast out{};
    for (std::size_t k = 5; k-- > 0;) {
        const double p = calm * kCalm.at(k) + mixed * kMixed.at(k) + failing * kFailing.at(k);
        out.at(k) = out.at(k + 1) + (1.0 - kLapse) * p + kLapse / 5.0;
    }
    out[0] = 1.0;
    return out;
}

Digits differences(const AtLeast& p) noexcept {
    Digits out{};
    for (std::size_t k = 0; k < 5; ++k) {
        out.at(k) = std::max(p.at(k) - p.at(k + 1), 0.0);
    }
    return out;
}

bool complete(const Impression& in) noexcept {
    const double sum = in.field_dbuv_m + in.field_lower_db + in.field_upper_db + in.snr_db +
                       in.noise_lower_db + in.noise_upper_db + in.other_lower_db +
                       in.other_upper_db + in.freq_over_muf + in.modes;
    return !std::isnan(sum) && !std::isnan(in.sir_db);
}

Report nothing() noexcept {
    Report out{};
    for (auto& row : out.probability) {
        row.fill(kNan);
    }
    out.code_probability = kNan;
    return out;
}

}  // namespace

// ---- The ladder --------------------------------------------------------------------------------

double to_rung_bandwidth_db(double bandwidth_hz) noexcept {
    return any_decibel(bandwidth_hz / kRung_bandwidth_hz);
}

std::array<double, kRungs> ladder(double snr_db, double lower_decile_db, double upper_decile_db,
                                  double bandwidth_hz) noexcept {
    const double in_9_khz = snr_db + to_rung_bandwidth_db(bandwidth_hz);
    std::array<double, kRungs> out{};
    for (std::size_t i = 0; i < kRungs; ++i) {
        out.at(i) = exceeds(in_9_khz - kRung_snr_db.at(i), lower_decile_db, upper_decile_db);
    }
    return out;
}

// ---- Neighbouring channels ---------------------------------------------------------------------

double relative_protection_db(double offset_khz, double audio_khz) noexcept {
    const double x = std::abs(offset_khz);
    if (std::isnan(x)) {
        return kNan;
    }
    const double far = std::min(x, 1e6);
    const double edge = far / kProgramme_khz;
    const double programme = 0.015 / (1.0 + eighth(edge) * (edge * edge) * (edge * edge));
    const double own = 1.0 / (1.0 + eighth(far / audio_khz)) + programme;
    const double planning = 1.0 / (1.0 + eighth(far / kPlanning_audio_khz)) + programme;
    return planning_db(x) + any_decibel(own / planning);
}

double upper_share(double offset_khz) noexcept {
    const double x = std::abs(offset_khz);
    double other = 0.0;
    if (x < kProgramme_khz) {
        // part of the programme farther from its carrier than the wanted carrier is
        const double beyond = 1.0 - elementary::atan(x) / elementary::atan(kProgramme_khz);
        other = 0.5 * beyond * any_power(-planning_db(x));
    }
    return offset_khz < 0.0 ? other : 1.0 - other + 0.0 * offset_khz;
}

// ---- Sidebands ---------------------------------------------------------------------------------

double mode_cost_db(Mode mode, Emission emission, double suppression_db) noexcept {
    const double leak = any_power(-suppression_db);
    return any_decibel(effective(mode, sidebands(emission), leak, 0.5, 0.5));
}

double side_db(Mode mode, double share, double suppression_db) noexcept {
    const double leak = any_power(-suppression_db);
    if (mode == Mode::kAm) {
        return 0.0;
    }
    const double wanted = mode == Mode::kUsb ? share : 1.0 - share;
    return any_decibel((wanted + leak * (1.0 - wanted)) * 2.0 / (1.0 + leak));
}

Choice choose(double noise, double upper, double lower, double cochannel, Emission emission,
              double suppression_db) noexcept {
    if (!(noise >= 0.0 && upper >= 0.0 && lower >= 0.0 && cochannel >= 0.0)) {
        return {kNan, kNan, kNan, kNan, Mode::kNone};
    }
    const double leak = any_power(-suppression_db);
    const double above = upper + 0.5 * (noise + cochannel);
    const double below = lower + 0.5 * (noise + cochannel);
    const Sidebands s = sidebands(emission);
    if (s.lower + s.upper == 0.0) {
        return {kInfinity, kInfinity, kInfinity, kNan, Mode::kNone};
    }
    const double am = effective(Mode::kAm, s, leak, above, below);
    const double lsb = effective(Mode::kLsb, s, leak, above, below);
    const double usb = effective(Mode::kUsb, s, leak, above, below);
    Choice out = {any_decibel(am), any_decibel(lsb), any_decibel(usb), 0.0, Mode::kAm};
    double best = am;
    if (lsb < best) {
        best = lsb;
        out.best = Mode::kLsb;
    }
    if (usb < best) {
        best = usb;
        out.best = Mode::kUsb;
    }
    out.gain_db = out.best == Mode::kAm ? 0.0 : any_decibel(am / best);
    return out;
}

// ---- Interference as a source of noise ---------------------------------------------------------

double interferer_weight_db(double offset_khz, Mode mode, const Receiver& receiver) noexcept {
    return relative_protection_db(offset_khz, receiver.audio_khz) +
           side_db(mode, upper_share(offset_khz), receiver.suppression_db) + receiver.weight_db;
}

double ratio_db(double field_dbuv_m, double fa_db, double freq_mhz, double bandwidth_hz) noexcept {
    constexpr double kIsotropic_db = 107.2;  // dB(uV/m) at 1 MHz to dBW, ITU-R P.525-5
    return field_dbuv_m - 20.0 * elementary::log10(freq_mhz) - kIsotropic_db -
           noise::power_dbw(fa_db, bandwidth_hz);
}

noise::Source interference_source(std::span<const Interferer> interferers,
                                  std::span<const double> weight_db, double freq_mhz,
                                  double bandwidth_hz) noexcept {
    constexpr std::size_t kPortion = 32;
    std::array<noise::Source, kPortion> sources;  // NOLINT: filled up to `count` only
    std::size_t count = 0;
    // noise figure of a field of 0 dB(uV/m)
    const double to_fa_db = ratio_db(0.0, 0.0, freq_mhz, bandwidth_hz);
    for (std::size_t i = 0; i < interferers.size(); ++i) {
        const Interferer& other = interferers[i];
        if (std::isnan(other.field_dbuv_m)) {
            continue;
        }
        if (count == kPortion) {
            sources[0] = noise::combine(sources);
            count = 1;
        }
        sources.at(count++) = {other.field_dbuv_m + weight_db[i] + to_fa_db, other.upper_db,
                               other.lower_db};
    }
    if (std::isnan(to_fa_db)) {
        return {kNan, kNan, kNan};
    }
    if (count == 1) {
        return sources[0];
    }
    return noise::combine(std::span(sources).first(count));
}

// ---- Report codes ------------------------------------------------------------------------------

Report sinpo(const Impression& in) noexcept {
    if (!complete(in)) {
        return nothing();
    }
    const double rater = kDecile * kRater_sigma_db;
    const double noise_up = elementary::hypot(in.noise_upper_db, rater);
    const double noise_down = elementary::hypot(in.noise_lower_db, rater);
    const double other_up = elementary::hypot(in.other_upper_db, rater);
    const double other_down = elementary::hypot(in.other_lower_db, rater);
    const AtLeast p = propagation(in.freq_over_muf, in.modes);

    std::array<AtLeast, 3> sums{};  // S, I, N
    AtLeast overall{};
    std::array<double, 125> joint{};  // S, I, N
    for (const double sign : {-1.0, 1.0}) {
        const double per_z = sign * (sign < 0.0 ? in.field_lower_db : in.field_upper_db) / kDecile;
        for (const Node& node : kNodes) {
            const double shift = node.z * per_z;
            const std::array<AtLeast, 3> given = {
                at_least(in.field_dbuv_m + shift, kStrength_db, rater, rater),
                at_least(in.sir_db + shift, kInterference_db, other_up, other_down),
                at_least(in.snr_db + shift, kNoise_db, noise_up, noise_down)};
            for (std::size_t k = 0; k < 5; ++k) {
                for (std::size_t letter = 0; letter < 3; ++letter) {
                    sums.at(letter).at(k) += node.weight * given.at(letter).at(k);
                }
                overall.at(k) += node.weight * given[0].at(k == 0 ? 0 : k - 1) * given[1].at(k) *
                                 given[2].at(k) * p.at(k);
            }
            const Digits s = differences(given[0]);
            const Digits i = differences(given[1]);
            const Digits n = differences(given[2]);
            std::size_t cell = 0;
            for (const double ps : s) {
                for (const double pi : i) {
                    const double both = node.weight * ps * pi;
                    for (const double pn : n) {
                        joint.at(cell++) += both * pn;
                    }
                }
            }
        }
    }

    Report out{};
    out.probability = {differences(sums[0]), differences(sums[1]), differences(sums[2]),
                       differences(p), differences(overall)};
    const auto likeliest =
        static_cast<std::size_t>(std::distance(joint.begin(), std::ranges::max_element(joint)));
    const auto& by_p = out.probability[3];
    const auto best_p =
        static_cast<std::size_t>(std::distance(by_p.begin(), std::ranges::max_element(by_p)));
    const std::size_t s = likeliest / 25 + 1;
    const std::size_t i = likeliest / 5 % 5 + 1;
    const std::size_t n = likeliest % 5 + 1;
    const std::size_t o = std::min({s + 1, i, n, best_p + 1});
    const auto digit = [](std::size_t k) { return static_cast<std::uint8_t>(k); };
    out.code = {digit(s), digit(i), digit(n), digit(best_p + 1), digit(o)};
    out.code_probability = joint.at(likeliest) * by_p.at(best_p);
    return out;
}

// ---- Many at once ------------------------------------------------------------------------------

void ladder(std::span<const double> snr_db, std::span<const double> lower_decile_db,
            std::span<const double> upper_decile_db, std::span<const double> bandwidth_hz,
            std::span<double> out) {
    const std::size_t n = snr_db.size();
    checks::same_length("lower_decile_db", lower_decile_db.size(), n);
    checks::same_length("upper_decile_db", upper_decile_db.size(), n);
    checks::same_length("bandwidth_hz", bandwidth_hz.size(), n);
    checks::same_length("out", out.size(), n * kRungs);
    checks::within("lower_decile_db", lower_decile_db, 0.01, 100.0);
    checks::within("upper_decile_db", upper_decile_db, 0.01, 100.0);
    checks::within("bandwidth_hz", bandwidth_hz, 0.01, 1e6);
    for (std::size_t i = 0; i < n; ++i) {
        const auto rungs =
            ladder(snr_db[i], lower_decile_db[i], upper_decile_db[i], bandwidth_hz[i]);
        std::ranges::copy(rungs, out.subspan(i * kRungs).begin());
    }
}

void choose(const DisturbanceColumns& in, Emission emission, double suppression_db,
            const ChoiceColumns& out) {
    const std::size_t n = in.noise_db.size();
    checks::same_length("upper_db", in.upper_db.size(), n);
    checks::same_length("lower_db", in.lower_db.size(), n);
    checks::same_length("cochannel_db", in.cochannel_db.size(), n);
    checks::same_length("am_db", out.am_db.size(), n);
    checks::same_length("lsb_db", out.lsb_db.size(), n);
    checks::same_length("usb_db", out.usb_db.size(), n);
    checks::same_length("gain_db", out.gain_db.size(), n);
    checks::same_length("best", out.best.size(), n);
    checks::within("suppression_db", std::span(&suppression_db, 1), 30.0, 60.0);
    const auto some = [](double db) { return std::isnan(db) ? 0.0 : any_power(db); };
    for (std::size_t i = 0; i < n; ++i) {
        const Choice c =
            choose(any_power(in.noise_db[i]), some(in.upper_db[i]), some(in.lower_db[i]),
                   some(in.cochannel_db[i]), emission, suppression_db);
        out.am_db[i] = c.am_db;
        out.lsb_db[i] = c.lsb_db;
        out.usb_db[i] = c.usb_db;
        out.gain_db[i] = c.gain_db;
        out.best[i] = static_cast<std::uint8_t>(c.best);
    }
}

void interference_source(const FieldColumns& fields, std::span<const double> offset_khz, Mode mode,
                         const Receiver& receiver, std::span<const double> freq_mhz,
                         double bandwidth_hz, std::span<double> fa_db, std::span<double> upper_db,
                         std::span<double> lower_db) {
    const std::size_t n = freq_mhz.size();
    const std::size_t others = offset_khz.size();
    checks::same_length("field_dbuv_m", fields.field_dbuv_m.size(), n * others);
    checks::same_length("upper_decile_db", fields.upper_db.size(), n * others);
    checks::same_length("lower_decile_db", fields.lower_db.size(), n * others);
    checks::same_length("fa_db", fa_db.size(), n);
    checks::same_length("upper_db", upper_db.size(), n);
    checks::same_length("lower_db", lower_db.size(), n);
    checks::within("upper_decile_db", fields.upper_db, 0.0, 100.0);
    checks::within("lower_decile_db", fields.lower_db, 0.0, 100.0);
    checks::within("audio_khz", std::span(&receiver.audio_khz, 1), 2.0, 6.0);
    checks::within("suppression_db", std::span(&receiver.suppression_db, 1), 30.0, 60.0);
    if (mode == Mode::kNone) {
        throw InputError("mode = none cannot receive");
    }
    std::vector<double> weight_db(others);
    for (std::size_t j = 0; j < others; ++j) {
        if (std::isnan(offset_khz[j])) {
            throw InputError(checks::text("offset_khz[", j, "] is not a number"));
        }
        weight_db[j] = interferer_weight_db(offset_khz[j], mode, receiver);
    }
    std::vector<Interferer> column(others);
    for (std::size_t i = 0; i < n; ++i) {
        for (std::size_t j = 0; j < others; ++j) {
            const std::size_t at = j * n + i;
            column[j] = {fields.field_dbuv_m[at], fields.upper_db[at], fields.lower_db[at]};
        }
        const noise::Source source =
            interference_source(column, weight_db, freq_mhz[i], bandwidth_hz);
        fa_db[i] = source.fa_db;
        upper_db[i] = source.upper_db;
        lower_db[i] = source.lower_db;
    }
}

void sinpo(std::span<const std::span<const double>> impressions, std::span<double> probability,
           std::span<std::uint8_t> code, std::span<double> code_probability) {
    constexpr std::array<const char*, 11> kNames = {
        "field_dbuv_m",   "field_lower_db", "field_upper_db", "snr_db",
        "noise_lower_db", "noise_upper_db", "sir_db",         "other_lower_db",
        "other_upper_db", "freq_over_muf",  "modes"};
    checks::same_length("impressions", impressions.size(), kNames.size());
    const std::size_t n = code_probability.size();
    checks::same_length("probability", probability.size(), n * 25);
    checks::same_length("code", code.size(), n * 5);
    for (std::size_t c = 0; c < kNames.size(); ++c) {
        checks::same_length(kNames.at(c), impressions[c].size(), n);
    }
    for (const std::size_t c : {1U, 2U, 4U, 5U, 7U, 8U}) {
        checks::within(kNames.at(c), impressions[c], 0.0, 100.0);
    }
    checks::within(kNames[9], impressions[9], 1e-3, 1e3);
    checks::within(kNames[10], impressions[10], 1.0, 1e3);
    for (std::size_t i = 0; i < n; ++i) {
        const auto value = [&](std::size_t c) { return impressions[c][i]; };
        const Report report = sinpo({value(0), value(1), value(2), value(3), value(4), value(5),
                                     value(6), value(7), value(8), value(9), value(10)});
        for (std::size_t letter = 0; letter < 5; ++letter) {
            std::ranges::copy(report.probability.at(letter),
                              probability.subspan(i * 25 + letter * 5).begin());
        }
        std::ranges::copy(report.code, code.subspan(i * 5).begin());
        code_probability[i] = report.code_probability;
    }
}

}  // namespace farhear::listening
