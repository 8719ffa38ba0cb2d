// Reads n cases as raw doubles, ten columns one after the other: critical frequency, peak and half
// thickness of E, F1 and F2, and the hop. Writes for each case and region the curve, its MUF, the
// low and the high ray at 0.8 of the MUF, and for each case a traced ray.
// tests/reference/test_levels.py builds it once for each instruction level.

#include <array>
#include <cstddef>
#include <iostream>
#include <iterator>
#include <string>
#include <vector>

#include "farhear/rays.hpp"

int main() {
    namespace rays = farhear::rays;
    const std::string bytes{std::istreambuf_iterator<char>(std::cin), {}};
    std::vector<double> in(bytes.size() / sizeof(double));
    bytes.copy(reinterpret_cast<char*>(in.data()), in.size() * sizeof(double));
    const std::size_t n = in.size() / 10;
    std::vector<double> out;
    const auto add = [&out](const auto& values) {
        out.insert(out.end(), values.begin(), values.end());
    };
    const auto add_landing = [&](const rays::Landing& ray) {
        add(std::array{ray.sin_elevation, ray.mirror_km, ray.turning_km, ray.range_slope_km});
    };
    for (std::size_t i = 0; i < n; ++i) {
        const auto at = [&](std::size_t column) { return in[column * n + i]; };
        const auto profile =
            rays::join({{at(0), at(1), at(2)}, {at(3), at(4), at(5)}, {at(6), at(7), at(8)}});
        for (const auto region : {rays::Region::kE, rays::Region::kF1, rays::Region::kF2}) {
            const auto curve = rays::land(profile, region, at(9));
            add(curve.freq_mhz);
            add(curve.sin_elevation);
            add(curve.mirror_km);
            add(curve.turning_km);
            const auto top = rays::muf(curve);
            add(std::array{top.freq_mhz, top.position});
            add_landing(rays::low_ray(curve, top, 0.8 * top.freq_mhz));
            add_landing(rays::high_ray(curve, top, 0.8 * top.freq_mhz));
        }
        const auto ray = rays::trace(profile, 0.8 * at(6), 40.0);
        add(std::array{ray.ground_range_km, ray.group_path_km, ray.turning_km});
    }
    std::cout.write(reinterpret_cast<const char*>(out.data()),
                    static_cast<std::streamsize>(out.size() * sizeof(double)));
    return std::cout.good() ? 0 : 1;
}
