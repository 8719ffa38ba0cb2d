#pragma once
// What the maps of F2 and of sporadic E have in common in space: geographic functions and their dot
// products. Private to the core; no library, so that the hot part builds for each instruction
// level.

#include <array>
#include <cstddef>

#include "vector_math.hpp"

namespace farhear::map_series {

using vector_math::kRad_per_deg;

inline constexpr std::size_t kMaxPower = 13;
inline constexpr std::size_t kMaxOrder = 9;

/// Powers of the two sines and multiples of the longitude of one place.
struct Powers {
    std::array<double, kMaxPower> sin_modip;  // sin^i(modip)
    std::array<double, kMaxOrder> cos_lon;    // cos^m(lat) cos(m lon)
    std::array<double, kMaxOrder> sin_lon;    // cos^m(lat) sin(m lon)
};

FARHEAR_INLINE void powers(double sin_modip, double cos_lat, double sin_lon, double cos_lon,
                           double* sin_modip_power, double* c, double* s, std::size_t stride) {
    sin_modip_power[0] = 1.0;
    for (std::size_t i = 1; i < kMaxPower; ++i) {
        sin_modip_power[i * stride] = sin_modip_power[(i - 1) * stride] * sin_modip;
    }
    c[0] = 1.0;
    s[0] = 0.0;
    const double x = cos_lat * cos_lon;
    const double y = cos_lat * sin_lon;
    for (std::size_t m = 1; m < kMaxOrder; ++m) {
        const double before_c = c[(m - 1) * stride];
        const double before_s = s[(m - 1) * stride];
        c[m * stride] = before_c * x - before_s * y;
        s[m * stride] = before_s * x + before_c * y;
    }
}

template <std::size_t kOrders, std::size_t kTerms>
void fill(const std::array<int, kOrders>& counts, const Powers& p,
          std::array<double, kTerms>& out) noexcept {
    std::size_t k = 0;
    for (std::size_t m = 0; m < kOrders; ++m) {
        for (std::size_t i = 0; i < static_cast<std::size_t>(counts[m]); ++i) {
            out[k++] = p.sin_modip[i] * p.cos_lon[m];
            if (m > 0) {
                out[k++] = p.sin_modip[i] * p.sin_lon[m];
            }
        }
    }
}

/// Dot product in four lanes: the order of the additions is fixed, so are the bits.
template <std::size_t kTerms>
double dot(const std::array<double, kTerms>& a, const std::array<double, kTerms>& b) noexcept {
    constexpr std::size_t kLanes = 4;
    std::array<double, kLanes> sum = {0.0, 0.0, 0.0, 0.0};
    std::size_t k = 0;
    for (; k + kLanes <= kTerms; k += kLanes) {
        for (std::size_t lane = 0; lane < kLanes; ++lane) {
            sum[lane] += a[k + lane] * b[k + lane];
        }
    }
    for (; k < kTerms; ++k) {
        sum[k % kLanes] += a[k] * b[k];
    }
    return (sum[0] + sum[1]) + (sum[2] + sum[3]);
}

inline Powers powers(double lat_deg, double lon_deg, double modip_deg) noexcept {
    Powers p{};
    const auto modip = vector_math::sincos(modip_deg * kRad_per_deg);
    const auto lat = vector_math::sincos(lat_deg * kRad_per_deg);
    const auto lon = vector_math::sincos(lon_deg * kRad_per_deg);
    powers(modip.sin, lat.cos, lon.sin, lon.cos, p.sin_modip.data(), p.cos_lon.data(),
           p.sin_lon.data(), 1);
    return p;
}

}  // namespace farhear::map_series
