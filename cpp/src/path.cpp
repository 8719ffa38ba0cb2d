#include "farhear/path.hpp"

#include <boost/geometry/core/radius.hpp>
#include <boost/geometry/formulas/karney_direct.hpp>
#include <boost/geometry/formulas/karney_inverse.hpp>
#include <boost/geometry/srs/spheroid.hpp>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <string_view>

#include "checks.hpp"
#include "vector_math.hpp"

namespace farhear::path {

namespace {

using Spheroid = boost::geometry::srs::spheroid<double>;

// Series of order 6, as in the paper: on WGS84 order 8 gives the same bits and takes longer.
constexpr std::size_t kOrder = 6;
// Reduced length and scale are asked for although nobody reads them: without the first, Boost 1.74
// gives its Newton iteration a derivative it never computed (lambda12 calls meridian_length, which
// then leaves it unset), and the answer hangs on what lay on the stack.
using KarneyInverse =
    boost::geometry::formula::karney_inverse<double, true, true, true, true, true, kOrder>;
using KarneyDirect =
    boost::geometry::formula::karney_direct<double, true, true, false, false, kOrder>;

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kMetre_per_km = 1000.0;

Spheroid spheroid(const Ellipsoid& e) {
    const double a_m = e.equatorial_radius_km * kMetre_per_km;
    return {a_m, a_m * (1.0 - e.flattening)};
}

void check_ellipsoid(const Ellipsoid& e) {
    if (!(e.equatorial_radius_km > 0.0) || !std::isfinite(e.equatorial_radius_km)) {
        throw InputError("equatorial_radius_km = " + checks::text(e.equatorial_radius_km) +
                         " is not a positive length");
    }
    const bool round_enough = e.flattening >= 0.0 && e.flattening <= 0.02;  // false for NaN
    if (!round_enough) {
        throw InputError("flattening = " + checks::text(e.flattening) + " is outside [0, 0.02]");
    }
}

void check_latitude(std::string_view name, std::span<const double> lat_deg) {
    checks::within(name, lat_deg, -90.0, 90.0);
}
void check_longitude(std::string_view name, std::span<const double> lon_deg) {
    checks::within(name, lon_deg, -180.0, 360.0);
}
void check_ends(std::span<const double> lat1_deg, std::span<const double> lon1_deg,
                std::span<const double> lat2_deg, std::span<const double> lon2_deg) {
    checks::same_length("lon1_deg", lon1_deg.size(), lat1_deg.size());
    checks::same_length("lat2_deg", lat2_deg.size(), lat1_deg.size());
    checks::same_length("lon2_deg", lon2_deg.size(), lat1_deg.size());
    check_latitude("lat1_deg", lat1_deg);
    check_longitude("lon1_deg", lon1_deg);
    check_latitude("lat2_deg", lat2_deg);
    check_longitude("lon2_deg", lon2_deg);
}
void check_ends(const double& lat1_deg, const double& lon1_deg, const double& lat2_deg,
                const double& lon2_deg) {
    check_ends({&lat1_deg, 1}, {&lon1_deg, 1}, {&lat2_deg, 1}, {&lon2_deg, 1});
}
void check_start(std::span<const double> lat_deg, std::span<const double> lon_deg,
                 std::span<const double> azimuth_deg, std::span<const double> distance_km) {
    checks::same_length("lon_deg", lon_deg.size(), lat_deg.size());
    checks::same_length("azimuth_deg", azimuth_deg.size(), lat_deg.size());
    checks::same_length("distance_km", distance_km.size(), lat_deg.size());
    check_latitude("lat_deg", lat_deg);
    check_longitude("lon_deg", lon_deg);
    checks::within("azimuth_deg", azimuth_deg, -360.0, 360.0);
    checks::within("distance_km", distance_km, -1e5, 1e5);
}

/// (-360, 360] to [0, 360), without a negative zero.
double azimuth_0_360(double azimuth_deg) {
    const double turned = azimuth_deg < 0.0 ? azimuth_deg + 360.0 : azimuth_deg;
    return (turned >= 360.0 ? turned - 360.0 : turned) + 0.0;
}

/// The angle, or 0 for a subnormal one, which keeps too few digits for the formulas' unit vectors:
/// 16 mm off along the equator, or an azimuth wrong by a right angle beside a pole.
double settled(double angle_deg) {
    constexpr double kNone_deg = 1e-290;
    return std::abs(angle_deg) < kNone_deg ? 0.0 : angle_deg;
}

Inverse solve_inverse(const Spheroid& s, double lat1_deg, double lon1_deg, double lat2_deg,
                      double lon2_deg) {
    if (std::isnan(lat1_deg + lon1_deg + lat2_deg + lon2_deg)) {
        return {kNan, kNan, kNan};
    }
    const auto r = KarneyInverse::apply(settled(lon1_deg), settled(lat1_deg), settled(lon2_deg),
                                        settled(lat2_deg), s);
    if (r.distance == 0.0) {
        return {0.0, 0.0, 180.0};
    }
    return {r.distance / kMetre_per_km, azimuth_0_360(r.azimuth),
            azimuth_0_360(r.reverse_azimuth + 180.0)};
}

Direct solve_direct(const Spheroid& s, double lat_deg, double lon_deg, double azimuth_deg,
                    double distance_km) {
    if (std::isnan(lat_deg + lon_deg + azimuth_deg + distance_km)) {
        return {{kNan, kNan}, kNan};
    }
    // At the pole itself the formula forgets the azimuth: step 1.6 nm off.
    static const double kBelow_pole_deg = std::nextafter(90.0, 0.0);
    const double lat = std::fmin(std::fmax(settled(lat_deg), -kBelow_pole_deg), kBelow_pole_deg);
    const auto r =
        KarneyDirect::apply(settled(lon_deg), lat, distance_km * kMetre_per_km, azimuth_deg, s);
    const double lon = r.lon2 <= -180.0 ? 180.0 : r.lon2;
    return {{r.lat2 + 0.0, lon}, azimuth_0_360(r.reverse_azimuth + 180.0)};
}

/// Sine and cosine of an angle in degrees, |x_deg| < 1e6: exact at the multiples of 90.
FARHEAR_INLINE vector_math::SinCos sincos_deg(double x_deg) {
    constexpr double kRound = 6755399441055744.0;  // 1.5 * 2^52: adding it rounds to an integer
    const double shifted = x_deg * (1.0 / 90.0) + kRound;
    const auto quadrant = std::bit_cast<std::uint64_t>(shifted);
    const double rest_deg = x_deg - 90.0 * (shifted - kRound);  // exact
    const auto [s, c] = vector_math::sincos(rest_deg * vector_math::kRad_per_deg);
    const std::uint64_t swap = 0ULL - (quadrant & 1ULL);
    const auto s_bits = std::bit_cast<std::uint64_t>(s);
    const auto c_bits = std::bit_cast<std::uint64_t>(c);
    const std::uint64_t sin_sign = (quadrant & 2ULL) << 62U;
    const std::uint64_t cos_sign = ((quadrant + 1ULL) & 2ULL) << 62U;
    return {std::bit_cast<double>(((s_bits & ~swap) | (c_bits & swap)) ^ sin_sign),
            std::bit_cast<double>(((c_bits & ~swap) | (s_bits & swap)) ^ cos_sign)};
}

FARHEAR_INLINE Vector to_vector(double lat_deg, double lon_deg) {
    const auto lat = sincos_deg(lat_deg);
    const auto lon = sincos_deg(lon_deg);
    return {lat.cos * lon.cos, lat.cos * lon.sin, lat.sin};
}

FARHEAR_INLINE Point to_place(const Vector& v) {
    const double across = std::sqrt(v.x * v.x + v.y * v.y);
    const double lat_deg = vector_math::atan2(v.z, across) * vector_math::kDeg_per_rad;
    const double lon_deg = vector_math::atan2(v.y, v.x) * vector_math::kDeg_per_rad;
    const double inside_deg = lon_deg <= -180.0 ? 180.0 : lon_deg;
    return {lat_deg + 0.0, (across == 0.0 ? 0.0 : inside_deg) + 0.0};
}

FARHEAR_INLINE double dot(const Vector& a, const Vector& b) {
    return a.x * b.x + a.y * b.y + a.z * b.z;
}
FARHEAR_INLINE Vector cross(const Vector& a, const Vector& b) {
    return {a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}

FARHEAR_INLINE Vector go_along(const Vector& a, const Vector& b, double fraction,
                               double long_path) {
    constexpr double kNo_direction_rad = 1e-12;
    const Vector normal = cross(a, b);
    const double sine = std::sqrt(dot(normal, normal));
    const double angle_rad = vector_math::atan2(sine, dot(a, b));
    const Vector towards_b = cross(normal, a);
    // northwards at a; at the poles the Greenwich meridian
    const double level = std::sqrt(a.x * a.x + a.y * a.y);
    const bool at_pole = level < kNo_direction_rad;
    const Vector north{at_pole ? 1.0 : -a.x * a.z, at_pole ? 0.0 : -a.y * a.z,
                       at_pole ? 0.0 : level * level};
    const bool no_direction = sine < kNo_direction_rad;
    const Vector t{no_direction ? north.x : towards_b.x, no_direction ? north.y : towards_b.y,
                   no_direction ? north.z : towards_b.z};
    const double per_length = 1.0 / std::sqrt(dot(t, t));
    const double short_rad = angle_rad * fraction;
    const double long_rad = (angle_rad - 2.0 * std::numbers::pi) * fraction;
    const auto [s, c] = vector_math::sincos(long_path != 0.0 ? long_rad : short_rad);
    const double k = s * per_length;
    return {a.x * c + t.x * k, a.y * c + t.y * k, a.z * c + t.z * k};
}

FARHEAR_CLONES void sphere_points_kernel(const double* __restrict lat1_deg,
                                         const double* __restrict lon1_deg,
                                         const double* __restrict lat2_deg,
                                         const double* __restrict lon2_deg,
                                         const double* __restrict fraction, double long_path,
                                         double* __restrict out_lat_deg,
                                         double* __restrict out_lon_deg, std::size_t n) {
    for (std::size_t i = 0; i < n; ++i) {
        const Vector a = to_vector(lat1_deg[i], lon1_deg[i]);
        const Vector b = to_vector(lat2_deg[i], lon2_deg[i]);
        const Point p = to_place(go_along(a, b, fraction[i], long_path));
        // a missing place or fraction must not hide behind a pole or a missing direction
        const double missing =
            0.0 * (lat1_deg[i] + lon1_deg[i] + lat2_deg[i] + lon2_deg[i] + fraction[i]);
        out_lat_deg[i] = p.lat_deg + missing;
        out_lon_deg[i] = p.lon_deg + missing;
    }
}

FARHEAR_CLONES void sphere_kernel(const double* __restrict lat1_deg,
                                  const double* __restrict lon1_deg,
                                  const double* __restrict lat2_deg,
                                  const double* __restrict lon2_deg, double* __restrict distance_km,
                                  double* __restrict azimuth_deg, std::size_t n) {
    for (std::size_t i = 0; i < n; ++i) {
        const auto lat1 = sincos_deg(lat1_deg[i]);
        const auto lat2 = sincos_deg(lat2_deg[i]);
        const auto dlat = sincos_deg(lat2_deg[i] - lat1_deg[i]);
        const auto half = sincos_deg(0.5 * (lon2_deg[i] - lon1_deg[i]));
        // 1 - cos dlon, so that nothing cancels between close points
        const double versine = 2.0 * half.sin * half.sin;
        const double east = lat2.cos * (2.0 * half.sin * half.cos);
        const double north = dlat.sin + lat1.sin * lat2.cos * versine;
        const double along = dlat.cos - lat1.cos * lat2.cos * versine;
        const double across = std::sqrt(east * east + north * north);
        distance_km[i] = kEarthRadius_km * vector_math::atan2(across, along);
        const double azimuth = vector_math::atan2(east, north) * vector_math::kDeg_per_rad;
        const double turned = azimuth < 0.0 ? azimuth + 360.0 : azimuth;
        const bool antipodal = across < 1e-14 && along < 0.0;
        azimuth_deg[i] = (turned >= 360.0 || antipodal ? 0.0 : turned) + 0.0;
    }
}

}  // namespace

Inverse inverse_on(const Ellipsoid& ellipsoid, double lat1_deg, double lon1_deg, double lat2_deg,
                   double lon2_deg) {
    check_ellipsoid(ellipsoid);
    check_ends(lat1_deg, lon1_deg, lat2_deg, lon2_deg);
    return solve_inverse(spheroid(ellipsoid), lat1_deg, lon1_deg, lat2_deg, lon2_deg);
}

Inverse inverse(double lat1_deg, double lon1_deg, double lat2_deg, double lon2_deg) {
    check_ends(lat1_deg, lon1_deg, lat2_deg, lon2_deg);
    return solve_inverse(spheroid(kWgs84), lat1_deg, lon1_deg, lat2_deg, lon2_deg);
}

void inverse(std::span<const double> lat1_deg, std::span<const double> lon1_deg,
             std::span<const double> lat2_deg, std::span<const double> lon2_deg,
             std::span<double> distance_km, std::span<double> azimuth_deg,
             std::span<double> back_azimuth_deg) {
    check_ends(lat1_deg, lon1_deg, lat2_deg, lon2_deg);
    checks::same_length("distance_km", distance_km.size(), lat1_deg.size());
    checks::same_length("azimuth_deg", azimuth_deg.size(), lat1_deg.size());
    checks::same_length("back_azimuth_deg", back_azimuth_deg.size(), lat1_deg.size());
    const Spheroid wgs84 = spheroid(kWgs84);
    for (std::size_t i = 0; i < lat1_deg.size(); ++i) {
        const Inverse r = solve_inverse(wgs84, lat1_deg[i], lon1_deg[i], lat2_deg[i], lon2_deg[i]);
        distance_km[i] = r.distance_km;
        azimuth_deg[i] = r.azimuth_deg;
        back_azimuth_deg[i] = r.back_azimuth_deg;
    }
}

Direct direct_on(const Ellipsoid& ellipsoid, double lat_deg, double lon_deg, double azimuth_deg,
                 double distance_km) {
    check_ellipsoid(ellipsoid);
    check_start({&lat_deg, 1}, {&lon_deg, 1}, {&azimuth_deg, 1}, {&distance_km, 1});
    return solve_direct(spheroid(ellipsoid), lat_deg, lon_deg, azimuth_deg, distance_km);
}

Point direct(double lat_deg, double lon_deg, double azimuth_deg, double distance_km) {
    return direct_on(kWgs84, lat_deg, lon_deg, azimuth_deg, distance_km).point;
}

void direct(std::span<const double> lat_deg, std::span<const double> lon_deg,
            std::span<const double> azimuth_deg, std::span<const double> distance_km,
            std::span<double> out_lat_deg, std::span<double> out_lon_deg,
            std::span<double> back_azimuth_deg) {
    check_start(lat_deg, lon_deg, azimuth_deg, distance_km);
    checks::same_length("out_lat_deg", out_lat_deg.size(), lat_deg.size());
    checks::same_length("out_lon_deg", out_lon_deg.size(), lat_deg.size());
    checks::same_length("back_azimuth_deg", back_azimuth_deg.size(), lat_deg.size());
    const Spheroid wgs84 = spheroid(kWgs84);
    for (std::size_t i = 0; i < lat_deg.size(); ++i) {
        const Direct r =
            solve_direct(wgs84, lat_deg[i], lon_deg[i], azimuth_deg[i], distance_km[i]);
        out_lat_deg[i] = r.point.lat_deg;
        out_lon_deg[i] = r.point.lon_deg;
        back_azimuth_deg[i] = r.back_azimuth_deg;
    }
}

Vector unit_vector(double lat_deg, double lon_deg) noexcept { return to_vector(lat_deg, lon_deg); }

Point to_point(const Vector& v) noexcept { return to_place(v); }

double central_angle_rad(const Vector& a, const Vector& b) noexcept {
    const Vector normal = cross(a, b);
    return vector_math::atan2(std::sqrt(dot(normal, normal)), dot(a, b));
}

Vector along(const Vector& a, const Vector& b, double fraction, bool long_path) noexcept {
    return go_along(a, b, fraction, long_path ? 1.0 : 0.0);
}

Point sphere_point(double lat1_deg, double lon1_deg, double lat2_deg, double lon2_deg,
                   double fraction, bool long_path) {
    Point p{};
    sphere_points({&lat1_deg, 1}, {&lon1_deg, 1}, {&lat2_deg, 1}, {&lon2_deg, 1}, {&fraction, 1},
                  long_path, {&p.lat_deg, 1}, {&p.lon_deg, 1});
    return p;
}

void sphere_points(std::span<const double> lat1_deg, std::span<const double> lon1_deg,
                   std::span<const double> lat2_deg, std::span<const double> lon2_deg,
                   std::span<const double> fraction, bool long_path, std::span<double> out_lat_deg,
                   std::span<double> out_lon_deg) {
    check_ends(lat1_deg, lon1_deg, lat2_deg, lon2_deg);
    checks::same_length("fraction", fraction.size(), lat1_deg.size());
    checks::within("fraction", fraction, -1e4, 1e4);
    checks::same_length("out_lat_deg", out_lat_deg.size(), lat1_deg.size());
    checks::same_length("out_lon_deg", out_lon_deg.size(), lat1_deg.size());
    sphere_points_kernel(lat1_deg.data(), lon1_deg.data(), lat2_deg.data(), lon2_deg.data(),
                         fraction.data(), long_path ? 1.0 : 0.0, out_lat_deg.data(),
                         out_lon_deg.data(), lat1_deg.size());
}

void sphere(std::span<const double> lat1_deg, std::span<const double> lon1_deg,
            std::span<const double> lat2_deg, std::span<const double> lon2_deg,
            std::span<double> distance_km, std::span<double> azimuth_deg) {
    check_ends(lat1_deg, lon1_deg, lat2_deg, lon2_deg);
    checks::same_length("distance_km", distance_km.size(), lat1_deg.size());
    checks::same_length("azimuth_deg", azimuth_deg.size(), lat1_deg.size());
    sphere_kernel(lat1_deg.data(), lon1_deg.data(), lat2_deg.data(), lon2_deg.data(),
                  distance_km.data(), azimuth_deg.data(), lat1_deg.size());
}

}  // namespace farhear::path
