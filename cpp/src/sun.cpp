#include "farhear/sun.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <vector>

#include "checks.hpp"
#include "farhear/error.hpp"
#include "vector_math.hpp"

namespace farhear::sun {

namespace {

namespace vm = vector_math;

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

// Direction of the sun as a unit vector that turns with the Earth: x to 0 deg N 0 deg E, y to
// 90 deg E, z to the north pole.
struct Direction {
    double x;
    double y;
    double z;
};

struct Place {
    double sin_lat;
    double cos_lat;
    double sin_lon;
    double cos_lon;
};

struct Angles {
    double zenith_deg;
    double azimuth_deg;
};

// Longitude of the sun, obliquity and sidereal time. Letters as in the source of the header.
FARHEAR_INLINE Direction direction(double t_unix_s) {
    const double n_days = t_unix_s * (1.0 / 86400.0) - 10957.5;  // since 2000-01-01 12:00
    const double T = n_days * (1.0 / 36525.0);
    const double L_deg = 280.46646 + T * (36000.76983 + T * 0.0003032);
    const double M_deg = 357.52911 + T * (35999.05029 - T * 0.0001537);
    const double gmst_deg = 280.46061837 + 360.98564736629 * n_days;
    const auto [sin_m, cos_m] = vm::sincos(vm::reduce_deg(M_deg) * vm::kRad_per_deg);
    const double sin_2m = 2.0 * sin_m * cos_m;
    const double sin_3m = sin_m * (3.0 - 4.0 * sin_m * sin_m);
    const double centre_deg =
        (1.914602 - 0.004817 * T) * sin_m + (0.019993 - 0.000101 * T) * sin_2m + 0.000289 * sin_3m;
    const auto [sin_node, cos_node] = vm::sincos((125.04 - 1934.136 * T) * vm::kRad_per_deg);
    const double lambda_deg = vm::reduce_deg(L_deg) + centre_deg - 0.00569 - 0.00478 * sin_node;
    const auto [sin_lambda, cos_lambda] = vm::sincos(lambda_deg * vm::kRad_per_deg);
    // the obliquity is 23.439291 degrees and a little: by the sum of both, the little one by its
    // series, whose next terms are below 2e-17 for two thousand years
    constexpr double kSin_eps = 0.3977771541526823;
    constexpr double kCos_eps = 0.9174820628405731;
    const double more = (0.00256 * cos_node - 0.0130042 * T) * vm::kRad_per_deg;
    const double more2 = more * more;
    const double sin_more = more * (1.0 - more2 * (1.0 / 6.0 - more2 * (1.0 / 120.0)));
    const double cos_more = 1.0 - more2 * (0.5 - more2 * (1.0 / 24.0));
    const double sin_eps = kSin_eps * cos_more + kCos_eps * sin_more;
    const double cos_eps = kCos_eps * cos_more - kSin_eps * sin_more;
    const auto [sin_gmst, cos_gmst] = vm::sincos(vm::reduce_deg(gmst_deg) * vm::kRad_per_deg);
    const double equinox_y = cos_eps * sin_lambda;
    return {
        .x = cos_lambda * cos_gmst + equinox_y * sin_gmst,
        .y = equinox_y * cos_gmst - cos_lambda * sin_gmst,
        .z = sin_eps * sin_lambda,
    };
}

FARHEAR_INLINE Place place(double lat_deg, double lon_deg) {
    const auto [sin_lat, cos_lat] = vm::sincos(lat_deg * vm::kRad_per_deg);
    const auto [sin_lon, cos_lon] = vm::sincos(lon_deg * vm::kRad_per_deg);
    return {.sin_lat = sin_lat, .cos_lat = cos_lat, .sin_lon = sin_lon, .cos_lon = cos_lon};
}

FARHEAR_INLINE double up(const Direction& sun, const Place& at) {
    return at.sin_lat * sun.z + at.cos_lat * (sun.x * at.cos_lon + sun.y * at.sin_lon);
}

FARHEAR_INLINE Angles angles(const Direction& sun, const Place& at) {
    const double along = sun.x * at.cos_lon + sun.y * at.sin_lon;
    const double east = sun.y * at.cos_lon - sun.x * at.sin_lon;
    const double north = sun.z * at.cos_lat - along * at.sin_lat;
    const double height = sun.z * at.sin_lat + along * at.cos_lat;
    const double level = std::sqrt(east * east + north * north);
    const double zenith_deg = vm::atan2(level, height) * vm::kDeg_per_rad;
    const double signed_deg = vm::atan2(east, north) * vm::kDeg_per_rad;
    const double turn_deg = signed_deg < 0.0 ? signed_deg + 360.0 : signed_deg;
    // a negative angle below the rounding of 360 must not give 360 itself
    return {.zenith_deg = zenith_deg, .azimuth_deg = turn_deg == 360.0 ? 0.0 : turn_deg};
}

FARHEAR_CLONES void pairs(const double* __restrict t_unix_s, const double* __restrict lat_deg,
                          const double* __restrict lon_deg, double* __restrict zenith_deg,
                          double* __restrict azimuth_deg, std::size_t n) {
    for (std::size_t i = 0; i < n; ++i) {
        const Angles a = angles(direction(t_unix_s[i]), place(lat_deg[i], lon_deg[i]));
        zenith_deg[i] = a.zenith_deg;
        azimuth_deg[i] = a.azimuth_deg;
    }
}

FARHEAR_CLONES void directions(const double* __restrict t_unix_s, double* __restrict x,
                               double* __restrict y, double* __restrict z, std::size_t n) {
    for (std::size_t i = 0; i < n; ++i) {
        const Direction d = direction(t_unix_s[i]);
        x[i] = d.x;
        y[i] = d.y;
        z[i] = d.z;
    }
}

FARHEAR_CLONES void places(const double* __restrict lat_deg, const double* __restrict lon_deg,
                           double* __restrict sin_lat, double* __restrict cos_lat,
                           double* __restrict sin_lon, double* __restrict cos_lon, std::size_t n) {
    for (std::size_t j = 0; j < n; ++j) {
        const Place p = place(lat_deg[j], lon_deg[j]);
        sin_lat[j] = p.sin_lat;
        cos_lat[j] = p.cos_lat;
        sin_lon[j] = p.sin_lon;
        cos_lon[j] = p.cos_lon;
    }
}

FARHEAR_CLONES void one_time(Direction sun, const double* __restrict sin_lat,
                             const double* __restrict cos_lat, const double* __restrict sin_lon,
                             const double* __restrict cos_lon, double* __restrict zenith_deg,
                             double* __restrict azimuth_deg, std::size_t n) {
    for (std::size_t j = 0; j < n; ++j) {
        const Place at{
            .sin_lat = sin_lat[j],
            .cos_lat = cos_lat[j],
            .sin_lon = sin_lon[j],
            .cos_lon = cos_lon[j],
        };
        const Angles a = angles(sun, at);
        zenith_deg[j] = a.zenith_deg;
        azimuth_deg[j] = a.azimuth_deg;
    }
}

FARHEAR_CLONES void one_place(Place at, const double* __restrict x, const double* __restrict y,
                              const double* __restrict z, double* __restrict zenith_deg,
                              double* __restrict azimuth_deg, std::size_t n) {
    for (std::size_t i = 0; i < n; ++i) {
        const Angles a = angles({.x = x[i], .y = y[i], .z = z[i]}, at);
        zenith_deg[i] = a.zenith_deg;
        azimuth_deg[i] = a.azimuth_deg;
    }
}

FARHEAR_CLONES void cosines(Place at, const double* __restrict t_unix_s, double* __restrict out,
                            std::size_t n) {
    for (std::size_t i = 0; i < n; ++i) {
        out[i] = up(direction(t_unix_s[i]), at);
    }
}

void check_places(std::span<const double> lat_deg, std::span<const double> lon_deg) {
    checks::within("lat_deg", lat_deg, -90.0, 90.0);
    checks::within("lon_deg", lon_deg, -180.0, 360.0);
}

struct Node {
    double t_unix_s;
    double excess;
};

// Cosine of the zenith angle above that of the threshold: positive while the sun is above it.
class Excess {
  public:
    Excess(const Place& at, double threshold_deg)
        : at_(at), threshold_(vm::sincos(threshold_deg * vm::kRad_per_deg).cos) {}
    [[nodiscard]] Node node(double t_unix_s) const {
        return {.t_unix_s = t_unix_s, .excess = up(direction(t_unix_s), at_) - threshold_};
    }
    [[nodiscard]] const Place& at() const { return at_; }
    [[nodiscard]] double threshold() const { return threshold_; }

  private:
    Place at_;
    double threshold_;
};

constexpr double kStep_s = 900.0;
constexpr double kTime_error_s = 1e-3;
// Largest error of the parabola through three samples 15 min apart at its vertex: fourth
// derivative of a cosine, step^4 / 24 = 7.6e-7, rounded up generously.
constexpr double kVertex_error = 1e-5;

bool above(double excess) { return excess >= 0.0; }

// Extreme between the outer of three nodes of which the middle one is the most extreme, by golden
// section to one second: flat there, so the excess is right to 3e-9.
Node extreme(const Excess& excess, const Node& left, const Node& right, double sign) {
    constexpr double kGolden = 0.6180339887498949;
    double a = left.t_unix_s;
    double b = right.t_unix_s;
    Node c = excess.node(b - kGolden * (b - a));
    Node d = excess.node(a + kGolden * (b - a));
    while (b - a > 1.0) {
        if (sign * c.excess > sign * d.excess) {
            b = d.t_unix_s;
            d = c;
            c = excess.node(b - kGolden * (b - a));
        } else {
            a = c.t_unix_s;
            c = d;
            d = excess.node(a + kGolden * (b - a));
        }
    }
    return sign * c.excess > sign * d.excess ? c : d;
}

// Does the curve through three nodes on one side of zero perhaps cross it between them? `sign` is
// +1 for a peak below zero, -1 for a dip above zero.
bool may_cross(double left, double middle, double right, double sign) {
    if (sign * middle < sign * left || sign * middle < sign * right) {
        return false;
    }
    const double curvature = left - 2.0 * middle + right;
    const double slope = 0.5 * (right - left);
    const double vertex = curvature == 0.0 ? middle : middle - 0.5 * slope * slope / curvature;
    return sign * vertex > -kVertex_error;
}

// Crossing inside a bracket by Ridders' method (C. Ridders, IEEE Trans. Circuits Syst. 26 (1979),
// 979-980; citation from memory): exponential fit, keeps the bracket, no derivative.
double crossing(const Excess& excess, Node a, Node b) {
    double found = 0.5 * (a.t_unix_s + b.t_unix_s);
    while (b.t_unix_s - a.t_unix_s > kTime_error_s) {
        const Node m = excess.node(0.5 * (a.t_unix_s + b.t_unix_s));
        const double root = std::sqrt(m.excess * m.excess - a.excess * b.excess);
        if (root == 0.0) {
            return m.t_unix_s;
        }
        const double shift = (m.t_unix_s - a.t_unix_s) * m.excess / root;
        const double next = m.t_unix_s + (above(a.excess) ? shift : -shift);
        const Node r = excess.node(next);
        const double moved = std::abs(next - found);
        found = next;
        if (moved < kTime_error_s || r.excess == 0.0) {
            return found;
        }
        // the two new nodes and the old ends, in order of time: keep the pair that brackets
        const Node first = r.t_unix_s < m.t_unix_s ? r : m;
        const Node second = r.t_unix_s < m.t_unix_s ? m : r;
        if (above(a.excess) != above(first.excess)) {
            b = first;
        } else if (above(first.excess) != above(second.excess)) {
            a = first;
            b = second;
        } else {
            a = second;
        }
    }
    return found;
}

struct Event {
    double rise_unix_s;
    double set_unix_s;
    Occurs state;
};

Event one_window(double t0_unix_s, double t1_unix_s, const Excess& excess,
                 std::vector<double>& times_s, std::vector<double>& values) {
    // one sample beyond either end, so that an extreme near an end has neighbours on both sides
    const auto steps =
        static_cast<std::size_t>(std::max(std::ceil((t1_unix_s - t0_unix_s) / kStep_s), 1.0));
    const double step_s = (t1_unix_s - t0_unix_s) / static_cast<double>(steps);
    const std::size_t n = steps + 3;
    times_s.resize(n);
    values.resize(n);
    for (std::size_t k = 0; k < n; ++k) {
        times_s[k] = t0_unix_s + step_s * (static_cast<double>(k) - 1.0);
    }
    times_s[n - 2] = t1_unix_s;
    cosines(excess.at(), times_s.data(), values.data(), n);
    for (double& value : values) {
        value -= excess.threshold();
    }
    Event event{.rise_unix_s = kNan, .set_unix_s = kNan, .state = Occurs::kYes};
    const auto take = [&](const Node& a, const Node& b) {
        if (above(a.excess) == above(b.excess)) {
            return;
        }
        const bool rises = above(b.excess);
        double& slot = rises ? event.rise_unix_s : event.set_unix_s;
        if (!std::isnan(slot)) {
            return;
        }
        const double t = crossing(excess, a, b);
        if (t >= t0_unix_s && t < t1_unix_s) {
            slot = t;
        }
    };
    Node last{.t_unix_s = times_s[0], .excess = values[0]};
    for (std::size_t k = 1; k < n; ++k) {
        const Node here{.t_unix_s = times_s[k], .excess = values[k]};
        if (k + 1 < n) {
            const Node next{.t_unix_s = times_s[k + 1], .excess = values[k + 1]};
            const double sign = above(here.excess) ? -1.0 : 1.0;
            if (above(last.excess) == above(here.excess) &&
                above(next.excess) == above(here.excess) &&
                may_cross(last.excess, here.excess, next.excess, sign)) {
                const Node peak = extreme(excess, last, next, sign);
                if (above(peak.excess) != above(here.excess)) {
                    take(last, peak);
                    take(peak, next);
                }
            }
        }
        take(last, here);
        last = here;
    }
    if (std::isnan(event.rise_unix_s) && std::isnan(event.set_unix_s)) {
        event.state = above(values[n / 2]) ? Occurs::kAlwaysAbove : Occurs::kAlwaysBelow;
    }
    return event;
}

}  // namespace

Subsolar subsolar(double t_unix_s) noexcept {
    const Direction d = direction(t_unix_s);
    const double cos_declination = std::sqrt(d.x * d.x + d.y * d.y);
    return {
        .declination_rad = vm::atan2(d.z, cos_declination),
        .greenwich_hour_angle_rad = vm::atan2(-d.y, d.x),
        .sin_declination = d.z,
        .cos_declination = cos_declination,
    };
}

double cos_zenith(const Subsolar& sun, double sin_lat, double cos_lat, double lon_rad) noexcept {
    return sin_lat * sun.sin_declination +
           cos_lat * sun.cos_declination * vm::sincos(sun.greenwich_hour_angle_rad + lon_rad).cos;
}

void position(std::span<const double> t_unix_s, std::span<const double> lat_deg,
              std::span<const double> lon_deg, std::span<double> zenith_deg,
              std::span<double> azimuth_deg) {
    const std::size_t n = t_unix_s.size();
    checks::same_length("lat_deg", lat_deg.size(), n);
    checks::same_length("lon_deg", lon_deg.size(), n);
    checks::same_length("zenith_deg", zenith_deg.size(), n);
    checks::same_length("azimuth_deg", azimuth_deg.size(), n);
    check_places(lat_deg, lon_deg);
    pairs(t_unix_s.data(), lat_deg.data(), lon_deg.data(), zenith_deg.data(), azimuth_deg.data(),
          n);
}

void position_grid(std::span<const double> t_unix_s, std::span<const double> lat_deg,
                   std::span<const double> lon_deg, std::span<double> zenith_deg,
                   std::span<double> azimuth_deg) {
    const std::size_t nt = t_unix_s.size();
    const std::size_t np = lat_deg.size();
    checks::same_length("lon_deg", lon_deg.size(), np);
    checks::same_length("zenith_deg", zenith_deg.size(), nt * np);
    checks::same_length("azimuth_deg", azimuth_deg.size(), nt * np);
    check_places(lat_deg, lon_deg);
    constexpr std::size_t kFew = 16;  // below that the inner loop over places is too short
    if (np >= kFew || nt <= np) {
        std::vector<double> terms(4 * np);
        double* const sin_lat = terms.data();
        double* const cos_lat = sin_lat + np;
        double* const sin_lon = cos_lat + np;
        double* const cos_lon = sin_lon + np;
        places(lat_deg.data(), lon_deg.data(), sin_lat, cos_lat, sin_lon, cos_lon, np);
        for (std::size_t i = 0; i < nt; ++i) {
            one_time(direction(t_unix_s[i]), sin_lat, cos_lat, sin_lon, cos_lon,
                     zenith_deg.data() + i * np, azimuth_deg.data() + i * np, np);
        }
        return;
    }
    constexpr std::size_t kBlock = 512;
    std::array<double, kBlock> x{};
    std::array<double, kBlock> y{};
    std::array<double, kBlock> z{};
    std::array<double, kBlock> zenith{};
    std::array<double, kBlock> azimuth{};
    for (std::size_t start = 0; start < nt; start += kBlock) {
        const std::size_t count = std::min(kBlock, nt - start);
        directions(t_unix_s.data() + start, x.data(), y.data(), z.data(), count);
        for (std::size_t j = 0; j < np; ++j) {
            one_place(place(lat_deg[j], lon_deg[j]), x.data(), y.data(), z.data(), zenith.data(),
                      azimuth.data(), count);
            for (std::size_t i = 0; i < count; ++i) {
                zenith_deg[(start + i) * np + j] = zenith[i];
                azimuth_deg[(start + i) * np + j] = azimuth[i];
            }
        }
    }
}

double zenith_at_height_deg(double height_km, double screening_km) {
    double zenith_deg = kNan;
    zenith_at_height_deg({&height_km, 1}, {&screening_km, 1}, {&zenith_deg, 1});
    return zenith_deg;
}

void zenith_at_height_deg(std::span<const double> height_km, std::span<const double> screening_km,
                          std::span<double> zenith_deg) {
    constexpr double kHighest_km = 1e5;
    const std::size_t n = height_km.size();
    checks::same_length("screening_km", screening_km.size(), n);
    checks::same_length("zenith_deg", zenith_deg.size(), n);
    checks::within("height_km", height_km, 0.0, kHighest_km);
    checks::within("screening_km", screening_km, 0.0, kHighest_km);
    for (std::size_t i = 0; i < n; ++i) {
        const double height = height_km[i];
        const double screening = screening_km[i];
        if (screening > height) {
            throw InputError("screening_km = " + checks::text(screening) +
                             " is above height_km = " + checks::text(height));
        }
        // acos(a / b) from its legs: exact to rounding for a height of a metre too
        const double a = kEarth_radius_km + screening;
        const double b = kEarth_radius_km + height;
        zenith_deg[i] =
            90.0 + vm::atan2(std::sqrt((height - screening) * (a + b)), a) * vm::kDeg_per_rad;
    }
}

void events(std::span<const double> t0_unix_s, std::span<const double> t1_unix_s,
            std::span<const double> lat_deg, std::span<const double> lon_deg,
            std::span<const double> zenith_deg, std::span<double> rise_unix_s,
            std::span<double> set_unix_s, std::span<Occurs> state) {
    constexpr double kLongest_s = 32.0 * 86400.0;
    const std::size_t n = t0_unix_s.size();
    checks::same_length("t1_unix_s", t1_unix_s.size(), n);
    checks::same_length("lat_deg", lat_deg.size(), n);
    checks::same_length("lon_deg", lon_deg.size(), n);
    checks::same_length("zenith_deg", zenith_deg.size(), n);
    checks::same_length("rise_unix_s", rise_unix_s.size(), n);
    checks::same_length("set_unix_s", set_unix_s.size(), n);
    checks::same_length("state", state.size(), n);
    check_places(lat_deg, lon_deg);
    checks::within("zenith_deg", zenith_deg, 0.0, 180.0);
    // beyond, float64 cannot hold the thousandth of a second at which the search ends
    checks::within("t0_unix_s", t0_unix_s, -checks::kFarthest_s, checks::kFarthest_s);
    for (std::size_t i = 0; i < n; ++i) {
        const double length_s = t1_unix_s[i] - t0_unix_s[i];
        if (length_s <= 0.0 || length_s > kLongest_s) {
            throw InputError(std::string("window [").append(checks::text(i)) + "] is " +
                             checks::text(length_s) + " s long, outside (0, " +
                             checks::text(kLongest_s) + "]");
        }
    }
    std::vector<double> times_s;
    std::vector<double> values;
    for (std::size_t i = 0; i < n; ++i) {
        if (std::isnan(t0_unix_s[i] + t1_unix_s[i] + lat_deg[i] + lon_deg[i] + zenith_deg[i])) {
            rise_unix_s[i] = set_unix_s[i] = kNan;
            state[i] = Occurs::kMissing;
            continue;
        }
        const Excess excess(place(lat_deg[i], lon_deg[i]), zenith_deg[i]);
        const Event event = one_window(t0_unix_s[i], t1_unix_s[i], excess, times_s, values);
        rise_unix_s[i] = event.rise_unix_s;
        set_unix_s[i] = event.set_unix_s;
        state[i] = event.state;
    }
}

void terminator(std::span<const double> t_unix_s, std::span<const double> zenith_deg,
                std::size_t points, std::span<double> lat_deg, std::span<double> lon_deg) {
    const std::size_t n = t_unix_s.size();
    constexpr std::size_t kMost = 1'000'000;
    if (points < 2 || points > kMost) {
        throw InputError("points = " + checks::text(points) + " is outside [2, " +
                         checks::text(kMost) + "]");
    }
    checks::same_length("zenith_deg", zenith_deg.size(), n);
    checks::same_length("lat_deg", lat_deg.size(), n * points);
    checks::same_length("lon_deg", lon_deg.size(), n * points);
    checks::within("zenith_deg", zenith_deg, 0.0, 180.0);
    for (std::size_t i = 0; i < n; ++i) {
        const Direction sun = direction(t_unix_s[i]);
        const double level = std::sqrt(sun.x * sun.x + sun.y * sun.y);
        const double cos_lon = sun.x / level;
        const double sin_lon = sun.y / level;
        const auto [sin_far, cos_far] = vm::sincos(zenith_deg[i] * vm::kRad_per_deg);
        for (std::size_t k = 0; k < points; ++k) {
            // the last point is the first one again, to the bit
            const double share =
                k + 1 == points ? 0.0 : static_cast<double>(k) / static_cast<double>(points - 1);
            const auto [sin_az, cos_az] = vm::sincos(share * 2.0 * std::numbers::pi);
            // from the subsolar point, zenith_deg along the great circle that leaves at az
            const double north = sin_far * cos_az;
            const double east = sin_far * sin_az;
            const double out = cos_far * level - north * sun.z;
            const double x = out * cos_lon - east * sin_lon;
            const double y = out * sin_lon + east * cos_lon;
            const double z = cos_far * sun.z + north * level;
            lat_deg[i * points + k] = vm::atan2(z, std::sqrt(x * x + y * y)) * vm::kDeg_per_rad;
            lon_deg[i * points + k] = vm::atan2(y, x) * vm::kDeg_per_rad;
        }
    }
}

}  // namespace farhear::sun
