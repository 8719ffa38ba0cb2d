#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "farhear/ionosphere.hpp"
#include "farhear/noise.hpp"

/// Lightning (atmospheric) noise: a PROXY [own], good to about +-10 dB. The published maps (ITU-R
/// P.372, CCIR Report 322) could not be had; a user's own table is better.
///
/// Twenty-one thunderstorm areas are transmitters whose sky waves add in power:
///   fa = 1/(k T0) sum_s r_s e1 f^-2 10^(-L_s/10), e1 = 4e-4 J/Hz a flash at 1 MHz [assumption].
/// L_s: spreading over hops of at most 3000 km from a 300 km mirror, 2 dB a ground reflection, 6 dB
/// for the rest [assumption], absorption, and the loss above the usable frequency. The number of
/// hops is a real number, so that nothing jumps with the place. The long way round is left out.
/// Continuous in place (but near a source's antipode), time and frequency.
namespace farhear::lightning {

inline constexpr std::size_t kSources_count = 21;

/// What one storm area contributes, without frequency.
struct Path {
    double log_power;   ///< ln of rate [1/s] e1/(k T0) over the losses that no frequency changes
    double absorption;  ///< hops x secant x mean solar factor
    double gyro_mhz;    ///< at 100 km, mean
    double log_muf;     ///< ln of the lower F2 usable frequency. [MHz]
};
struct State {
    std::array<Path, kSources_count> paths;
};

/// A receiver for one year of the magnetic field.
class Receiver {
  public:
    /// @throws InputError on a place out of range or a year outside the magnetic model.
    Receiver(const magnetic::Model& field, double year, double lat_deg, double lon_deg);

    /// All that does not depend on frequency.
    [[nodiscard]] State at(const ionosphere::Instant& instant,
                           const ionosphere::Drive& drive) const noexcept;

  private:
    struct Way {
        double cos_peak;  // of the longitude less the hour angle of the afternoon maximum
        double sin_peak;
        double rate_per_s;
        double season;
        double hop_km;
        double log_gain;   // ln of e1/(k T0) 10^(-L/10), frequency-free part
        double obliquity;  // hops x secant at 100 km
        double gyro_mhz;
        bool one_hop;  // both control points are the middle
        std::array<ionosphere::Place, 3> d_points;
        std::array<ionosphere::Place, 2> f2_points;
    };
    std::array<Way, kSources_count> ways_;
};

/// Median and deciles (9 up, 7 down [assumption]) of the lightning noise. freq_mhz > 0. [dB]
[[nodiscard]] noise::Source fa(const State& state, double freq_mhz) noexcept;

/// Columns of places, and of instants with a frequency each; outputs.
struct PlaceColumns {
    std::span<const double> lat_deg;
    std::span<const double> lon_deg;
};
struct InstantColumns {
    std::span<const double> t_unix_s;
    std::span<const double> f107_sfu;
    std::span<const double> freq_mhz;
};
struct NoiseOut {
    std::span<double> fa_db;
    std::span<double> upper_db;
    std::span<double> lower_db;
};

/// Element i is place place_index[i] at instant instant_index[i]; with both index columns empty,
/// every place at every instant, [place][instant]. Neighbours that differ in frequency only share
/// their state. NaN gives NaN.
/// @throws InputError on unequal lengths or values out of range (freq_mhz 1 .. 30).
void columns(const ionosphere::Maps& maps, const magnetic::Model& field,
             const ionosphere::Drive& drive, const PlaceColumns& places,
             const InstantColumns& instants, std::span<const std::int64_t> place_index,
             std::span<const std::int64_t> instant_index, const NoiseOut& out);

}  // namespace farhear::lightning
