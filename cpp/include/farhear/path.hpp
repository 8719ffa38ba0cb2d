#pragma once
// Paths between two places: exact on the WGS84 ellipsoid for what is shown, quick on the sphere of
// the sky-wave equations for what is computed.
//
// Conventions of the whole file. Latitude before longitude, north and east positive. Latitudes
// beyond +-90 and longitudes outside [-180, 360] are refused with InputError by every function that
// is not noexcept. NaN means missing: NaN in any argument gives NaN in every result of that
// element. Returned longitudes lie in (-180, 180], returned azimuths in [0, 360), clockwise from
// north.

#include <span>

namespace farhear::path {

/// Radius of the sphere of the sky-wave equations (ITU-R practice: R0 = 6371 km). [km]
inline constexpr double kEarthRadius_km = 6371.0;

struct Point {
    double lat_deg;
    double lon_deg;
};

/// Ellipsoid of revolution.
struct Ellipsoid {
    double equatorial_radius_km;
    double flattening;  ///< 1 - polar/equatorial radius. [ratio]
};

/// WGS84 (NIMA TR8350.2, 3rd edition, table 3.1, table number from memory: a = 6378137 m, 1/f =
/// 298.257223563).
inline constexpr Ellipsoid kWgs84{6378.137, 1.0 / 298.257223563};

/// Shortest line between points 1 and 2.
struct Inverse {
    double distance_km;  ///< length. [km]
    double azimuth_deg;  ///< direction at point 1 towards point 2. [deg]
    /// direction at point 2 towards point 1: where the receiver's antenna looks. [deg]
    /// (The "forward azimuth at 2" of geodesy tables differs from it by 180.)
    double back_azimuth_deg;
};

// ---- WGS84 ellipsoid
// -----------------------------------------------------------------------------

/// Shortest line on WGS84. Slow, 6 to 10 us a call: for what is shown, not for loops.
/// Accuracy: 0.1 um in distance against GeographicLib, near-antipodal points included.
/// Coincident points: distance 0, azimuth 0, back azimuth 180 (a convention: there is no
/// direction). At a pole the azimuth is counted from the meridian of the given longitude. Exactly
/// antipodal points: of the equally short lines the one over the pole nearer to point 1, from the
/// equator over the north pole.
/// @throws InputError on a place out of range.
/// Source: C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87 (2013) 43-55, through
/// Boost.Geometry, series of order 6.
[[nodiscard]] Inverse inverse(double lat1_deg, double lon1_deg, double lat2_deg, double lon2_deg);

/// The same over n elements; outputs have the length of the inputs.
/// @throws InputError on unequal lengths or a place out of range (names the first).
void inverse(std::span<const double> lat1_deg, std::span<const double> lon1_deg,
             std::span<const double> lat2_deg, std::span<const double> lon2_deg,
             std::span<double> distance_km, std::span<double> azimuth_deg,
             std::span<double> back_azimuth_deg);

/// The same on another ellipsoid.
/// @throws InputError on a place out of range, a radius that is not positive, or a flattening
/// outside [0, 0.02] (the series is not checked beyond).
[[nodiscard]] Inverse inverse_on(const Ellipsoid& ellipsoid, double lat1_deg, double lon1_deg,
                                 double lat2_deg, double lon2_deg);

/// Point reached on WGS84 from a start, along an azimuth, after a distance (negative runs
/// backwards). Accuracy: 1e-11 deg against GeographicLib. About 0.5 us a call.
/// @throws InputError on a place out of range, an azimuth outside [-360, 360] or a distance outside
/// [-100000, 100000] km.
/// Source: as inverse().
[[nodiscard]] Point direct(double lat_deg, double lon_deg, double azimuth_deg, double distance_km);

/// The same over n elements. `back_azimuth_deg` is the direction at the end towards the start.
void direct(std::span<const double> lat_deg, std::span<const double> lon_deg,
            std::span<const double> azimuth_deg, std::span<const double> distance_km,
            std::span<double> out_lat_deg, std::span<double> out_lon_deg,
            std::span<double> back_azimuth_deg);

/// The end of a line: where, and the direction back to the start.
struct Direct {
    Point point;
    double back_azimuth_deg;
};

/// The same on another ellipsoid, with the direction back.
[[nodiscard]] Direct direct_on(const Ellipsoid& ellipsoid, double lat_deg, double lon_deg,
                               double azimuth_deg, double distance_km);

// ---- sphere
// --------------------------------------------------------------------------------------

/// Unit vector from the centre: x to (0, 0), y to (0, 90 E), z to the north pole.
struct Vector {
    double x;
    double y;
    double z;
};

/// Unit vector of a place, any angles within 1e6 deg; exact at multiples of 90 deg.
[[nodiscard]] Vector unit_vector(double lat_deg, double lon_deg) noexcept;

/// Place of a vector (length does not matter). At the poles and for the zero vector the longitude
/// is 0; the zero vector has latitude 0.
[[nodiscard]] Point to_point(const Vector& v) noexcept;

/// Angle between two vectors, atan2(|a x b|, a.b): full accuracy at 0 and at pi. [rad, 0 .. pi]
[[nodiscard]] double central_angle_rad(const Vector& a, const Vector& b) noexcept;

/// Unit vector at `fraction` of the great circle from a to b (0 = a, 1 = b); long_path goes the
/// other way round (length 2 pi minus the central angle). Fractions outside [0, 1] run on, to
/// +-1e4. No direction is given by the ends themselves when they coincide or are antipodal (to
/// 1e-12 rad): then the line leaves a northwards (at the poles: along the Greenwich meridian), and
/// with long_path southwards. So coincident ends: short path stays at a, long path is the whole
/// meridian circle; antipodal ends: a half circle over the north pole, or over the south pole.
/// Source: own form of the spherical linear interpolation, a cos(s) + t sin(s) with t the unit
/// tangent at a, which does not lose accuracy near pi.
[[nodiscard]] Vector along(const Vector& a, const Vector& b, double fraction,
                           bool long_path) noexcept;

/// along() between places.
/// @throws InputError on a place out of range.
[[nodiscard]] Point sphere_point(double lat1_deg, double lon1_deg, double lat2_deg, double lon2_deg,
                                 double fraction, bool long_path);

/// along() over n elements; long_path holds for all.
/// @throws InputError on unequal lengths or a place out of range (names the first).
void sphere_points(std::span<const double> lat1_deg, std::span<const double> lon1_deg,
                   std::span<const double> lat2_deg, std::span<const double> lon2_deg,
                   std::span<const double> fraction, bool long_path, std::span<double> out_lat_deg,
                   std::span<double> out_lon_deg);

/// Distance on the sphere of radius kEarthRadius_km and azimuth at point 1, over n elements. For
/// hot loops; against WGS84 the distance is off by up to 0.6 %. Absolute error of the arithmetic:
/// 1e-9 km and, away from coincident and antipodal points, 1e-11 deg. Coincident points: 0 and 0.
/// Antipodal points (to 1e-14 rad): azimuth 0. At a pole the azimuth is counted from the meridian
/// of the given longitude. The same bits on every x86-64 processor.
/// @throws InputError on unequal lengths or a place out of range (names the first).
/// Source: plain spherical trigonometry, atan2 forms.
void sphere(std::span<const double> lat1_deg, std::span<const double> lon1_deg,
            std::span<const double> lat2_deg, std::span<const double> lon2_deg,
            std::span<double> distance_km, std::span<double> azimuth_deg);

}  // namespace farhear::path
