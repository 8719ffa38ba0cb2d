#include "farhear/noise.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "elementary.hpp"
#include "scales.hpp"

namespace farhear::noise {

namespace {

using scales::kDecile;

constexpr double kDb = 10.0 / std::numbers::ln10;  // dB per neper of power

struct Law {
    double c;
    double d;
    double upper_db;
    double lower_db;
};
// city, residential, rural, quiet rural [memory: P.372]
constexpr std::array<Law, 4> kManMade = {Law{76.8, 27.7, 11.0, 6.7}, Law{72.5, 27.7, 10.6, 5.3},
                                         Law{67.2, 27.7, 9.2, 4.6}, Law{53.6, 28.6, 9.2, 4.6}};

struct Moments {
    double median_db;
    double decile_db;
};

Moments match(std::span<const Source> sources, bool upper) noexcept {
    const auto sigma = [&](const Source& s) {
        return (upper ? s.upper_db : s.lower_db) / kDecile / kDb;
    };
    const auto log_power = [&](const Source& s) {
        return s.fa_db / kDb + 0.5 * sigma(s) * sigma(s);
    };
    // against the strongest: squares of powers that vary widely would overflow
    double strongest = -std::numeric_limits<double>::infinity();
    for (const auto& s : sources) {
        strongest = std::max(strongest, log_power(s));
    }
    double mean = 0.0;
    double variance = 0.0;
    for (const auto& s : sources) {
        const double power = elementary::exp(log_power(s) - strongest);
        mean += power;
        variance += power * power * elementary::expm1(sigma(s) * sigma(s));
    }
    if (!(mean > 0.0)) {
        return {-std::numeric_limits<double>::infinity(), 0.0};
    }
    const double sigma2 = elementary::log1p(variance / (mean * mean));
    return {kDb * (strongest + elementary::log(mean) - 0.5 * sigma2),
            kDecile * kDb * std::sqrt(sigma2)};
}

}  // namespace

Source man_made(Environment environment, double freq_mhz) noexcept {
    const Law& law = kManMade.at(static_cast<std::size_t>(environment));
    return {law.c - law.d * elementary::log10(freq_mhz), law.upper_db, law.lower_db};
}

Source galactic(double freq_mhz) noexcept {
    return {52.0 - 23.0 * elementary::log10(freq_mhz), 2.0, 2.0};
}

double galactic_share(double freq_mhz, double fof2_mhz) noexcept {
    constexpr double kWidth = 0.1;
    return 0.5 *
           elementary::erfc(-elementary::log(freq_mhz / fof2_mhz) / (kWidth * std::numbers::sqrt2));
}

Source combine(std::span<const Source> sources) noexcept {
    const auto upper = match(sources, true);
    const auto lower = match(sources, false);
    return {upper.median_db, upper.decile_db, lower.decile_db};
}

double power_dbw(double fa_db, double bandwidth_hz) noexcept {
    return fa_db + 10.0 * elementary::log10(bandwidth_hz) - 204.0;
}

}  // namespace farhear::noise
