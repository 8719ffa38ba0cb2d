#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "farhear/magnetic.hpp"

/// Sporadic E: how strong the layer is, month by month, as a distribution over the days, and what
/// it does to a ray.
///
/// The maps are those of Leftin, Ostrow and Preston (ESSA Technical Report ERL 69-ITS 52, 1968,
/// from memory) in the form of the files made for Bradley's work on the International Reference
/// Ionosphere (Adv. Space Res. 31(3), 577, 2003): median and deciles of foEs for every month at two
/// levels of solar activity. Honesty marks as in ionosphere.hpp.
namespace farhear::sporadic {

inline constexpr std::size_t kLowerTerms_count = 55;
inline constexpr std::size_t kMedianTerms_count = 61;
inline constexpr std::size_t kUpperTerms_count = 55;
inline constexpr std::size_t kDecileHarmonics_count = 5;
inline constexpr std::size_t kMedianHarmonics_count = 7;
inline constexpr double kLowLevel_r12 = 10.0;  // of the maps [read]
inline constexpr double kHighLevel_r12 = 180.0;
/// Height of the layer. [km] 100 to 120 km in observations; common practice.
inline constexpr double kHeight_km = 105.0;

/// Geographic functions of one place, or the coefficients of an instant that multiply them.
struct Terms {
    std::array<double, kLowerTerms_count> lower;
    std::array<double, kMedianTerms_count> median;
    std::array<double, kUpperTerms_count> upper;
};
using Basis = Terms;

/// Powers of sin(modip), cos(lat), sin/cos(m lon), as in the F2 maps with other counts.
/// Source: Jones and Gallet 1965; counts and the use of modip [read in an open implementation].
[[nodiscard]] Basis basis(double lat_deg, double lon_deg, double modip_deg) noexcept;

/// Coefficients of all months, immutable.
class Maps {
  public:
    /// @param lower, upper  [12 months][2 levels][55][5], @param median [12][2][61][7].
    /// @throws InputError on another number of values or a value that is not finite.
    Maps(std::vector<double> lower, std::vector<double> median, std::vector<double> upper);

    /// Coefficients of an instant: linear in R12, kept within 0 .. 200, between the middles of the
    /// two nearest months, diurnal series of UT.
    [[nodiscard]] Terms at(double t_unix_s, double r12) const;

  private:
    std::vector<double> lower_;
    std::vector<double> median_;
    std::vector<double> upper_;
};

/// foEs of the days of a month at one place and hour: log-normal on both sides of the median.
struct Distribution {
    double median_mhz;
    double lower_sigma;  // standard deviation of ln(foEs) below the median
    double upper_sigma;  // above
};

/// The three maps at a place and instant. They ring where ionosondes were few: the median is kept
/// above 1 MHz, the upper decile at least 5 % above and the lower 5 % below the median, all
/// smoothly [own].
[[nodiscard]] Distribution combine(const Basis& place, const Terms& instant) noexcept;

/// The distribution with these deciles. [MHz]
[[nodiscard]] Distribution from_deciles(double lower_mhz, double median_mhz,
                                        double upper_mhz) noexcept;

/// foEs that stands `z` standard deviations off the median. [MHz]
[[nodiscard]] double quantile_mhz(const Distribution& es, double z) noexcept;
/// Share of the days on which foEs exceeds a frequency.
[[nodiscard]] double probability_above(const Distribution& es, double freq_mhz) noexcept;

/// Loss of one hop by reflection at an Es layer of the given foEs, beyond distance and absorption:
/// (40 / (1 + p/130 + (p/250)^2) + 0.2 (p/2600)^2) (f/foEs)^2 + exp((p - 1660)/280), p the hop in
/// km; kept under 80 dB, smoothly. Source: ITU-R P.2001 eq. G.2.1
/// [read in an open implementation], from ITU-R P.534 [memory]. [dB]
[[nodiscard]] double loss_db(double hop_km, double freq_mhz, double foes_mhz) noexcept;

/// Share of the sky that a layer hides from rays to and from the F region: that in which its
/// blanketing frequency exceeds the ray's equivalent vertical frequency, at most 97 %, as it is
/// patchy. The blanketing frequency is taken as 0.6 foEs: what the maps call foEs is often a weak,
/// transparent layer [own; 0.5 to 0.9 from memory].
/// @param log_ratio  ln(foEs / (frequency times the cosine of the incidence at the layer)).
[[nodiscard]] double hidden_share(double log_ratio) noexcept;
/// The same as a loss of one crossing. [dB] @param vertical_mhz  that frequency times cosine.
[[nodiscard]] double obscuration_db(double foes_mhz, double vertical_mhz) noexcept;

/// Deciles and median of foEs of many places and instants; element i is place place_index[i] at
/// instant instant_index[i]; with both index columns empty every place at every instant,
/// [place][instant]. NaN gives NaN. @throws InputError as ionosphere::characteristics.
void foes(const Maps& maps, const magnetic::Model& field, std::span<const double> lat_deg,
          std::span<const double> lon_deg, std::span<const double> t_unix_s,
          std::span<const double> f107_sfu, std::span<const std::int64_t> place_index,
          std::span<const std::int64_t> instant_index, std::span<double> lower_mhz,
          std::span<double> median_mhz, std::span<double> upper_mhz);

}  // namespace farhear::sporadic
