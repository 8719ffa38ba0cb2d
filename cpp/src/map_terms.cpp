// The geographic functions of the maps and their products with the coefficients: the hot part,
// alone in this file so that it can be built for each instruction level by itself.

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>
#include <vector>

#include "checks.hpp"
#include "farhear/ionosphere.hpp"
#include "map_functions.hpp"
#include "vector_math.hpp"

namespace farhear::ionosphere {

namespace {

using vector_math::kRad_per_deg;

// Number of powers of sin(modip) for each order m of longitude [read]; 76 and 49 functions.
constexpr std::array<int, 9> kFof2Powers = {12, 12, 9, 5, 2, 1, 1, 1, 1};
constexpr std::array<int, 7> kM3000Powers = {7, 8, 6, 3, 2, 1, 1};

// ------------------------------------------------ places x instants, in blocks

constexpr std::size_t kBlock = 64;  // places in a block: its 125 terms take 64 kB, level-2 cache

constexpr std::size_t kPlaces = 4;  // worked on together

/// Vectors of registers that are there. Of wider ones the compiler makes stores and loads: a point
/// then takes 55 instead of 12 ns with registers of four, 220 instead of 20 with those of two;
/// plain loops are as slow (measured).
using Two [[gnu::vector_size(16), gnu::may_alias]] = double;
using Four [[gnu::vector_size(32), gnu::may_alias]] = double;

/// The terms of a block of places, [term][place].
struct Block {
    alignas(64) std::array<double, kFof2Terms_count * kBlock> fof2;
    alignas(64) std::array<double, kM3000Terms_count * kBlock> m3000;
};

template <std::size_t kOrders>
FARHEAR_INLINE void fill_block(const std::array<int, kOrders>& counts, const double* sin_modip,
                               const double* c, const double* s, double* out) {
    std::size_t k = 0;
    for (std::size_t m = 0; m < kOrders; ++m) {
        for (std::size_t i = 0; i < static_cast<std::size_t>(counts[m]); ++i) {
            for (std::size_t p = 0; p < kBlock; ++p) {
                out[k * kBlock + p] = sin_modip[i * kBlock + p] * c[m * kBlock + p];
            }
            ++k;
            if (m > 0) {
                for (std::size_t p = 0; p < kBlock; ++p) {
                    out[k * kBlock + p] = sin_modip[i * kBlock + p] * s[m * kBlock + p];
                }
                ++k;
            }
        }
    }
}

/// All arrays hold kBlock values.
FARHEAR_CLONES void block_terms(const double* lat_deg, const double* lon_deg,
                                const double* modip_deg, Block& block) {
    alignas(64) std::array<double, map_series::kMaxPower * kBlock>
        sin_modip;                                                     // NOLINT: filled below
    alignas(64) std::array<double, map_series::kMaxOrder * kBlock> c;  // NOLINT
    alignas(64) std::array<double, map_series::kMaxOrder * kBlock> s;  // NOLINT
    for (std::size_t p = 0; p < kBlock; ++p) {
        const auto modip = vector_math::sincos(modip_deg[p] * kRad_per_deg);
        const auto lat = vector_math::sincos(lat_deg[p] * kRad_per_deg);
        const auto lon = vector_math::sincos(lon_deg[p] * kRad_per_deg);
        map_series::powers(modip.sin, lat.cos, lon.sin, lon.cos, &sin_modip[p], &c[p], &s[p],
                           kBlock);
    }
    fill_block(kFof2Powers, sin_modip.data(), c.data(), s.data(), block.fof2.data());
    fill_block(kM3000Powers, sin_modip.data(), c.data(), s.data(), block.m3000.data());
}

/// Sums of kCount instants over kPlaces places.
template <typename Vector, std::size_t kCount>
FARHEAR_INLINE void group_product(const double* terms, std::size_t terms_count,
                                  const double* coefficients, double* out) {
    constexpr std::size_t kLanes = sizeof(Vector) / sizeof(double);
    constexpr std::size_t kVectors = kPlaces / kLanes;
    Vector sums[kCount][kVectors] = {};  // NOLINT(modernize-avoid-c-arrays): registers
    for (std::size_t k = 0; k < terms_count; ++k) {
        for (std::size_t v = 0; v < kVectors; ++v) {
            const Vector term =
                *reinterpret_cast<const Vector*>(terms + k * kBlock + v * kLanes);  // NOLINT
            for (std::size_t t = 0; t < kCount; ++t) {
                sums[t][v] += coefficients[t * terms_count + k] * term;
            }
        }
    }
    for (std::size_t t = 0; t < kCount; ++t) {
        for (std::size_t v = 0; v < kVectors; ++v) {
            *reinterpret_cast<Vector*>(out + t * kBlock + v * kLanes) = sums[t][v];  // NOLINT
        }
    }
}

/// `kTogether`: instants whose sums stay in registers.
template <typename Vector, std::size_t kTogether>
FARHEAR_INLINE void any_product(const double* terms, std::size_t terms_count,
                                const double* coefficients, std::size_t count, double* out) {
    for (std::size_t p = 0; p < kBlock; p += kPlaces) {
        std::size_t t = 0;
        for (; t + kTogether <= count; t += kTogether) {
            group_product<Vector, kTogether>(terms + p, terms_count, coefficients + t * terms_count,
                                             out + t * kBlock + p);
        }
        for (; t < count; ++t) {
            group_product<Vector, 1>(terms + p, terms_count, coefficients + t * terms_count,
                                     out + t * kBlock + p);
        }
    }
}

FARHEAR_CLONES void product_of_fours(const double* terms, std::size_t terms_count,
                                     const double* coefficients, std::size_t count, double* out) {
    any_product<Four, 8>(terms, terms_count, coefficients, count, out);
}

/// out[instant][place] = sum over terms, for `count` instants whose coefficients stand in
/// coefficients[count][terms]. Terms and out are aligned to 64 bytes.
void block_product(const double* terms, std::size_t terms_count, const double* coefficients,
                   std::size_t count, double* out) {
    if (vector_math::has_wide_registers()) {
        product_of_fours(terms, terms_count, coefficients, count, out);
    } else {
        any_product<Two, 4>(terms, terms_count, coefficients, count, out);
    }
}

}  // namespace

Terms basis(double lat_deg, double lon_deg, double modip_deg) noexcept {
    const auto p = map_series::powers(lat_deg, lon_deg, modip_deg);
    Terms out{};
    map_series::fill(kFof2Powers, p, out.fof2);
    map_series::fill(kM3000Powers, p, out.m3000);
    return out;
}

MapValues combine(const Terms& place, const Terms& instant) noexcept {
    return {map_series::dot(place.fof2, instant.fof2), map_series::dot(place.m3000, instant.m3000)};
}

void product(std::span<const double> lat_deg, std::span<const double> lon_deg,
             std::span<const double> modip_deg, std::span<const Terms> instants,
             std::span<double> fof2_mhz, std::span<double> m3000f2_ratio) {
    const std::size_t places = lat_deg.size();
    const std::size_t count = instants.size();
    checks::same_length("lon_deg", lon_deg.size(), places);
    checks::same_length("modip_deg", modip_deg.size(), places);
    std::vector<double> fof2_terms(fof2_mhz.empty() ? 0 : count * kFof2Terms_count);
    std::vector<double> m3000_terms(m3000f2_ratio.empty() ? 0 : count * kM3000Terms_count);
    for (std::size_t t = 0; t < count; ++t) {
        if (!fof2_mhz.empty()) {
            std::ranges::copy(instants[t].fof2, fof2_terms.begin() + static_cast<std::ptrdiff_t>(
                                                                         t * kFof2Terms_count));
        }
        if (!m3000f2_ratio.empty()) {
            std::ranges::copy(instants[t].m3000, m3000_terms.begin() + static_cast<std::ptrdiff_t>(
                                                                           t * kM3000Terms_count));
        }
    }
    if (!fof2_mhz.empty()) {
        checks::same_length("fof2_mhz", fof2_mhz.size(), places * count);
    }
    if (!m3000f2_ratio.empty()) {
        checks::same_length("m3000f2_ratio", m3000f2_ratio.size(), places * count);
    }
    if (places == 0 || count == 0) {
        return;
    }
    std::vector<Block> block(1);
    struct alignas(64) Row {
        std::array<double, kBlock> place;
    };
    std::vector<Row> sums(count);
    std::array<double, kBlock> lat{};
    std::array<double, kBlock> lon{};
    std::array<double, kBlock> modip{};
    for (std::size_t first = 0; first < places; first += kBlock) {
        const std::size_t n = std::min(kBlock, places - first);
        for (std::size_t i = 0; i < kBlock; ++i) {
            const std::size_t p = first + std::min(i, n - 1);  // the last block repeats its end
            lat[i] = lat_deg[p];
            lon[i] = lon_deg[p];
            modip[i] = modip_deg[p];
        }
        block_terms(lat.data(), lon.data(), modip.data(), block[0]);
        const auto scatter = [&](std::span<double> out) {
            for (std::size_t t = 0; t < count; ++t) {
                std::copy_n(sums[t].place.begin(), n, &out[t * places + first]);
            }
        };
        if (!fof2_mhz.empty()) {
            block_product(block[0].fof2.data(), kFof2Terms_count, fof2_terms.data(), count,
                          sums[0].place.data());
            scatter(fof2_mhz);
        }
        if (!m3000f2_ratio.empty()) {
            block_product(block[0].m3000.data(), kM3000Terms_count, m3000_terms.data(), count,
                          sums[0].place.data());
            scatter(m3000f2_ratio);
        }
    }
}

}  // namespace farhear::ionosphere
