#pragma once

#include <span>

/// External radio noise: man-made and galactic medians with their deciles, and their combination.
///
/// Fa is the noise power of a lossless antenna relative to k T0 b, T0 = 290 K. [dB]
/// Source: ITU-R P.372. Galactic median and deciles [read]; man-made figures [memory]. Lightning:
/// lightning.hpp.
namespace farhear::noise {

/// A noise source, or a sum of some: median and decile deviations (both positive). [dB]
struct Source {
    double fa_db;
    double upper_db;
    double lower_db;
};

/// Surroundings of the receiver. The order is fixed: it is the index used by the Python face.
enum class Environment : int { kCity = 0, kResidential = 1, kRural = 2, kQuietRural = 3 };

/// Man-made noise, valid 0.3 .. 250 MHz (quiet rural to 30 MHz). c - d log10(f).
[[nodiscard]] Source man_made(Environment environment, double freq_mhz) noexcept;

/// Galactic noise above the ionosphere, 52 - 23 log10(f).
[[nodiscard]] Source galactic(double freq_mhz) noexcept;

/// Share of the galactic noise that gets through to the ground: 1 well above foF2 of the receiver,
/// 0 well below; a log-normal blend of 10 % width instead of a step [own].
[[nodiscard]] double galactic_share(double freq_mhz, double fof2_mhz) noexcept;

/// Sum of independent log-normal sources by moment matching, once with the upper and once with the
/// lower deciles; the median is that of the upper run. Source: ITU-R P.372
/// [memory]; the capping rule of the text is not applied. An empty span gives -infinity.
[[nodiscard]] Source combine(std::span<const Source> sources) noexcept;

/// Noise power in a bandwidth. Fa + 10 log10(b) - 204. [dBW]
[[nodiscard]] double power_dbw(double fa_db, double bandwidth_hz) noexcept;

}  // namespace farhear::noise
