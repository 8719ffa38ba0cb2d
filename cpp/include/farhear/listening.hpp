#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "farhear/noise.hpp"

/// What a receiver and an ear make of a signal with its noise and its neighbours: the ladder of
/// listening, rejection of neighbouring channels, choice of sideband, interference as a source of
/// noise, and report codes as distributions.
///
/// Deciles here are always deviations from the median, both positive. [dB]
/// Everything is continuous in its arguments, the kind of emission and "on the air or not" apart.
namespace farhear::listening {

// ---- The ladder --------------------------------------------------------------------------------

/// Rungs from below: a carrier is audible, the language can be told, speech is intelligible with
/// effort, a reception report is worth writing, listening is comfortable.
inline constexpr std::size_t kRungs = 5;

/// Ratio of carrier to noise in 9 kHz that each rung asks for. [dB]
/// Common practice, no source; the middle rungs may be off by 3 dB, the top one by 5 dB.
inline constexpr std::array<double, kRungs> kRung_snr_db = {6.0, 11.0, 17.0, 26.0, 34.0};

/// The bandwidth the rungs refer to. [Hz]
inline constexpr double kRung_bandwidth_hz = 9000.0;

/// What to add to a S/N in a bandwidth to have it in 9 kHz: 10 log10(b / 9000). The rungs are
/// densities: a narrow filter is not credited with making speech easier. [dB]
[[nodiscard]] double to_rung_bandwidth_db(double bandwidth_hz) noexcept;

/// Probability of each rung when S/N is a two-piece normal quantity: median in the bandwidth, and
/// decile deviations, both above 0. Falls from rung to rung. NaN gives NaN.
[[nodiscard]] std::array<double, kRungs> ladder(double snr_db, double lower_decile_db,
                                                double upper_decile_db,
                                                double bandwidth_hz) noexcept;

// ---- Neighbouring channels ---------------------------------------------------------------------

/// Audio bandwidth at which the planning values hold by our convention. [kHz] [own]
inline constexpr double kPlanning_audio_khz = 2.8;

/// Strength of a neighbour in the wanted audio relative to an equally strong station on the same
/// channel: even in the offset, once continuously differentiable, 0 at 0. [dB]
///
/// - 5, 10, 15, 20 kHz: -3, -35, -49, -54 dB, planning values of HF broadcasting [memory].
/// - Below 5 kHz the carriers whistle: +9.4 at 0.1, +14 at 1, +2 at 4 kHz, from a spectral estimate
///   of our own (programme flat to 1 kHz and falling 6 dB an octave to 4.5 kHz, 30 % modulation,
///   fourth-order audio filter, beat notes below 150 Hz fade out at 6 dB an octave). [own]
/// - Between: cubic segments, monotone between neighbouring knots (Fritsch and Carlson, SIAM J.
///   Numer. Anal. 17, 1980, slopes by weighted harmonic means). Beyond 20 kHz: -80 dB a decade,
///   without a floor. [own]
/// - Another audio bandwidth, 2 to 6 kHz, moves it by what it does to the beat of the carriers (a
///   fourth-order filter) and to the near sideband: nothing at 0, 80 log10(audio / 2.8) far out.
///   [own] Closed form; within 2.5 dB of the spectral estimate, 1 dB from 10 kHz up.
///
/// The spectral estimate and the planning values differ by 1.6 dB at 5, 5.3 at 10, 4.9 at 15 and
/// 0.1 at 20 kHz. `audio_khz` above 0; NaN gives NaN.
[[nodiscard]] double relative_protection_db(double offset_khz, double audio_khz) noexcept;

/// Share of a neighbour's disturbance that lies above the wanted carrier: one half on the same
/// channel, all of it from 4.5 kHz up, none from 4.5 kHz down. The rest is the part of its far
/// sideband that reaches across the wanted carrier. [own]
[[nodiscard]] double upper_share(double offset_khz) noexcept;

// ---- Sidebands ---------------------------------------------------------------------------------

/// How the receiver demodulates. The numbers are the codes of the Python face.
enum class Mode : std::uint8_t {
    kAm = 0,   // both sidebands, envelope
    kLsb = 1,  // lower sideband, carrier put in by the receiver
    kUsb = 2,  // upper sideband, likewise
    kNone = 3  // nothing this receiver could use
};

/// What is sent. The order is fixed: it is the index used by the Python face.
enum class Emission : std::uint8_t {
    kDoubleSideband = 0,    // A3E
    kUpperFullCarrier = 1,  // H3E, upper: an A3E whose lower sideband is missing [own convention]
    kUpperNoCarrier = 2,    // J3E, upper: all the audio of an A3E of that power in one sideband
    kLowerNoCarrier = 3,    // J3E, lower
    kDigital = 4            // nothing to hear
};

/// S/N lost by a mode against AM reception of a double-sideband emission in white noise. [dB]
///
/// Amplitudes add for the two sidebands in AM, so losing one of them costs 6.02 dB there; one
/// sideband of two costs 6.02 dB of signal and sheds half of the noise, 3.01 dB in all. [own]
/// `suppression_db` is what the receiver leaves of the other sideband (30 to 60, common practice).
/// Infinite where the mode cannot work: AM without a carrier, anything digital.
[[nodiscard]] double mode_cost_db(Mode mode, Emission emission, double suppression_db) noexcept;

/// How much stronger than in AM a disturbance is in a mode, its `upper_share` given, relative to
/// white noise in that mode: 0 in AM; about +3.01 on the wanted side, 0 on the same channel,
/// 3.01 - suppression on the other side. [dB]
[[nodiscard]] double side_db(Mode mode, double share, double suppression_db) noexcept;

/// What each mode makes of the noise and the neighbours, and the best of them.
struct Choice {
    double am_db;    // noise and interference in the terms of AM reception of a double-sideband
    double lsb_db;   //   emission: subtract it from the signal to have the effective S/(N+I)
    double usb_db;   //
    double gain_db;  // of the best over AM; infinite where AM cannot work, NaN where nothing does
    Mode best;
};

/// Choice between the modes, exact for powers that add. [own]
///
/// Powers are linear, in one unit of the caller's, after `relative_protection_db`: the noise, all
/// interference from above, from below, and on the same channel (half of which lies on each side).
/// The best mode has the least noise and interference; at equality AM. A negative power or NaN
/// gives NaN and no mode.
[[nodiscard]] Choice choose(double noise, double upper, double lower, double cochannel,
                            Emission emission, double suppression_db) noexcept;

// ---- Interference as a source of noise ---------------------------------------------------------

/// A disturbing station at the receiver: median field with its deciles. NaN: not on the air.
struct Interferer {
    double field_dbuv_m;
    double upper_db;
    double lower_db;
};

/// The receiver as far as neighbours are concerned.
struct Receiver {
    double audio_khz = kPlanning_audio_khz;
    double suppression_db = 40.0;
    /// How much worse than noise of the same power interference on the channel is. [dB] 0 where
    /// speech must be intelligible: 17 dB against noise and 17 dB against a fading station are both
    /// planning practice [memory]. Identification needs 6 to 10 dB against a station and 11 against
    /// noise (-3 dB), comfort 27 and 34 (-7 dB) [practice].
    double weight_db = 0.0;
};

/// What the offset of a neighbour does to it in a mode: protection, side and weight together. [dB]
/// It depends on neither time nor field: compute it once per neighbour.
[[nodiscard]] double interferer_weight_db(double offset_khz, Mode mode,
                                          const Receiver& receiver) noexcept;

/// Neighbours as one source of noise, to go into noise::combine with the others.
///
/// Power at an isotropic antenna: E - 20 log10(f) - 107.2 dBW (ITU-R P.525-5). Its noise figure is
/// such that noise::power_dbw in `bandwidth_hz` gives it back. Powers are summed by
/// noise::combine. `weight_db` has one element per interferer (interferer_weight_db). In a mode
/// other than AM the S/N of signal to all noise also falls by mode_cost_db.
///
/// Any number of interferers; beyond 32 they are summed in portions, which keeps the mean power.
/// Nobody on the air gives fa_db = -infinity with deciles 0. Frequency or bandwidth NaN gives NaN.
[[nodiscard]] noise::Source interference_source(std::span<const Interferer> interferers,
                                                std::span<const double> weight_db, double freq_mhz,
                                                double bandwidth_hz) noexcept;

/// Ratio of a wanted field to a source of noise or interference in the bandwidth. [dB]
[[nodiscard]] double ratio_db(double field_dbuv_m, double fa_db, double freq_mhz,
                              double bandwidth_hz) noexcept;

// ---- Report codes ------------------------------------------------------------------------------

/// What a report code is predicted from.
struct Impression {
    double field_dbuv_m;    // median of the wanted signal
    double field_lower_db;  // its deciles, day to day and within the hour
    double field_upper_db;  //
    double snr_db;          // median of S/N in 9 kHz
    double noise_lower_db;  // deciles of the noise alone
    double noise_upper_db;  //
    double sir_db;          // median of S/I, neighbours weighted; infinite: none known
    double other_lower_db;  // deciles of the interference alone
    double other_upper_db;  //
    double freq_over_muf;   // frequency over the basic MUF, monthly median
    double modes;           // number of modes of comparable strength, 1 or more
};

/// Probabilities of the digits 1..5, in the order strength, interference, noise, propagation
/// disturbance, overall, and the likeliest code of five digits with its joint probability.
struct Report {
    std::array<std::array<double, 5>, 5> probability;  // [letter][digit - 1]
    std::array<std::uint8_t, 5> code;
    double code_probability;
};

/// Spread of the thresholds of raters, standard deviation. [dB] [assumption]
inline constexpr double kRater_sigma_db = 3.0;
/// Share of digits written down by whim, all five alike. [assumption]
inline constexpr double kLapse = 0.02;
/// Standard deviation of ln(MUF of the day / monthly median). [assumption]
inline constexpr double kMuf_sigma = 0.12;

/// Distribution of the report code (letters of ITU-R SM.1135; the mapping to decibels is our own).
///
/// S: field against 22, 34, 46, 60 dB(uV/m). N: S/N in 9 kHz against 10, 20, 30, 40 dB.
/// I: S/I against 6, 14, 24, 34 dB. S, N and I share the deviation of the signal, a two-piece
/// normal quantity; noise and interference deviate on their own. The rater's spread joins each in
/// quadrature. P: shares of a calm (5: 0.5, 4: 0.4, 3: 0.1), a mixed (4: 0.25, 3: 0.5, 2: 0.25) and
/// a failing (3: 0.2, 2: 0.5, 1: 0.3) path: failing where the frequency is above the MUF of the
/// day, mixed above 0.8 of it or with two modes, calm else. [own]
/// O: the least of I, N, P and S + 1, so never above a degrading digit, and at most one above the
/// least of the four. [own reading of practice] On top, kLapse of S, I, N, P is random.
///
/// Quadrature over the shared deviation at 48 fixed points: digits within 0.002 for deciles up to
/// 20 dB, 0.004 to 30 dB. Each row sums to 1 to rounding. NaN in any field gives NaN and code 0.
[[nodiscard]] Report sinpo(const Impression& in) noexcept;

// ---- Many at once ------------------------------------------------------------------------------

/// Ladder of many: columns of n, output [n][kRungs].
/// @throws InputError on unequal lengths or values out of range.
void ladder(std::span<const double> snr_db, std::span<const double> lower_decile_db,
            std::span<const double> upper_decile_db, std::span<const double> bandwidth_hz,
            std::span<double> out);

/// Columns of the array form of `choose`, levels in one decibel scale; -infinity or NaN in the
/// three of interference means none, NaN noise gives NaN.
struct DisturbanceColumns {
    std::span<const double> noise_db;
    std::span<const double> upper_db;
    std::span<const double> lower_db;
    std::span<const double> cochannel_db;
};
struct ChoiceColumns {
    std::span<double> am_db;
    std::span<double> lsb_db;
    std::span<double> usb_db;
    std::span<double> gain_db;
    std::span<std::uint8_t> best;
};
/// @throws InputError on unequal lengths or a suppression outside [30, 60] dB.
void choose(const DisturbanceColumns& in, Emission emission, double suppression_db,
            const ChoiceColumns& out);

/// Fields of interferers, each [n_interferers][n], row by row.
struct FieldColumns {
    std::span<const double> field_dbuv_m;
    std::span<const double> upper_db;
    std::span<const double> lower_db;
};
/// Interference of many instants: `offset_khz` one per interferer, `freq_mhz` one per instant,
/// output three columns of n.
/// @throws InputError on lengths that do not fit or values out of range.
void interference_source(const FieldColumns& fields, std::span<const double> offset_khz, Mode mode,
                         const Receiver& receiver, std::span<const double> freq_mhz,
                         double bandwidth_hz, std::span<double> fa_db, std::span<double> upper_db,
                         std::span<double> lower_db);

/// Report codes of many: columns in the order of Impression, output [n][5][5], [n][5], [n].
/// @throws InputError on unequal lengths or values out of range.
void sinpo(std::span<const std::span<const double>> impressions, std::span<double> probability,
           std::span<std::uint8_t> code, std::span<double> code_probability);

}  // namespace farhear::listening
