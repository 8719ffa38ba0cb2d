#pragma once
// Where the sun stands, when it crosses an angle, and where on Earth it stands at one.
//
// All angles are geometric and seen from the centre of the Earth: no refraction, no parallax. The
// apparent sun at the horizon stands about 0.57 deg higher; the 90.833 deg of sunrise holds that
// and the half disc. Latitude is geodetic, north and east positive.
//
// Time is UTC, taken as universal time (UT1 differs by less than 0.9 s, that is 0.004 deg) and as
// the argument of the sun's longitude (terrestrial time is 69 s ahead in 2020: 0.0008 deg).
//
// Error bound: 0.02 deg in zenith angle and in azimuth times sin(zenith), 1990-2035. Found over
// 2,000 random points against the DE421 ephemeris, topocentric: 0.015 deg (rms 0.004). Against NREL
// SPA 0.012 deg in 1900 and 0.008 deg in 2100.
//
// Source: J. Meeus, Astronomical Algorithms, 2nd ed., chapter 25, low accuracy (coefficients from
// memory, checked against example 25.a); sidereal time chapter 12. Reduced to terms that matter.

#include <cstddef>
#include <cstdint>
#include <span>

namespace farhear::sun {

/// Radius of the spherical Earth of the twilight geometry. [km]
inline constexpr double kEarth_radius_km = 6371.0;
/// Zenith angle of the sun's centre at sunrise and sunset on the ground: 34' of refraction and 16'
/// of half disc. Common practice (NOAA and almanacs). [deg]
inline constexpr double kHorizon_zenith_deg = 90.833;

/// The sun over the turning Earth at one instant.
struct Subsolar {
    double declination_rad;           ///< latitude of the subsolar point
    double greenwich_hour_angle_rad;  ///< minus its longitude, in (-pi, pi]
    double sin_declination;
    double cos_declination;
};

/// The sun at one instant. NaN gives NaN. Times within 1900-2100; beyond, the angles go astray.
/// Dispatched functions and this one use the same arithmetic: same bits on every machine.
[[nodiscard]] Subsolar subsolar(double t_unix_s) noexcept;

/// Cosine of the zenith angle from terms computed before: those of the sun depend on time only,
/// those of the place on the place only. In [-1, 1] but for rounding. |lon_rad| < 1e6.
[[nodiscard]] double cos_zenith(const Subsolar& sun, double sin_lat, double cos_lat,
                                double lon_rad) noexcept;

/// Zenith angle and azimuth of n (time, place) pairs, all spans of length n.
/// @param zenith_deg   geometric, 0 to 180. [deg]
/// @param azimuth_deg  clockwise from north, 0 <= a < 360; without meaning within rounding of the
///                     zenith and the nadir. At a pole the directions are those of the meridian
///                     lon_deg: a sun over it is at 180 seen from the north pole, at 0 seen from
///                     the south pole. [deg]
/// NaN in time or place gives NaN in both. Both angles come from atan2, so nothing is lost near
/// the zenith. Same bits at every instruction level.
/// @throws InputError on unequal lengths, a latitude beyond +-90, a longitude beyond [-180, 360].
void position(std::span<const double> t_unix_s, std::span<const double> lat_deg,
              std::span<const double> lon_deg, std::span<double> zenith_deg,
              std::span<double> azimuth_deg);

/// The same for every time (nt) at every place (np): element [i * np + j] is time i, place j. Gives
/// the bits of `position` in less time, because the terms of time and place are computed once.
void position_grid(std::span<const double> t_unix_s, std::span<const double> lat_deg,
                   std::span<const double> lon_deg, std::span<double> zenith_deg,
                   std::span<double> azimuth_deg);

/// Zenith angle at which the sun rises or sets for a point at height_km: its ray then grazes the
/// sphere raised by screening_km (the ozone layer and the lower air absorb the rays that heat the
/// D region, so 35 km is in use there). Straight rays, point-like sun; at height 0 it is 90.
/// chi = 90 + acos((R0 + screening) / (R0 + height)). [deg]
/// Source: own, spherical geometry.
/// @throws InputError unless 0 <= screening_km <= height_km <= 1e5. NaN gives NaN.
[[nodiscard]] double zenith_at_height_deg(double height_km, double screening_km = 0.0);
/// The same over n elements; the error names the first bad one.
void zenith_at_height_deg(std::span<const double> height_km, std::span<const double> screening_km,
                          std::span<double> zenith_deg);

/// What a window of time holds.
enum class Occurs : std::uint8_t {
    kYes = 0,          ///< a rise, a set or both
    kAlwaysAbove = 1,  ///< the sun stays above the angle (polar day)
    kAlwaysBelow = 2,  ///< the sun stays below the angle (polar night)
    kMissing = 3,      ///< an input was NaN
};

/// First rise and first set of the sun through a zenith angle in the window [t0, t1), n times.
/// @param t0_unix_s, t1_unix_s  window, 0 < t1 - t0 <= 32 days; usually one local day
/// @param zenith_deg            geometric angle to cross, 0 to 180: kHorizon_zenith_deg or
///                              zenith_at_height_deg(height)
/// @param rise_unix_s           zenith angle falls through it; NaN where none. [s]
/// @param set_unix_s            zenith angle grows through it; NaN where none. [s]
/// @param state                 Occurs of each window. With kYes one of the two may be NaN: near
///                              the borders of polar day and night, or when the local day shifts,
///                              a day can hold only one of them. Of two rises in a window the first
///                              is given; a set may come before a rise.
/// Method: samples every 15 min or less and the refined extremes between them, then a bracketing
/// root finder to 1e-3 s. A dip or peak across the angle that lasts less than about 5 s may be
/// missed. The error of the instant is that of the angle: 0.02 deg is 5 s at the equator, 10 s at
/// 60 deg, minutes where the sun only grazes the angle.
/// @throws InputError on unequal lengths or values out of range.
void events(std::span<const double> t0_unix_s, std::span<const double> t1_unix_s,
            std::span<const double> lat_deg, std::span<const double> lon_deg,
            std::span<const double> zenith_deg, std::span<double> rise_unix_s,
            std::span<double> set_unix_s, std::span<Occurs> state);

/// Line of places where the sun has the zenith angle zenith_deg, one closed line per time: element
/// [i * points + k] is the point in direction 360 k / (points - 1) deg, clockwise from north, as
/// seen from the subsolar point. First and last point agree.
/// @param lat_deg, lon_deg  length t_unix_s.size() * points; longitude in [-180, 180]
/// @throws InputError unless 2 <= points <= 1e6, on unequal lengths, on an angle outside [0, 180].
void terminator(std::span<const double> t_unix_s, std::span<const double> zenith_deg,
                std::size_t points, std::span<double> lat_deg, std::span<double> lon_deg);

}  // namespace farhear::sun
