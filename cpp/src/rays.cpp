#include "farhear/rays.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "farhear/path.hpp"
#include "vector_math.hpp"

namespace farhear::rays {

namespace {

using path::kEarthRadius_km;

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kApart = 0.97;          // critical frequencies of neighbouring layers
constexpr double kBarelyApart = 0.9999;  // E under F1, which grows out of it: no step there
constexpr double kThickest = 0.85;       // of the way to the peak below
constexpr double kHighestRay = 5.0;      // over foF2: no hop reaches it (hmF2 150 km: 4.7)
constexpr double kFaint_mhz2 = 1e-6;     // an F1 layer that adds less is none
constexpr double kLeastRoom = 1e-3;      // keep a ray that just turns finite: below rounding
constexpr double kLeastSlope = 1e-7;     // likewise
constexpr double kLeastRatio = 1e-300;   // of what a logarithm is taken of; none below
constexpr double kAbovePeak_km = 60.0;
constexpr double kLeastReach = 0.3;  // of the way to the peak: no layer to speak of
constexpr double kFullReach = 0.7;
constexpr double kBent = 1.3;        // no curve rises so much from one point to the one below
constexpr double kMostSpread = 4.0;  // of a ray against one from a mirror
constexpr int kRounds = 3;
constexpr double kMostRetarded_km =
    3000.0;  // of a mirror above the turning height, for convergence

/// Where the turning heights stand: fraction of fN^2 from the bottom of the region to its peak.
/// Dense near the peak, where steep rays turn.
constexpr std::array<double, kLanes> kFraction = {0.10, 0.25, 0.42, 0.58, 0.73, 0.86, 0.95, 0.99};

Segment layer_segment(const Layer& layer, double low_km, double low_mhz2) noexcept {
    const double rk = kEarthRadius_km + layer.peak_km;
    const double base = rk - layer.half_thickness_km;
    const double root = layer.critical_mhz * base / layer.half_thickness_km;
    const double a = layer.critical_mhz * layer.critical_mhz;
    return {a, -root * root, rk, low_km, rk, low_mhz2, a};
}

/// The inverted piece with its apex on the peak below, tangent to the layer above, and that layer
/// from there on. Exact in value and slope.
void append_joined(Profile& profile, const Layer& above) noexcept {
    const Segment& below = profile.segments.at(profile.count - 1);
    Segment layer = layer_segment(above, 0.0, 0.0);
    const double apex = below.rk_km;
    const double q = (below.a - layer.a) / (layer.b * (1.0 - layer.rk_km / apex));
    const double touch = layer.rk_km / (1.0 - q);
    const double b =
        layer.b * layer.rk_km * (1.0 - layer.rk_km / touch) / (apex * (1.0 - apex / touch));
    const double value = layer.a + layer.b * q * q;
    layer.low_km = touch;
    layer.low_mhz2 = value;
    profile.segments.at(profile.count++) = {below.a, b, apex, apex, touch, below.a, value};
    profile.segments.at(profile.count++) = layer;
}

Layer fitted(Layer layer, const Layer& below, double most_mhz) noexcept {
    layer.critical_mhz = std::min(layer.critical_mhz, most_mhz);
    layer.half_thickness_km =
        std::min(layer.half_thickness_km, kThickest * (layer.peak_km - below.peak_km));
    return layer;
}

/// A layer so thin that it bends the highest ray more than the sphere does: c > 0 in solve().
Layer bending(Layer layer, const Layer& f2) noexcept {
    layer.half_thickness_km =
        std::min(layer.half_thickness_km,
                 kEarthRadius_km * layer.critical_mhz / (kHighestRay * f2.critical_mhz));
    return layer;
}

double plasma_in(const Segment& s, double r_km) noexcept {
    const double part = 1.0 - s.rk_km / r_km;
    return s.a + s.b * part * part;
}

/// Distance from the centre where a piece has a given fN^2.
double radius_in(const Segment& s, double plasma) noexcept {
    const double part = std::sqrt(std::max((plasma - s.a) / s.b, 0.0));
    return s.rk_km / (s.b < 0.0 ? 1.0 + part : 1.0 - part);
}

/// Integrals of dr / (r sqrt X) and of r dr / sqrt X over one piece, X = A r^2 + B r + C.
struct Quadratic {
    double a;
    double b;
    double c;
    double disc;  // B^2 - 4 A C, computed without cancellation
};

Quadratic room_in(const Segment& s, double inverse, double k) noexcept {
    const double b = s.b * inverse;
    const double refraction = 1.0 - s.a * inverse;  // squared index at the peak or apex
    const double rk2 = s.rk_km * s.rk_km;
    return {refraction - b, 2.0 * b * s.rk_km, -b * rk2 - k * k,
            4.0 * (b * (rk2 * refraction - k * k) + k * k * refraction)};
}

/// What a ray's integrals come down to, over all pieces: logarithms and angles, each with its
/// weight in the ground range and in the group path. Worked out together at the end, eight by
/// eight.
struct Terms {
    static constexpr std::size_t kMost = 2 * kLanes;  // two a piece and one below the layers: 11
    using Lanes = std::array<double, kMost>;

    double range_rad;  // what is neither
    double path_km;
    std::size_t logs = 0;
    Lanes ratio{};
    Lanes log_range{};
    Lanes log_path{};
    std::size_t turns = 0;
    Lanes x{};
    Lanes y{};
    Lanes turn_range{};
    Lanes turn_path{};

    /// Weights times log(ratio), ratio > 0.
    void log(double of, double in_range, double in_path) noexcept {
        ratio.at(logs) = of;
        log_range.at(logs) = in_range;
        log_path.at(logs++) = in_path;
    }
    /// Weights times the direction of (x, y).
    void direction(double to_x, double to_y, double in_range, double in_path) noexcept {
        x.at(turns) = to_x;
        y.at(turns) = to_y;
        turn_range.at(turns) = in_range;
        turn_path.at(turns++) = in_path;
    }
    /// Weights times the angle from one direction to another, both in the right half plane.
    void turn(double x1, double y1, double x2, double y2, double in_range,
              double in_path) noexcept {
        direction(x1 * x2 + y1 * y2, y2 * x1 - y1 * x2, in_range, in_path);
    }
};

FARHEAR_CLONES void add_up(Terms& terms) noexcept {
    constexpr double kInfinity = std::numeric_limits<double>::infinity();
    std::array<double, kLanes> value;  // NOLINT: set before it is read
    for (std::size_t n = 0; n < terms.logs; n += kLanes) {
        for (std::size_t i = 0; i < kLanes; ++i) {
            const double ratio = terms.ratio[n + i];
            const bool is_one = ratio > kLeastRatio && ratio < kInfinity;
            const double found = vector_math::log(is_one ? ratio : 1.0);
            value[i] = is_one ? found : kNan;
        }
        const std::size_t used = std::min(kLanes, terms.logs - n);
        for (std::size_t i = 0; i < used; ++i) {
            terms.range_rad += terms.log_range[n + i] * value[i];
            terms.path_km += terms.log_path[n + i] * value[i];
        }
    }
    for (std::size_t n = 0; n < terms.turns; n += kLanes) {
        for (std::size_t i = 0; i < kLanes; ++i) {
            value[i] = vector_math::atan2(terms.y[n + i], terms.x[n + i]);
        }
        const std::size_t used = std::min(kLanes, terms.turns - n);
        for (std::size_t i = 0; i < used; ++i) {
            terms.range_rad += terms.turn_range[n + i] * value[i];
            terms.path_km += terms.turn_path[n + i] * value[i];
        }
    }
}

/// One end of a piece: distance from the centre and root of X.
struct End {
    double r_km;
    double root;
};

void add_angle(Terms& terms, const Quadratic& x, const End& low, const End& high,
               double k) noexcept {
    const double root = std::sqrt(std::abs(x.c));
    const double span1 = 2.0 * root * low.root;
    const double span2 = 2.0 * root * high.root;
    const double fall1 = x.b * low.r_km + 2.0 * x.c;
    const double fall2 = x.b * high.r_km + 2.0 * x.c;
    const double weight = k / root;
    if (!(x.c > 0.0)) {
        terms.turn(span1, fall1, span2, fall2, weight, 0.0);
        return;
    }
    // log of (span1 + fall1) r2 / ((span2 + fall2) r1); where a fall is negative the sum
    // cancels: by the conjugate, the product of both being -disc r^2
    double over = (span1 + fall1) * high.r_km;
    double under = std::max(span2 + fall2, kLeastRoom) * low.r_km;
    if (fall1 < 0.0) {
        over = (span2 - fall2) * low.r_km;
        under = (span1 - fall1) * high.r_km;
    } else if (fall2 < 0.0) {
        over = (span1 + fall1) * (span2 - fall2);
        under = std::max(-x.disc, kLeastSlope) * low.r_km * high.r_km;
    }
    terms.log(over / under, weight, 0.0);
}

void add_path(Terms& terms, const Quadratic& x, const End& low, const End& high) noexcept {
    const double a = std::abs(x.a) < 1e-9 ? std::copysign(1e-9, x.a) : x.a;
    const double slope1 = 2.0 * a * low.r_km + x.b;
    const double slope2 = 2.0 * a * high.r_km + x.b;
    const double root = std::sqrt(std::abs(a));
    const double span1 = 2.0 * root * low.root;
    const double span2 = 2.0 * root * high.root;
    terms.path_km += (high.root - low.root) / a;
    const double weight = -0.5 * x.b / (a * root);  // of the integral of dr / sqrt X
    if (a < 0.0) {
        terms.turn(span2, slope2, span1, slope1, 0.0, weight);
        return;
    }
    // log |(span2 + slope2) / (span1 + slope1)|; where a slope falls, by the conjugate, whose
    // product is -disc
    double over = span2 + slope2;
    double under = span1 + slope1;
    if (slope2 < 0.0) {
        over = span1 - slope1;
        under = std::max(span2 - slope2, kLeastSlope);
    } else if (slope1 < 0.0 && x.disc < 0.0) {
        over *= span1 - slope1;
        under = -x.disc;
    }
    terms.log(std::abs(over / under), 0.0, weight);
}

/// Where X first falls to zero inside a piece, or its upper end.
double exit_km(const Quadratic& x, const Segment& s) noexcept {
    if (x.disc < 0.0) {
        return s.high_km;
    }
    const double root = std::sqrt(x.disc);
    // a layer (B < 0): the smaller root; a joining piece (B > 0, C < 0): the larger one
    double r = s.high_km;
    if (x.b < 0.0) {
        r = 2.0 * x.c / (root - x.b);
    } else if (x.a < 0.0) {
        r = (-x.b - root) / (2.0 * x.a);
    }
    return r >= s.low_km && r < s.high_km ? r : s.high_km;
}

Region region_of(const Profile& profile, std::size_t segment) noexcept {
    if (segment == 0) {
        return Region::kE;
    }
    return profile.count == 5 && segment <= 2 ? Region::kF1 : Region::kF2;
}

}  // namespace

Profile join(const Layers& layers) noexcept {
    Profile out{};
    out.layers = layers;
    Layer& e = out.layers.e;
    Layer& f1 = out.layers.f1;
    Layer& f2 = out.layers.f2;
    const bool ledge =
        f1.critical_mhz * f1.critical_mhz > e.critical_mhz * e.critical_mhz + kFaint_mhz2 &&
        f1.peak_km > e.peak_km && f1.peak_km < f2.peak_km;
    if (ledge) {
        f1 = fitted(f1, e, kApart * f2.critical_mhz);
        f1 = bending(f1, f2);
        e.critical_mhz = std::min(e.critical_mhz, kBarelyApart * f1.critical_mhz);
        f2 = fitted(f2, f1, f2.critical_mhz);
    } else {
        f1 = {0.0, e.peak_km, 0.0};
        e.critical_mhz = std::min(e.critical_mhz, kApart * f2.critical_mhz);
        f2 = fitted(f2, e, f2.critical_mhz);
    }
    e = bending(e, f2);
    out.segments[0] = layer_segment(e, kEarthRadius_km + e.peak_km - e.half_thickness_km, 0.0);
    out.count = 1;
    if (ledge) {
        append_joined(out, f1);
    }
    append_joined(out, f2);
    return out;
}

double plasma_mhz2(const Profile& profile, double height_km) noexcept {
    const double r = kEarthRadius_km + height_km;
    for (std::size_t i = 0; i < profile.count; ++i) {
        const Segment& s = profile.segments.at(i);
        if (r >= s.low_km && r <= s.high_km) {
            return plasma_in(s, r);
        }
    }
    return 0.0;
}

Ray trace(const Profile& profile, double freq_mhz, double elevation_deg) noexcept {
    const auto angle = vector_math::sincos(elevation_deg * vector_math::kRad_per_deg);
    const double k = kEarthRadius_km * angle.cos;
    const double base = profile.segments[0].low_km;
    const double inverse = 1.0 / (freq_mhz * freq_mhz);
    const double below = std::sqrt(base * base - k * k);
    Terms terms{.range_rad = -elevation_deg * vector_math::kRad_per_deg,
                .path_km = below - kEarthRadius_km * angle.sin};
    terms.direction(k, below, 1.0, 0.0);
    for (std::size_t i = 0; i < profile.count; ++i) {
        const Segment& s = profile.segments.at(i);
        const Quadratic x = room_in(s, inverse, k);
        const double top = exit_km(x, s);
        const auto root = [&](double r, double plasma) {
            return std::sqrt(std::max(r * r * (1.0 - plasma * inverse) - k * k, 0.0));
        };
        const bool turns = top < s.high_km;
        const End low = {s.low_km, root(s.low_km, s.low_mhz2)};
        const End high = {top, turns ? 0.0 : root(s.high_km, s.high_mhz2)};
        add_angle(terms, x, low, high, k);
        add_path(terms, x, low, high);
        if (turns) {
            add_up(terms);
            return {2.0 * kEarthRadius_km * terms.range_rad, 2.0 * terms.path_km,
                    top - kEarthRadius_km, region_of(profile, i)};
        }
    }
    return {kNan, kNan, kNan, Region::kF2};
}

// ---------------------------------------------------------------- rays that land at a distance

namespace {

/// Pieces in the form the loop wants.
struct Pieces {
    std::size_t count;
    std::array<Segment, 5> segments;
};

struct Turning {
    std::array<double, kLanes> r_km;
    std::array<double, kLanes> plasma;
};

/// Keeps X above 0 for rays that the layer below does not let through: their retardation would grow
/// without bound and the iteration with it. What they come to is never used but to be smooth.
FARHEAR_INLINE double softly_positive(double x) {
    constexpr double kWidth_km2 = 1e5;
    return 0.5 * (x + std::sqrt(x * x + kWidth_km2 * kWidth_km2));
}

FARHEAR_INLINE double positive(double x) { return x > 0.0 ? x : 0.0; }

/// Elevation and frequency of the rays that turn at the given heights and land at the given
/// distance. All lanes go through the same instructions; what lies above a lane's turning height
/// adds zero.
FARHEAR_CLONES void solve(const Segment* __restrict segments, std::size_t count,
                          const Turning& __restrict turning, double sin_half, double cos_half,
                          Curve& __restrict out) {
    const double base = segments[0].low_km;
    std::array<double, kLanes> mirror;     // NOLINT: set below, from the centre
    std::array<double, kLanes> k;          // NOLINT
    std::array<double, kLanes> sin_el;     // NOLINT
    std::array<double, kLanes> inverse;    // NOLINT
    std::array<double, kLanes> angle_rad;  // NOLINT
    std::array<double, kLanes> z1;         // NOLINT: roots of X at both ends of a piece
    std::array<double, kLanes> z2;         // NOLINT
    std::array<double, kLanes> r_end;      // NOLINT
    std::array<double, kLanes> turning_r;  // NOLINT
    for (std::size_t i = 0; i < kLanes; ++i) {
        turning_r[i] = turning.r_km[i];
        mirror[i] = turning_r[i] + 0.25 * (turning_r[i] - base);
    }
    for (int round = 0; round <= kRounds; ++round) {
        for (std::size_t i = 0; i < kLanes; ++i) {
            // the ray to a mirror: triangle Earth centre, station, mirror
            const double up = cos_half - kEarthRadius_km / mirror[i];
            const double length = std::sqrt(sin_half * sin_half + up * up);
            sin_el[i] = up / length;
            k[i] = kEarthRadius_km * sin_half / length;
            const double r2 = turning.r_km[i] * turning.r_km[i];
            // the frequency that turns there: X = 0
            inverse[i] = (r2 - k[i] * k[i]) / (turning.plasma[i] * r2);
        }
        if (round == kRounds) {
            break;
        }
        for (std::size_t i = 0; i < kLanes; ++i) {
            angle_rad[i] = vector_math::acos(k[i] / base);
        }
        for (std::size_t n = 0; n < count; ++n) {
            const double b0 = segments[n].b;
            const double rk = segments[n].rk_km;
            const double r_low = segments[n].low_km;
            const double r_high = segments[n].high_km;
            const double low2 = r_low * r_low;
            const double high2 = r_high * r_high;
            const double low_plasma = segments[n].low_mhz2;
            const double high_plasma = segments[n].high_mhz2;
            for (std::size_t i = 0; i < kLanes; ++i) {
                // X at both ends; from the turning height on there is nothing to add
                const double k2 = k[i] * k[i];
                const double r_turn = turning_r[i];
                const double low = low2 * (1.0 - low_plasma * inverse[i]) - k2;
                const double high = high2 * (1.0 - high_plasma * inverse[i]) - k2;
                const double not_over = r_turn > r_low ? r_turn : r_low;
                const double r2 = not_over < r_high ? not_over : r_high;
                // the peaks, at the upper end of a layer and the lower end of a joining piece, may
                // stand in the way
                const double low_x = b0 < 0.0 ? positive(low) : softly_positive(low);
                const double high_x = b0 < 0.0 ? softly_positive(high) : positive(high);
                z1[i] = std::sqrt(low_x);
                z2[i] = std::sqrt(r_turn < r_high ? 0.0 : high_x);
                r_end[i] = r2;
            }
            if (b0 < 0.0) {
                for (std::size_t i = 0; i < kLanes; ++i) {
                    const double c_any = -b0 * rk * rk * inverse[i] - k[i] * k[i];
                    const double c = c_any > 1.0 ? c_any : 1.0;
                    const double b = 2.0 * b0 * rk * inverse[i];
                    const double root = std::sqrt(c);
                    const double above = 2.0 * root * z1[i] + b * r_low + 2.0 * c;
                    const double below = 2.0 * root * z2[i] + b * r_end[i] + 2.0 * c;
                    const double above_safe = above > 1e-3 ? above : 1e-3;
                    const double below_safe = below > 1e-3 ? below : 1e-3;
                    const double ratio = above_safe * r_end[i] / (below_safe * r_low);
                    angle_rad[i] += k[i] * vector_math::log(ratio) / root;
                }
            } else {
                for (std::size_t i = 0; i < kLanes; ++i) {
                    const double c = -b0 * rk * rk * inverse[i] - k[i] * k[i];
                    const double b = 2.0 * b0 * rk * inverse[i];
                    const double root = std::sqrt(-c);
                    const double y1 = b * r_low + 2.0 * c;
                    const double y2 = b * r_end[i] + 2.0 * c;
                    const double x1 = 2.0 * root * z1[i];
                    const double x2 = 2.0 * root * z2[i];
                    // difference of two arc tangents, both in the right half plane
                    angle_rad[i] +=
                        k[i] * vector_math::atan2(y2 * x1 - y1 * x2, x1 * x2 + y1 * y2) / root;
                }
            }
        }
        for (std::size_t i = 0; i < kLanes; ++i) {
            const double cosine = vector_math::sincos(angle_rad[i]).cos;
            const double most = turning_r[i] + kMostRetarded_km;
            const double found = cosine * most > k[i] ? k[i] / cosine : most;
            // a virtual height is never below the true one
            mirror[i] = found > turning_r[i] ? found : turning_r[i];
        }
    }
    for (std::size_t i = 0; i < kLanes; ++i) {
        out.freq_mhz[i] = 1.0 / std::sqrt(inverse[i]);
        out.sin_elevation[i] = sin_el[i];
        out.mirror_km[i] = mirror[i] - kEarthRadius_km;
        out.turning_km[i] = turning.r_km[i] - kEarthRadius_km;
    }
}

/// First and last piece in which a region's rays turn.
struct Span {
    std::size_t first;
    std::size_t last;
};

Span pieces_of(const Profile& profile, Region region) noexcept {
    if (region == Region::kE) {
        return {0, 0};
    }
    if (region == Region::kF1) {
        return {1, 2};
    }
    return {profile.count - 2, profile.count - 1};
}

/// Cubic through the points with central slopes: value and derivative at a position.
struct Hermite {
    double value;
    double slope;
};

double tangent(const std::array<double, kPoints>& y, std::size_t i) noexcept {
    if (i == 0) {
        return y[1] - y[0];
    }
    if (i == kLanes - 1) {
        // from below only: the vertical ray is so far off that it would bend the MUF by up to 3 %
        return 1.5 * (y[kLanes - 1] - y[kLanes - 2]) - 0.5 * (y[kLanes - 2] - y[kLanes - 3]);
    }
    return i + 1 == kPoints ? y[i] - y[i - 1] : 0.5 * (y.at(i + 1) - y.at(i - 1));
}

std::array<double, kPoints> tangents_of(const std::array<double, kPoints>& y) noexcept {
    std::array<double, kPoints> out;  // NOLINT: filled
    for (std::size_t i = 0; i < kPoints; ++i) {
        out[i] = tangent(y, i);  // NOLINT: i < kPoints
    }
    return out;
}

/// A position as an interval between points and a share of it.
struct Spot {
    explicit Spot(double position) noexcept {
        // NaN, the position of a ray through layers that are NaN, goes to the last pair, comes out
        i = position < static_cast<double>(kPoints - 2) ? static_cast<std::size_t>(position)
                                                        : kPoints - 2;
        t = position - static_cast<double>(i);
    }
    std::size_t i;
    double t;
};

Hermite hermite(const std::array<double, kPoints>& y, const std::array<double, kPoints>& tangents,
                const Spot& at) noexcept {
    const double y0 = y[at.i];             // NOLINT: i + 1 < kPoints
    const double m0 = tangents[at.i];      // NOLINT
    const double m1 = tangents[at.i + 1];  // NOLINT
    const double rise = y[at.i + 1] - y0;  // NOLINT
    const double c2 = 3.0 * rise - 2.0 * m0 - m1;
    const double c3 = m0 + m1 - 2.0 * rise;
    return {y0 + at.t * (m0 + at.t * (c2 + at.t * c3)), m0 + at.t * (2.0 * c2 + 3.0 * at.t * c3)};
}

/// Highest point of the cubic between points i and i + 1, and where.
Muf highest_between(const std::array<double, kPoints>& y, std::size_t i) noexcept {
    const double m0 = tangent(y, i);
    const double m1 = tangent(y, i + 1);
    const double rise = y.at(i + 1) - y.at(i);
    const double c2 = 3.0 * rise - 2.0 * m0 - m1;
    const double c3 = m0 + m1 - 2.0 * rise;
    Muf best = y.at(i) >= y.at(i + 1) ? Muf{y.at(i), static_cast<double>(i)}
                                      : Muf{y.at(i + 1), static_cast<double>(i + 1)};
    // m0 + 2 c2 t + 3 c3 t^2 = 0, the root where the slope falls
    const double disc = c2 * c2 - 3.0 * c3 * m0;
    if (disc > 0.0 && m0 > 0.0) {
        const double t = m0 / (std::sqrt(disc) - c2);
        if (t > 0.0 && t < 1.0) {
            const double value = y.at(i) + t * (m0 + t * (c2 + t * c3));
            if (value > best.freq_mhz) {
                best = {value, static_cast<double>(i) + t};
            }
        }
    }
    return best;
}

Landing landing_at(const Curve& curve, double position) noexcept {
    const Spot at(position);
    const auto& [freq_tangents, sine_tangents, mirror_tangents, turning_tangents] = curve.tangents;
    const Hermite sine = hermite(curve.sin_elevation, sine_tangents, at);
    const Hermite freq = hermite(curve.freq_mhz, freq_tangents, at);
    const double sin_el = std::clamp(sine.value, -1.0, 1.0);
    const double cos_el = std::sqrt(1.0 - sin_el * sin_el);
    const double turning = hermite(curve.turning_km, turning_tangents, at).value;
    // a virtual height is never below the true one, as the cubic may be where a curve jumps
    const double mirror = std::max(hermite(curve.mirror_km, mirror_tangents, at).value, turning);
    // at constant turning height the mirror stays: dD/d(elevation) of a mirror hop
    const double k = kEarthRadius_km * cos_el;
    const double mirror_r = kEarthRadius_km + mirror;
    const double mirror_slope =
        2.0 * kEarthRadius_km *
        (kEarthRadius_km * sin_el / std::sqrt(mirror_r * mirror_r - k * k) - 1.0);
    // at constant frequency the turning height follows the elevation
    const double turning_r = kEarthRadius_km + turning;
    const double freq_by_elevation =
        -freq.value * k * kEarthRadius_km * sin_el / (turning_r * turning_r - k * k);
    const double elevation_slope = sine.slope / std::max(cos_el, 1e-6);
    const double whole = freq.slope - freq_by_elevation * elevation_slope;
    const double share = std::abs(whole) > 1e-12 ? freq.slope / whole : 1.0;
    return {sin_el, mirror, turning, mirror_slope * std::clamp(share, -kMostSpread, kMostSpread)};
}

/// Position between `inside` (where the curve is above freq) and `outside` (where it is below).
double crossing(const Curve& curve, double inside, double inside_mhz, double outside,
                double outside_mhz, double freq_mhz) noexcept {
    // near the MUF the curve is a parabola: start from its root
    double position =
        inside + (outside - inside) *
                     std::sqrt((inside_mhz - freq_mhz) / std::max(inside_mhz - outside_mhz, 1e-12));
    const double low = std::min(inside, outside);
    const double high = std::max(inside, outside);
    for (int i = 0; i < 3; ++i) {
        const Hermite h = hermite(curve.freq_mhz, curve.tangents[0], Spot(position));
        if (std::abs(h.slope) < 1e-9) {
            break;
        }
        position = std::clamp(position - (h.value - freq_mhz) / h.slope, low, high);
    }
    return position;
}

}  // namespace

/// By how much fN^2 falls short of the peak's at the highest turning point of rays to a distance:
/// on the sphere a flat ray goes through below the peak already. There d(f^2)/dr = 0 for f^2 = fN^2
/// r^2 / (r^2 - K^2), with K of a mirror somewhat above the peak. [MHz^2]
double unreachable_mhz2(const Segment& top, double sin_half, double cos_half) noexcept {
    const double mirror = top.rk_km + kAbovePeak_km;
    const double up = cos_half - kEarthRadius_km / mirror;
    const double k2 =
        kEarthRadius_km * kEarthRadius_km * sin_half * sin_half / (sin_half * sin_half + up * up);
    const double below = top.a / -top.b * k2 / (top.rk_km * top.rk_km - k2);
    return -top.b * below * below;
}

Curve land(const Profile& profile, Region region, double hop_km) noexcept {
    const Span span = pieces_of(profile, region);
    const Segment& bottom = profile.segments.at(span.first);
    const Segment& top = profile.segments.at(span.last);
    const double half = std::max(hop_km, 1.0) / (2.0 * kEarthRadius_km);
    const auto angle = vector_math::sincos(half);
    const double rise = top.high_mhz2 - bottom.low_mhz2;
    const double highest = rise - unreachable_mhz2(top, angle.sin, angle.cos);
    Turning turning;  // NOLINT: filled
    for (std::size_t i = 0; i < kLanes; ++i) {
        const double plasma =
            bottom.low_mhz2 + kFraction[i] * std::max(highest, kLeastReach * rise);
        const Segment& piece = plasma < bottom.high_mhz2 || span.first == span.last ? bottom : top;
        turning.plasma[i] = plasma;
        turning.r_km[i] = radius_in(piece, plasma);
    }
    Curve out;  // NOLINT: filled
    const double t =
        std::clamp((highest / rise - kLeastReach) / (kFullReach - kLeastReach), 0.0, 1.0);
    out.presence = t * t * (3.0 - 2.0 * t);
    solve(profile.segments.data(), span.last + 1, turning, angle.sin, angle.cos, out);
    // rays that a peak below does not let through: the next one up stands for them
    for (std::size_t i = kLanes - 1; i-- > 0;) {
        const double k2 =
            kEarthRadius_km * kEarthRadius_km * (1.0 - out.sin_elevation[i] * out.sin_elevation[i]);
        const double f2 = out.freq_mhz[i] * out.freq_mhz[i];
        bool blocked = out.freq_mhz[i] > kBent * out.freq_mhz[i + 1];
        for (std::size_t n = 1; n <= span.last; n += 2) {  // the joining pieces stand on the peaks
            const Segment& s = profile.segments.at(n);
            blocked = blocked || s.low_km * s.low_km * (1.0 - s.low_mhz2 / f2) < k2;
        }
        if (blocked) {
            out.freq_mhz[i] = out.freq_mhz[i + 1];
            out.sin_elevation[i] = out.sin_elevation[i + 1];
            out.mirror_km[i] = out.mirror_km[i + 1];
        }
    }
    out.freq_mhz[kLanes] = std::sqrt(top.high_mhz2);
    out.sin_elevation[kLanes] = 1.0;
    out.mirror_km[kLanes] = out.mirror_km[kLanes - 1];
    out.turning_km[kLanes] = top.rk_km - kEarthRadius_km;
    out.tangents = {tangents_of(out.freq_mhz), tangents_of(out.sin_elevation),
                    tangents_of(out.mirror_km), tangents_of(out.turning_km)};
    return out;
}

Muf muf(const Curve& curve) noexcept {
    const auto best =
        static_cast<std::size_t>(std::ranges::max_element(curve.freq_mhz) - curve.freq_mhz.begin());
    Muf out = {0.0, 0.0};
    if (best > 0) {
        out = highest_between(curve.freq_mhz, best - 1);
    }
    if (best + 1 < kPoints) {
        const Muf after = highest_between(curve.freq_mhz, best);
        if (after.freq_mhz > out.freq_mhz) {
            out = after;
        }
    }
    // just above the layer below, retardation bends the curve back to steep rays: they are left out
    const auto first = static_cast<std::size_t>(std::ceil(out.position));
    for (std::size_t k = 1; k <= first; ++k) {
        if (curve.sin_elevation.at(k) < curve.sin_elevation.at(out.lowest)) {
            out.lowest = k;
        }
    }
    return out;
}

namespace {

/// Ray of a frequency below the MUF: the first crossing from the MUF towards point `last` of the
/// curve, or the ray there. `first`: the point at the MUF, or beside it on the side turned away.
template <int kStep>
Landing ray_between(const Curve& curve, const Muf& top, double freq_mhz, std::size_t first,
                    std::size_t last) noexcept {
    double inside = top.position;
    double inside_mhz = top.freq_mhz;
    for (std::size_t i = first; i != last;) {
        i = kStep > 0 ? i + 1 : i - 1;
        const auto here = static_cast<double>(i);
        if (curve.freq_mhz.at(i) <= freq_mhz) {
            return landing_at(
                curve, crossing(curve, inside, inside_mhz, here, curve.freq_mhz.at(i), freq_mhz));
        }
        inside = here;
        inside_mhz = curve.freq_mhz.at(i);
    }
    return landing_at(curve, static_cast<double>(last));
}

}  // namespace

Landing low_ray(const Curve& curve, const Muf& top, double freq_mhz) noexcept {
    if (freq_mhz >= top.freq_mhz) {
        return landing_at(curve, top.position);
    }
    const auto first = static_cast<std::size_t>(std::ceil(top.position));
    return top.lowest < first
               ? ray_between<-1>(curve, top, freq_mhz, first, top.lowest)
               : landing_at(curve, std::min(static_cast<double>(top.lowest), top.position));
}

Landing high_ray(const Curve& curve, const Muf& top, double freq_mhz) noexcept {
    if (freq_mhz >= top.freq_mhz) {
        return landing_at(curve, top.position);
    }
    return ray_between<1>(curve, top, freq_mhz, static_cast<std::size_t>(std::floor(top.position)),
                          kPoints - 1);
}

double tied_peak_km(const Layers& layers, double target_ratio) noexcept {
    const double ratio =
        muf(land(join(layers), Region::kF2, 3000.0)).freq_mhz / layers.f2.critical_mhz;
    const double above = layers.f2.peak_km + 176.0;
    return layers.f2.peak_km + (ratio - target_ratio) * above * above / 1490.0;
}

}  // namespace farhear::rays
