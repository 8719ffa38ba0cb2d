#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <limits>
#include <span>

#include "farhear/circuit.hpp"
#include "farhear/listening.hpp"
#include "farhear/noise.hpp"
#include "farhear/skywave.hpp"

/// From modes to the likelihood that a signal is heard: S/N with its deciles, two-piece normal.
namespace farhear::reception {

/// What stands in the way. The numbers are the codes of the Python face.
enum class Limit : std::uint8_t {
    kNone = 0,          // likelihood at least one half
    kAboveMuf = 1,      // the ionosphere does not carry it, or a lower layer screens it
    kAbsorption = 2,    // the D region takes too much
    kNoise = 3,         // the receiver's surroundings are too noisy
    kInterference = 4,  // another signal (set by callers that know the neighbours)
    kNotOnAir = 5,      // set by callers that know the schedule
    kPower = 6          // none of these alone: power, beam and distance
};

/// A source that is not there.
inline constexpr noise::Source kNoSource = {-std::numeric_limits<double>::infinity(), 0.0, 0.0};

/// The receiving end.
struct Listener {
    noise::Source man_made;
    double bandwidth_hz;
    double required_snr_db;
    double tx_gain_sd_db = 0.0;  // how well the transmitting antenna is known
    noise::Source atmospheric = kNoSource;
    noise::Source interference = kNoSource;  // neighbours, in the terms of listening.hpp
    double mode_cost_db = 0.0;               // of one sideband against both: S/N lost
};

/// One evaluation.
struct Result {
    double likelihood;      // of S/N at or above the required one, 0 .. 1
    double snr_db;          // monthly median in the bandwidth
    double snr_lower_db;    // exceeded on 90 % of occasions
    double snr_upper_db;    // exceeded on 10 %
    double field_dbuv_m;    // monthly median of the sum of modes
    double muf_mhz;         // highest basic MUF of all modes, monthly median
    double absorption_db;   // of the strongest mode
    double noise_fa_db;     // all sources together, interference too
    double noise_lower_db;  // its decile deviations
    double noise_upper_db;
    double f_over_muf;                            // of the strongest mode
    double modes;                                 // within 10 dB of the strongest
    std::array<double, listening::kRungs> rungs;  // likelihood of each rung of the ladder
    double elevation_deg;                         // of the strongest mode
    std::uint8_t hops;                            // of the strongest mode
    circuit::Layer layer;                         // of the strongest mode
    bool long_path;                               // of the strongest mode
    Limit limit;
};

/// Probability that a two-piece normal quantity exceeds a threshold: `margin_db` = median minus
/// threshold, decile deviations positive. [own; the standard's linear form is never used because it
/// reaches exactly 0 and 1]
[[nodiscard]] double two_piece(double margin_db, double lower_db, double upper_db) noexcept;

/// Share of the time that a mode is carried when its MUF of the day is `muf_mhz`: a log-normal
/// blend of 4 % width about the MUF [own], so that nothing jumps when a MUF passes the frequency.
[[nodiscard]] double support(double freq_mhz, double muf_mhz) noexcept;

/// The likelihood of one circuit at one instant.
///
/// The median signal is the power sum of the modes on a median day: each mode counts with its
/// support, and with the penetration loss beyond it. The deciles combine in quadrature: the same
/// sum on a day when foF2 stands at its lower or upper decile (ionosphere::fof2_spread), the
/// other day-to-day variation (8/6 dB, 11/9 dB at high geomagnetic latitude [memory: P.842]),
/// fading within the hour (8/5 dB [memory]), and the noise.
[[nodiscard]] Result evaluate(skywave::Finder& finder, const ionosphere::Instant& instant,
                              const ionosphere::Drive& drive, const Listener& listener);

/// The same by rays, at the instant that `circuit` stands at. Every state of the ionosphere (days
/// of the spread of foF2, patches of Es) is evaluated by itself; the likelihood is the mean over
/// the states of the two-piece normal of the other variations, and median and deciles of S/N are
/// those of that mixture.
/// @param brief  no deciles, no rungs
[[nodiscard]] Result evaluate(circuit::Circuit& circuit, const circuit::Emission& emission,
                              const Listener& listener, bool brief = false);

/// Which geometry answers.
enum class Engine : std::uint8_t { kRays = 0, kMirror = 1 };

/// Gain of a directional transmitting antenna off its beam: a Gaussian main lobe down to a floor.
/// [dBi] A proxy [own], no pattern data: `peak_dbi` on the beam, half power at half `width_deg`
/// on either side, never more than `floor_db` below the peak.
[[nodiscard]] double beam_gain_dbi(double off_beam_deg, double peak_dbi, double width_deg,
                                   double floor_db) noexcept;

/// Columns of the circuits, equal lengths.
struct CircuitColumns {
    std::span<const double> tx_lat_deg;
    std::span<const double> tx_lon_deg;
    std::span<const double> rx_lat_deg;
    std::span<const double> rx_lon_deg;
    std::span<const double> freq_khz;
    std::span<const double> power_kw;
    std::span<const double> tx_gain_dbi;
    std::span<const double> man_made_fa_db;
    std::span<const double> man_made_upper_db;
    std::span<const double> man_made_lower_db;
    std::span<const double> bandwidth_hz;
    std::span<const double> required_snr_db;
    std::span<const double> min_elevation_deg;
    std::span<const double> tx_gain_sd_db;  // may be empty: 0
    /// Gain pattern towards the receiver, [circuits][46], added to tx_gain_dbi. May be empty.
    std::span<const double> pattern_dbi;
};

/// Columns of the instants. The last four may be empty: quiet.
struct InstantColumns {
    std::span<const double> t_unix_s;
    std::span<const double> f107_sfu;
    std::span<const double> kp;
    std::span<const double> xray_w_m2;
    std::span<const double> proton_2_pfu;
    std::span<const double> proton_5_pfu;
};

/// Columns with one element per evaluation; each group may be empty. A noise figure of NaN means no
/// such source.
struct EvaluationColumns {
    std::array<std::span<const double>, 3> atmospheric;   // fa_db, upper_db, lower_db
    std::array<std::span<const double>, 3> interference;  // likewise
    std::span<const double> mode_cost_db;
};

/// Output columns, one element per evaluation. Without `rungs`, `snr_lower_db` and `snr_upper_db`
/// stay empty too: none of them is worked out.
struct ResultColumns {
    std::span<double> likelihood;
    std::span<double> snr_db;
    std::span<double> snr_lower_db;
    std::span<double> snr_upper_db;
    std::span<double> field_dbuv_m;
    std::span<double> muf_mhz;
    std::span<double> absorption_db;
    std::span<double> noise_fa_db;
    std::span<double> elevation_deg;
    std::span<double> noise_lower_db;
    std::span<double> noise_upper_db;
    std::span<double> f_over_muf;
    std::span<double> modes;
    std::span<double> rungs;  // [evaluation][rung]
    std::span<std::uint8_t> hops;
    std::span<std::uint8_t> layer;
    std::span<std::uint8_t> long_path;
    std::span<std::uint8_t> limit;
};

/// Called every 10 ms or so; what it throws ends the work.
using Poll = std::function<void()>;

/// Many evaluations. Element i uses circuit circuit_index[i] and instant instant_index[i]; with
/// both index columns empty, every circuit at every instant, [circuit][instant]. Keep equal
/// circuits next to each other: a circuit's control points are prepared whenever it changes. NaN in
/// a circuit or instant gives NaN, layer none, limit none.
/// @throws InputError naming argument, index, value and range.
void likelihood(const circuit::Models& models, const ionosphere::Drive& drive, skywave::Route route,
                Engine engine, const circuit::Options& options, const CircuitColumns& circuits,
                const InstantColumns& instants, std::span<const std::int64_t> circuit_index,
                std::span<const std::int64_t> instant_index, const EvaluationColumns& evaluations,
                const ResultColumns& out, const Poll& poll = {});

}  // namespace farhear::reception
