#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "farhear/magnetic.hpp"
#include "farhear/sun.hpp"

/// Monthly median ionosphere: solar index, foF2 and M(3000)F2 from the CCIR maps, foE, foF1, hmF2.
///
/// Honesty marks: [read] taken from a text at hand, [memory] recalled and to be ticked against the
/// paper, [own] derived or chosen here.
namespace farhear::map_series {
struct Months;
}

namespace farhear::ionosphere {

// ---------------------------------------------------------------- solar index

/// 12-month smoothed 10.7 cm flux from the 12-month smoothed sunspot number (series version 1).
/// 63.7 + 0.728 R12 + 8.9e-4 R12^2. [sfu] Source: ITU-R P.371 [memory].
[[nodiscard]] double f107_from_r12(double r12) noexcept;

/// The exact inverse, not below 0 (the formula is unphysical under 63.7 sfu). Series version 1.
[[nodiscard]] double r12_from_f107(double f107_sfu) noexcept;

/// IG12, the ionosonde-based index the maps like best, from R12 (series version 1).
/// -12.349154 + 1.4683266 R12 - 2.67690893e-3 R12^2; below zero near solar minimum, on purpose.
/// Source: the conversion used with the International Reference Ionosphere [read].
[[nodiscard]] double ig12_from_r12(double r12) noexcept;

/// How the maps are driven.
struct Drive {
    /// Hold R12 at 150 for foF2 and M(3000)F2 (saturation) [memory: P.1239]. Off: no limit below
    /// the top of the quadratic IG12 relation.
    bool saturate = true;
    /// Year of the magnetic field behind modip; NaN: the middle of the date's own calendar year.
    /// The maps were fitted with a field of about 1960 [memory]; against private ionosonde medians
    /// of 2019 the date's field did better (0.75 against 0.98 MHz rms).
    double field_year;
    /// foE by the day/night form with sharp branches (form A, P.1239 [memory]) instead of the
    /// smooth one (form B).
    bool foe_form_a = false;
};

/// IG12 that drives the maps for a 12-month smoothed flux, with or without the saturation.
[[nodiscard]] double map_index(double f107_sfu, bool saturate) noexcept;

// ---------------------------------------------------------------- maps

inline constexpr std::size_t kFof2Terms_count = 76;
inline constexpr std::size_t kM3000Terms_count = 49;
inline constexpr std::size_t kFof2Harmonics_count = 13;
inline constexpr std::size_t kM3000Harmonics_count = 9;

/// The geographic functions of one place, or the coefficients of one instant that multiply them.
/// foF2 = dot(basis.fof2, coefficients.fof2), M(3000)F2 likewise.
struct Terms {
    std::array<double, kFof2Terms_count> fof2;
    std::array<double, kM3000Terms_count> m3000;
};

/// Geographic functions of the map series: powers of sin(modip), cos(lat), sin/cos(m lon).
/// Source: Jones and Gallet 1962/65; order as in the CCIR coefficient files [read].
[[nodiscard]] Terms basis(double lat_deg, double lon_deg, double modip_deg) noexcept;

/// The two dot products. [MHz], [ratio]
struct MapValues {
    double fof2_mhz;
    double m3000f2_ratio;
};
[[nodiscard]] MapValues combine(const Terms& place, const Terms& instant) noexcept;

/// CCIR coefficients of all months, immutable.
class Maps {
  public:
    /// @param fof2  [12 months][2 levels][76][13], @param m3000  [12][2][49][9]; the levels are
    /// index 0 and 100. @throws InputError on another number of values or a value that is not
    /// finite.
    Maps(std::vector<double> fof2, std::vector<double> m3000);

    /// Coefficients of an instant: linear in the index, linear in time between the middles of the
    /// two nearest months (common practice), diurnal series of 6 and 4 harmonics of UT.
    [[nodiscard]] Terms at(double t_unix_s, double ig12) const;

    /// Coefficients of one month's mid, no interpolation. @param month 1..12, @param ut_h 0..24.
    [[nodiscard]] Terms month(int month, double ut_h, double ig12) const;

  private:
    [[nodiscard]] Terms collapse(const map_series::Months& months, double ig12) const;
    std::vector<double> fof2_;
    std::vector<double> m3000_;
};

/// foF2 and M(3000)F2 of every place at every instant: one product of a places x terms and a
/// terms x instants matrix, in blocks, dispatched over instruction sets with the same bits.
/// Outputs are [instant][place]. Any of the two outputs may be empty.
void product(std::span<const double> lat_deg, std::span<const double> lon_deg,
             std::span<const double> modip_deg, std::span<const Terms> instants,
             std::span<double> fof2_mhz, std::span<double> m3000f2_ratio);

// ---------------------------------------------------------------- layers

/// Zenith angle with the smooth night side, so that foE has no branch at the terminator.
/// Source: Nava et al. 2008 (NeQuick) [read in an open implementation].
[[nodiscard]] double effective_zenith_deg(double zenith_deg) noexcept;

/// foE, smooth form B. @param season -1 (December) .. +1 (June). [MHz]
/// Source: Nava et al. 2008, after Titheridge [read in an open implementation].
[[nodiscard]] double foe_mhz(double f107_sfu, double lat_deg, double zenith_deg,
                             double season) noexcept;

/// Season of form B as a smooth annual cosine, -1 at the December solstice [own: the source has
/// steps by month].
[[nodiscard]] double season(double t_unix_s) noexcept;

/// foE, form A with its branches. `hours_after_sunset` NaN means polar night or unknown. [MHz]
/// Source: Muggleton 1975, ITU-R P.1239 section 4 [memory].
[[nodiscard]] double foe_form_a_mhz(double f107_sfu, double lat_deg, double declination_deg,
                                    double zenith_deg, double hours_after_sunset) noexcept;

/// foF1, NaN where the layer does not exist. @param dip_lat_deg magnetic dip latitude. [MHz]
/// Source: DuCharme, Petrie and Eyfrig 1971/73 (polynomials [read], zenith limits [memory]).
[[nodiscard]] double fof1_mhz(double r12, double dip_lat_deg, double zenith_deg) noexcept;

/// foF1 with a smooth end: the layer as `fof1_mhz`, without its limit, and how much of it there is,
/// 1 from 10 deg within the zenith limit to 0 at 4 deg beyond [own]. 0 MHz from 89 deg zenith on.
struct F1 {
    double critical_mhz;
    double presence;
};
[[nodiscard]] F1 f1_layer(double r12, double dip_lat_deg, double zenith_deg) noexcept;
/// Peak height of F1, 165 + 0.64 zenith. [km] Source: as used with the International Reference
/// Ionosphere [memory]
[[nodiscard]] double hmf1_km(double zenith_deg) noexcept;

/// Half thickness of the parabola with the same half-density point as the bottom side of F2. [km]
/// Source: bottom-side thickness 3.85e-12 NmF2 / (0.01 exp(-3.467 + 1.714 ln foF2 + 2.02 ln M)) of
/// the International Reference Ionosphere (Di Giovanni and Radicella) [read]; times 2.493 [own].
[[nodiscard]] double half_thickness_f2_km(double fof2_mhz, double m3000f2_ratio) noexcept;

/// Peak height of F2. [km] Source: Bilitza, Sheikh and Eyfrig 1979 [read].
[[nodiscard]] double hmf2_km(double fof2_mhz, double m3000f2_ratio, double foe_mhz, double r12,
                             double modip_deg) noexcept;

/// Standard deviation of ln(foF2) from day to day about the monthly median: a proxy [own], the
/// published decile tables could not be had. 0.08 by day and 0.16 by night at middle latitude,
/// 0.12 and 0.30 within 25 deg of the modip equator, times 1.4 beyond 55 deg geomagnetic latitude;
/// blended over 80-100 deg zenith, and over +-5 deg of modip and latitude so that no step is left.
[[nodiscard]] double fof2_spread(double zenith_deg, double modip_deg,
                                 double geomagnetic_lat_deg) noexcept;

// ---------------------------------------------------------------- everything together

/// An instant with all that depends on it alone.
struct Instant {
    double t_unix_s;
    double f107_sfu;
    double r12;         // not saturated
    double season;      // form B
    double field_year;  // year of the magnetic field
    sun::Subsolar sun;
    Terms terms;
};
[[nodiscard]] Instant prepare(const Maps& maps, double t_unix_s, double f107_sfu,
                              const Drive& drive);

/// Many instants; none where time or flux is NaN.
/// @throws InputError on unequal lengths or a flux outside 50 .. 400 sfu.
[[nodiscard]] std::vector<std::optional<Instant>> prepare(const Maps& maps,
                                                          std::span<const double> t_unix_s,
                                                          std::span<const double> f107_sfu,
                                                          const Drive& drive);

/// A place with all that depends on it and the magnetic epoch.
struct Place {
    double lat_deg;
    double lon_deg;
    double lon_rad;
    double sin_lat;
    double cos_lat;
    double modip_deg;
    double dip_lat_deg;
    double geomagnetic_lat_deg;
    double gyro_300_mhz;
    double gyro_100_mhz;
    Terms terms;
};
[[nodiscard]] Place prepare(const magnetic::Model& field, double year, double lat_deg,
                            double lon_deg);

/// Monthly medians at one place and instant.
struct Characteristics {
    double fof2_mhz;
    double m3000f2_ratio;
    double foe_mhz;
    double fof1_mhz;  // NaN: no F1 layer
    double hmf2_km;
    double zenith_deg;
};
/// foF2 is kept at or above 0.5 MHz and M(3000)F2 within 1.5 .. 4.5: beyond, the extrapolated
/// series has no meaning [own].
[[nodiscard]] Characteristics characteristics(const Place& place, const Instant& instant,
                                              const Drive& drive) noexcept;

/// Zenith angle of the sun at a prepared place. [deg]
[[nodiscard]] double zenith_deg(const Place& place, const Instant& instant) noexcept;

/// foE at a prepared place in the form that `drive` asks for. [MHz]
[[nodiscard]] double foe_mhz(const Place& place, const Instant& instant, double zenith_deg,
                             const Drive& drive) noexcept;

/// Called with the number of a pair, its place and its instant; null where either is not known.
using PairUse = std::function<void(std::size_t, const Place*, const Instant*)>;

/// Many places and instants, each prepared once in a row. Pair i, of `size`, is place
/// place_index[i] at instant instant_index[i]; with both index columns empty every place at every
/// instant, [place][instant].
/// @throws InputError on a latitude beyond the poles, a flux outside 50 .. 400 sfu, unequal
/// lengths, or a date outside the magnetic model.
void each_pair(const Maps& maps, const magnetic::Model& field, const Drive& drive,
               std::span<const double> lat_deg, std::span<const double> lon_deg,
               std::span<const double> t_unix_s, std::span<const double> f107_sfu,
               std::span<const std::int64_t> place_index,
               std::span<const std::int64_t> instant_index, std::size_t size, const PairUse& use);

/// Outputs of the array form, caller's buffers of equal length.
struct CharacteristicsOut {
    std::span<double> fof2_mhz;
    std::span<double> m3000f2_ratio;
    std::span<double> foe_mhz;
    std::span<double> fof1_mhz;
    std::span<double> hmf2_km;
};

/// Characteristics of each_pair. NaN gives NaN.
/// @throws InputError as each_pair.
void characteristics(const Maps& maps, const magnetic::Model& field, const Drive& drive,
                     std::span<const double> lat_deg, std::span<const double> lon_deg,
                     std::span<const double> t_unix_s, std::span<const double> f107_sfu,
                     std::span<const std::int64_t> place_index,
                     std::span<const std::int64_t> instant_index, const CharacteristicsOut& out);

}  // namespace farhear::ionosphere
