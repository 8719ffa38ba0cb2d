// Layers, and rays through them. The ranges are those that python/farhear/rays.py lets through;
// outside of them only that nothing crashes is asked for.

#include <algorithm>

#include "core_feed.hpp"
#include "farhear/rays.hpp"

namespace farhear::fuzz {

void rays(Bytes bytes) {
    namespace rays = farhear::rays;
    Feed feed(bytes);
    const rays::Layers layers = {
        {feed.number(0.05, 20.0), feed.number(80.0, 150.0), feed.number(1.0, 40.0)},
        {feed.number(0.0, 20.0), feed.number(100.0, 400.0), feed.number(1.0, 200.0)},
        {feed.number(0.1, 40.0), feed.number(150.0, 800.0), feed.number(1.0, 400.0)}};
    const double freq = feed.number(0.5, 100.0);
    const double elevation = feed.number(0.0, 90.0);
    const double hop = feed.number(1.0, 5000.0);
    const double height = feed.number(0.0, 1000.0);
    const double target = feed.number(1.0, 6.0);
    const bool good = feed.within() && layers.f2.peak_km > layers.e.peak_km;

    const rays::Profile profile = rays::join(layers);
    require(profile.count == 3 || profile.count == 5, "E and F2, with F1 or without");
    const double plasma = rays::plasma_mhz2(profile, height);
    const rays::Ray ray = rays::trace(profile, freq, elevation);
    const double tied = rays::tied_peak_km(layers, target);
    if (good) {
        const double most = layers.f2.critical_mhz * layers.f2.critical_mhz;
        require(plasma >= -1e-9 * most && plasma <= most * (1.0 + 1e-9),
                "the plasma lies between 0 and the peak");
        for (std::size_t i = 0; i + 1 < profile.count; ++i) {
            const auto& below = profile.segments[i];
            const auto& above = profile.segments[i + 1];
            require(below.high_km == above.low_km, "the pieces follow each other");
            require(std::abs(below.high_mhz2 - above.low_mhz2) <= 1e-9 * most,
                    "without a step between them");
        }
        require(std::isfinite(tied), "a tied peak is a height");
        if (std::isnan(ray.ground_range_km)) {
            require(std::isnan(ray.group_path_km) && std::isnan(ray.turning_km),
                    "a ray that goes through has no landing");
        } else {
            require(std::isfinite(ray.group_path_km) && std::isfinite(ray.turning_km),
                    "a ray that lands has a path");
            require(ray.ground_range_km >= -1e-6 && ray.turning_km > 0.0 &&
                        ray.turning_km <= layers.f2.peak_km + 1e-6,
                    "it turns below the F2 peak");
            // no way is shorter than the two straight lines over the turning point, nor than the
            // chord of the range
            require(ray.group_path_km >= 2.0 * ray.turning_km - 1e-3, "up and down at least");
        }
    }
    for (const auto region : {rays::Region::kE, rays::Region::kF1, rays::Region::kF2}) {
        if (region == rays::Region::kF1 && profile.count == 3) {
            continue;
        }
        const rays::Curve curve = rays::land(profile, region, hop);
        const rays::Muf top = rays::muf(curve);
        const rays::Landing low = rays::low_ray(curve, top, freq);
        const rays::Landing high = rays::high_ray(curve, top, freq);
        if (!good) {
            continue;
        }
        require_finite(curve.freq_mhz, "a curve has frequencies");
        require_finite(curve.sin_elevation, "a curve has elevations");
        require_finite(curve.mirror_km, "a curve has mirrors");
        require_finite(curve.turning_km, "a curve has turning points");
        require_range(curve.sin_elevation, -1.0, 1.0, "a sine");
        require(curve.presence >= 0.0 && curve.presence <= 1.0, "presence is a share");
        require(top.freq_mhz > 0.0 && top.position >= 0.0 &&
                    top.position <= static_cast<double>(rays::kPoints - 1),
                "the MUF is on the curve");
        require(top.freq_mhz >= *std::ranges::max_element(curve.freq_mhz), "and highest");
        for (const auto& one : {low, high}) {
            require(std::abs(one.sin_elevation) <= 1.0, "a sine");
            require(std::isfinite(one.mirror_km) && std::isfinite(one.turning_km) &&
                        std::isfinite(one.range_slope_km),
                    "a landing is finite");
        }
    }
}

}  // namespace farhear::fuzz
