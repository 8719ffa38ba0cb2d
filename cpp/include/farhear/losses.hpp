#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <span>
#include <vector>

#include "farhear/zone.hpp"

/// What weakens a sky wave besides distance: the auroral zone, the D region, flares, polar caps and
/// storms, the ground between two hops. And how far a day strays from the month.
///
/// Everything is continuous in every argument, also where the sources have steps. Losses are
/// positive. [dB] NaN in any argument gives NaN. No function throws or allocates but those of Land.
///
/// Honesty marks: [read] taken from a text at hand, [memory] recalled and to be ticked against the
/// paper, [practice] common practice without a source, [own] derived or chosen here.
namespace farhear::losses {

// ---------------------------------------------------------------- auroral and other losses

/// Median loss of one mode by the auroral zone and what else goes with latitude. [dB]
///
/// Two tables, up to and beyond 2500 km, over geomagnetic latitude, local time and season. The
/// tables are steps; here [own] they are values at the middle of their cell: linear in latitude
/// between 45, 50, .. 80 deg, 0 at and below 40 deg (the last rows stand as 3 : 2 : 1), held above
/// 80 deg; cyclic and linear in local time between 02:30, 05:30, ..; the two tables blended over
/// 2000 .. 3000 km; seasons weighted by the square of the annual phase, which gives winter and
/// summer a quarter of the year each, as the tables do, and winter by the sign of the latitude.
/// Source: ITU-R P.533 Table 2 [memory, every entry].
/// @param geomagnetic_lat_deg  of the control point, or the mean over the control points of a long
///                             path, north positive. [deg]
/// @param local_time_h         mean local time at the middle of the path, any real number. [h]
/// @param season_phase         -1 at the December solstice .. +1 at the June solstice, see
///                             ionosphere::season; held beyond.
/// @param distance_km          length of the whole path. [km]
[[nodiscard]] double auroral_db(double geomagnetic_lat_deg, double local_time_h,
                                double season_phase, double distance_km) noexcept;

/// Mean local time in 0 .. 24. [h]
[[nodiscard]] double local_time_h(double lon_deg, double t_unix_s) noexcept;

// ---------------------------------------------------------------- D region

/// Exponential electron density N(z) = 1.43e13 exp(-0.15 h') exp((beta - 0.15)(z - h')). [1/m^3]
/// Source: Wait and Spies, NBS Technical Note 300 (1964) [read as quoted].
struct DProfile {
    double h_prime_km;
    double beta_per_km;
};

/// Quiet profile under a sun at the zenith angle: 71 km and 0.39/km at 0 deg, 77 km and 0.33/km at
/// 80 deg, 86 km and 0.50/km from 99 deg on, where the ground hides the sun from 80 km. [own] Both
/// follow the logarithm of a softened cosine (a Chapman layer rises with ln sec) by day and a blend
/// over 82 .. 99 deg. Source of the three pairs: VLF measurements of Thomson, McRae and others
/// [memory; h' by day 71 to 77, night 85 to 87].
[[nodiscard]] DProfile quiet_d_profile(double zenith_deg) noexcept;

/// D region of one place and instant, prepared once and asked for many rays.
///
/// Appleton-Hartree absorption, quasi-longitudinal and nondeviative:
/// L = 4.6105e-5 int N nu / (nu^2 + (w +- wL)^2) ds over 55 .. 95 km, nu = 1.816e11 exp(-0.15 z)
/// (Wait and Spies 1964 [read as quoted]), on the sphere (the secant changes with height). Gauss's
/// rule with 12 points: relative error below 1e-5 for 0.5 .. 40 MHz at all elevations.
///
/// What it leaves out: everything above 95 km, hence the deviative loss near the turning point and
/// the E region. Two crossings give 6 dB at 6 MHz, noon, overhead, where a fit to measurements
/// gives 13 dB: fit one scale factor to the listener's log. The profile is valid over about
/// 60 .. 90 km.
class DRegion {
  public:
    explicit DRegion(const DProfile& profile) noexcept;

    /// Quiet profile, and on top what a flare adds: h' falls by 4.85 km per decade of flux above
    /// 1e-6 W/m^2 and beta grows by up to 0.13/km ([memory: McRae and Thomson 2004, 58 km and
    /// 0.52/km at 5e-4]), fading with the sun over 82 .. 99 deg. Such a profile means nothing
    /// higher up, so the added density is kept below 1e10 per m^3 [own: chosen so that at C1 and M1
    /// the excess agrees with flare_db within 35 % at 3 .. 15 MHz; at X1 it is up to 1.8 times as
    /// large]. Use the flux here or flare_db, never both.
    /// @param zenith_deg  0 .. 180. [deg]
    /// @param xray_w_m2   solar flux at 0.1 .. 0.8 nm; 0 or below: quiet. [W/m^2]
    explicit DRegion(double zenith_deg, double xray_w_m2 = 0.0) noexcept;

    /// Loss of one crossing. [dB]
    /// @param freq_mhz               wave, above 0. [MHz]
    /// @param gyro_longitudinal_mhz  gyrofrequency times the cosine of the angle between ray and
    ///                               field: positive for the O wave, negative for the X wave. [MHz]
    /// @param cos_elevation          cosine of the elevation at the ground, 0 .. 1.
    [[nodiscard]] double loss_db(double freq_mhz, double gyro_longitudinal_mhz,
                                 double cos_elevation) const noexcept;

    static constexpr std::size_t kHalf_count = 6;

  private:
    // of each height: density x frequency of collisions x weight of the quadrature
    std::array<double, 2 * kHalf_count> weighted_{};
};

/// One crossing without preparation, arguments as above. [dB]
[[nodiscard]] inline double d_region_db(double freq_mhz, double gyro_longitudinal_mhz,
                                        double zenith_deg, double cos_elevation,
                                        double xray_w_m2 = 0.0) noexcept {
    return DRegion(zenith_deg, xray_w_m2).loss_db(freq_mhz, gyro_longitudinal_mhz, cos_elevation);
}

// ---------------------------------------------------------------- disturbances

/// Height at which flare and polar-cap losses take their secant. [km] [own]
inline constexpr double kHeightD_km = 75.0;

/// Loss of one D crossing added by a solar flare: (HAF/f)^1.5 sec i, HAF = (10 log10 F + 65)
/// cos^0.75(chi) MHz. 0 below 3.2e-7 W/m^2 and from chi = 90 deg on, without a kink. [dB]
/// Source: documentation of the D-region absorption product of NOAA [memory].
/// @param xray_w_m2  solar flux at 0.1 .. 0.8 nm (M1 is 1e-5). [W/m^2]
[[nodiscard]] double flare_db(double freq_mhz, double xray_w_m2, double zenith_deg,
                              double cos_elevation) noexcept;

/// Loss of one D crossing by solar protons over a polar cap. At 30 MHz and overhead 0.115 sqrt(J of
/// more than 5.2 MeV) by day, 0.020 sqrt(J of more than 2.2 MeV) by night; times (30/f)^1.5 sec i.
/// [dB] Source: same [memory]. Day and night are blended over 80 .. 100 deg of zenith, the edge of
/// the cap over 58 .. 66 deg of geomagnetic latitude [own: it is near 65 deg when the field is
/// quiet and moves towards the equator in storms, [practice]].
/// @param flux_2_pfu, flux_5_pfu  protons of more than 2.2 and 5.2 MeV; below 0 counts as 0.
///                                [1/(cm^2 s sr)]
[[nodiscard]] double polar_cap_db(double freq_mhz, double flux_2_pfu, double flux_5_pfu,
                                  double zenith_deg, double geomagnetic_lat_deg,
                                  double cos_elevation) noexcept;

/// Factor on foF2 in a geomagnetic storm: 1 up to Kp 4, falling to 0.75 at Kp 9 beyond 50 deg of
/// modip, 1 within 30 deg. A proxy [own]; 5 to 30 % after Kp 6 at middle and high modip is common
/// practice, no source. It knows no positive phase and no recovery: give it the largest Kp of the
/// last day.
[[nodiscard]] double storm_factor(double kp, double modip_deg) noexcept;

// ---------------------------------------------------------------- ground

/// What the ground is, electrically.
struct Ground {
    double permittivity_ratio;
    double conductivity_s_m;
};
inline constexpr Ground kSea = {80.0, 5.0};     // [practice; near ITU-R P.527, memory]
inline constexpr Ground kLand = {15.0, 0.005};  // [practice; average land]

/// Share of the power that a flat ground reflects, mean of both polarisations. 1 at grazing.
/// Source: Fresnel's formulas, any textbook of electromagnetics.
/// @param sin_elevation  -1 .. 1; below 0 counts as 0.
[[nodiscard]] double reflected_share(const Ground& ground, double freq_mhz,
                                     double sin_elevation) noexcept;

/// Loss of one reflection between two hops, over a mixture of sea and land: powers in proportion.
/// Smooth ground; hills, ice and cities are not in it. [dB]
/// @param sea_share  0 .. 1.
[[nodiscard]] double ground_reflection_db(double freq_mhz, double sin_elevation,
                                          double sea_share) noexcept;

/// Where the sea is, seen with the blur of a sky wave's reflection: the share of sea within 100 km
/// of a place. Immutable; looks at no polygon once it stands.
///
/// The outline is read on a raster of 0.25 deg, averaged over spherical caps of 100 km about the
/// points of a 0.5 deg grid, and interpolated linearly between those: continuous, also over the
/// poles and the antimeridian. Lakes are what the outline makes of them.
class Land {
  public:
    static constexpr double kRadius_km = 100.0;

    /// @param land  what lies in any of the regions is land. About a million look-ups.
    explicit Land(const zone::Regions& land);

    /// @param lat_deg  held beyond the poles. @param lon_deg  any turn. NaN or infinity gives NaN.
    /// @return 0 (land) .. 1 (sea).
    [[nodiscard]] double sea_share(double lat_deg, double lon_deg) const noexcept;
    /// The same over n places. @throws InputError on unequal lengths or a latitude beyond +-90.
    void sea_share(std::span<const double> lat_deg, std::span<const double> lon_deg,
                   std::span<double> share) const;

  private:
    std::vector<float> sea_;  // rows from the south pole, columns from -180 deg
};

// ---------------------------------------------------------------- days within the month

/// How far the power of single days lies from the monthly median, both positive. [dB]
struct Deciles {
    double lower_db;
    double upper_db;
};
/// Day-to-day deciles against the ratio of frequency to basic MUF, linear between the columns of
/// the table, held outside 0.8 .. 5; the two classes of latitude blended over 55 .. 65 deg [own].
/// Where the day-to-day MUF is modelled by itself, ask for a ratio of 0.8 or below, else its
/// spread counts twice [own]. Source: ITU-R P.842 [memory].
/// @param geomagnetic_lat_deg  largest of the path, either sign. [deg]
[[nodiscard]] Deciles day_deciles(double freq_over_muf_ratio, double geomagnetic_lat_deg) noexcept;

}  // namespace farhear::losses
