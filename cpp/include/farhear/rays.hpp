#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

/// Rays through a spherically stratified ionosphere of quasi-parabolic pieces, in closed form.
///
/// Every piece has fN^2 = a + b (1 - rk/r)^2, with r the distance from the Earth's centre: b < 0 is
/// a layer with its peak at rk, b > 0 an inverted piece that joins the peak below to the layer
/// above without a kink. No magnetic field in the geometry, no collisions, no valley above the E
/// peak (by night the E layer is too thin to matter: 0.7 MHz).
///
/// Sources: Croft and Hoogasian, Radio Science 3(1), 1968 (one layer); Dyson and Bennett, JATP 50,
/// 1988, and Chen, Bennett and Dyson, JATP 52, 1990 (several layers with joins). The integrals were
/// derived anew [own] and are checked against numerical integration of the ray equation.
namespace farhear::rays {

/// A layer: critical frequency, height of its peak, half thickness.
struct Layer {
    double critical_mhz;
    double peak_km;
    double half_thickness_km;
};

/// The layers of one place and time. fof1.critical_mhz = 0: no F1 layer.
struct Layers {
    Layer e;
    Layer f1;
    Layer f2;
};

/// One piece of the profile between two distances from the Earth's centre.
struct Segment {
    double a;       // [MHz^2]
    double b;       // [MHz^2]
    double rk_km;   // peak of the layer, or apex of the joining piece
    double low_km;  // from the Earth's centre
    double high_km;
    double low_mhz2;  // fN^2 at both ends
    double high_mhz2;
};

enum class Region : std::uint8_t { kE = 0, kF1 = 1, kF2 = 2 };

/// E, join, F2; or E, join, F1, join, F2.
struct Profile {
    std::array<Segment, 5> segments;
    std::size_t count;  // 3 or 5
    Layers layers;      // as used, after the bounds below
};

/// Joins the layers. What does not fit is bent, so that every input gives a profile: each critical
/// frequency is kept at least 3 % below that of the next layer (E under F1 0.01 %: F1 grows out of
/// E without a step), each half thickness at most 0.85 of the height difference to the peak below,
/// that of E and F1 at most 6371 km times critical frequency over five times foF2. (A fainter layer
/// of more thickness bends the highest rays less than the sphere does: nothing to reflect from.)
[[nodiscard]] Profile join(const Layers& layers) noexcept;

/// fN^2 at a height; 0 below the base and above the F2 peak. [MHz^2]
[[nodiscard]] double plasma_mhz2(const Profile& profile, double height_km) noexcept;

/// One ray from ground to ground.
struct Ray {
    double ground_range_km;  // NaN: it goes through all layers
    double group_path_km;
    double turning_km;  // height
    Region region;
};

/// Ground range to better than 0.01 km, group path likewise (against quadrature).
/// @param elevation_deg  0 .. 90 at both ends.
[[nodiscard]] Ray trace(const Profile& profile, double freq_mhz, double elevation_deg) noexcept;

/// Number of turning heights that sample a layer, and of points on a curve (one more: the peak).
inline constexpr std::size_t kLanes = 8;
inline constexpr std::size_t kPoints = kLanes + 1;

/// All rays that turn in one region and land at one distance: frequency and elevation along the
/// turning height, from the bottom of the region up to its peak (there, vertical incidence at the
/// critical frequency). The highest frequency on it is the MUF; below it the points before are the
/// low rays, the points after the high rays.
struct Curve {
    std::array<double, kPoints> freq_mhz;
    std::array<double, kPoints> sin_elevation;  // may be negative: below the horizon
    std::array<double, kPoints> mirror_km;      // height of the equivalent mirror
    std::array<double, kPoints> turning_km;     // height
    /// Of these four at each point, for the cubics between them.
    std::array<std::array<double, kPoints>, 4> tangents;
    /// 1 where the region reflects to that distance as a layer does, 0 where none of its rays gets
    /// there: a weak layer on a stronger slope lets flat rays through. Between: fading [own].
    double presence;
};

/// The curve of one region at one hop length (0 .. 10000 km). The equivalent mirror is found by
/// iteration: at a given turning height it hardly depends on the elevation (Martyn's theorem, exact
/// over a flat Earth), so three rounds leave less than 1e-4 of it.
[[nodiscard]] Curve land(const Profile& profile, Region region, double hop_km) noexcept;

/// Where a curve is highest.
struct Muf {
    double freq_mhz;
    double position;         // 0 .. kPoints - 1
    std::size_t lowest = 0;  // point of the flattest ray up to there
};
[[nodiscard]] Muf muf(const Curve& curve) noexcept;

/// A point of a curve with what the loss budget needs.
struct Landing {
    double sin_elevation;
    double mirror_km;
    double turning_km;
    /// dD/d(elevation) of the hop at constant frequency: 0 at the MUF. [km/rad]
    double range_slope_km;
};

/// The low ray (or the high ray) of a curve at a frequency; above the MUF the point of the MUF,
/// below the curve's flattest ray that one (what turns lower is screened by the layer below).
[[nodiscard]] Landing low_ray(const Curve& curve, const Muf& top, double freq_mhz) noexcept;
[[nodiscard]] Landing high_ray(const Curve& curve, const Muf& top, double freq_mhz) noexcept;

/// Height of the F2 peak that makes MUF(3000)/foF2 of the rays equal `target_ratio`: one Newton
/// step from layers.f2.peak_km, with the slope of the peak height formula,
/// d(ratio)/d(height) = -(1490 km)/(height + 176 km)^2. [km]
[[nodiscard]] double tied_peak_km(const Layers& layers, double target_ratio) noexcept;

}  // namespace farhear::rays
