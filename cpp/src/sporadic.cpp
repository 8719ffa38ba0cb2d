#include "farhear/sporadic.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <span>
#include <utility>

#include "checks.hpp"
#include "elementary.hpp"
#include "farhear/error.hpp"
#include "farhear/ionosphere.hpp"
#include "map_series.hpp"
#include "scales.hpp"
#include "vector_math.hpp"

namespace farhear::sporadic {

namespace {

using scales::kDecile;

constexpr double kBelow = 3.1671241833119857e-05;  // normal distribution at -4
// How many powers of sin(modip) go with each multiple of longitude.
constexpr std::array<int, 5> kLowerPowers = {11, 13, 7, 1, 1};
constexpr std::array<int, 6> kMedianPowers = {11, 13, 7, 3, 1, 1};
constexpr std::array<int, 5> kUpperPowers = {11, 12, 6, 3, 1};

/// x where it is well above `least`, never below it, without a kink.
double softly_above(double x, double least, double width) noexcept {
    const double d = x - least;
    return least + 0.5 * (d + std::sqrt(d * d + width * width));
}

}  // namespace

Basis basis(double lat_deg, double lon_deg, double modip_deg) noexcept {
    const auto p = map_series::powers(lat_deg, lon_deg, modip_deg);
    Basis out{};
    map_series::fill(kLowerPowers, p, out.lower);
    map_series::fill(kMedianPowers, p, out.median);
    map_series::fill(kUpperPowers, p, out.upper);
    return out;
}

Maps::Maps(std::vector<double> lower, std::vector<double> median, std::vector<double> upper)
    : lower_(std::move(lower)), median_(std::move(median)), upper_(std::move(upper)) {
    constexpr std::size_t kSets = std::size_t{12} * 2;
    checks::same_length("lower", lower_.size(), kSets * kLowerTerms_count * kDecileHarmonics_count);
    checks::same_length("median", median_.size(),
                        kSets * kMedianTerms_count * kMedianHarmonics_count);
    checks::same_length("upper", upper_.size(), kSets * kUpperTerms_count * kDecileHarmonics_count);
    for (const auto* values : {&lower_, &median_, &upper_}) {
        for (std::size_t i = 0; i < values->size(); ++i) {
            if (!std::isfinite((*values)[i])) {
                throw InputError(checks::text("map coefficient ", i, " is not finite"));
            }
        }
    }
}

Terms Maps::at(double t_unix_s, double r12) const {
    const double level =
        (std::clamp(r12, 0.0, 200.0) - kLowLevel_r12) / (kHighLevel_r12 - kLowLevel_r12);
    const auto when = map_series::between_months(t_unix_s);
    Terms out{};
    map_series::collapse<kDecileHarmonics_count>(lower_, when, level, out.lower);
    map_series::collapse<kMedianHarmonics_count>(median_, when, level, out.median);
    map_series::collapse<kDecileHarmonics_count>(upper_, when, level, out.upper);
    return out;
}

Distribution combine(const Basis& place, const Terms& instant) noexcept {
    const double median = softly_above(map_series::dot(place.median, instant.median), 1.0, 0.3);
    const double up = map_series::dot(place.upper, instant.upper) / median;
    const double down = map_series::dot(place.lower, instant.lower) / median;
    // ratios of the deciles to the median: above by 5 % to 4 times, below by 5 % to a quarter
    const double upper = std::min(softly_above(up, 1.05, 0.1), 4.0);
    const double lower = std::max(2.0 - softly_above(2.0 - down, 1.05, 0.1), 0.25);
    return {median, -elementary::log(lower) / kDecile, elementary::log(upper) / kDecile};
}

Distribution from_deciles(double lower_mhz, double median_mhz, double upper_mhz) noexcept {
    return {median_mhz, elementary::log(median_mhz / lower_mhz) / kDecile,
            elementary::log(upper_mhz / median_mhz) / kDecile};
}

double quantile_mhz(const Distribution& es, double z) noexcept {
    return es.median_mhz * vector_math::exp(z * (z < 0.0 ? es.lower_sigma : es.upper_sigma));
}

double probability_above(const Distribution& es, double freq_mhz) noexcept {
    const double log_ratio = elementary::log(freq_mhz / es.median_mhz);
    const double sigma = log_ratio < 0.0 ? es.lower_sigma : es.upper_sigma;
    return vector_math::normal(-log_ratio / sigma);
}

double loss_db(double hop_km, double freq_mhz, double foes_mhz) noexcept {
    constexpr double kMost_db = 80.0;
    const double ratio = freq_mhz / foes_mhz;
    const double far = hop_km / 2600.0;
    const double near = hop_km / 250.0;
    const double loss =
        (40.0 / (1.0 + hop_km / 130.0 + near * near) + 0.2 * far * far) * ratio * ratio +
        vector_math::exp((hop_km - 1660.0) / 280.0);
    return loss / std::sqrt(1.0 + loss * loss / (kMost_db * kMost_db));
}

double hidden_share(double log_ratio) noexcept {
    constexpr double kMostHidden = 0.97;
    constexpr double kWidth = 0.15;                         // over the patches of one layer
    constexpr double kLogBlanketing = -0.5108256237659907;  // ln 0.6
    const double z = (log_ratio + kLogBlanketing) / kWidth;
    return z < -4.0 ? 0.0 : kMostHidden * (vector_math::normal(z) - kBelow) / (1.0 - kBelow);
}

double obscuration_db(double foes_mhz, double vertical_mhz) noexcept {
    return -scales::decibel(1.0 - hidden_share(vector_math::log(foes_mhz / vertical_mhz)));
}

void foes(const Maps& maps, const magnetic::Model& field, std::span<const double> lat_deg,
          std::span<const double> lon_deg, std::span<const double> t_unix_s,
          std::span<const double> f107_sfu, std::span<const std::int64_t> place_index,
          std::span<const std::int64_t> instant_index, std::span<double> lower_mhz,
          std::span<double> median_mhz, std::span<double> upper_mhz) {
    constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
    checks::same_length("lon_deg", lon_deg.size(), lat_deg.size());
    checks::same_length("f107_sfu", f107_sfu.size(), t_unix_s.size());
    checks::within("lat_deg", lat_deg, -90.0, 90.0);
    checks::within("f107_sfu", f107_sfu, 50.0, 400.0);
    const checks::Pairs pairs(lat_deg.size(), t_unix_s.size(), place_index, instant_index);
    for (const auto& out : {lower_mhz, median_mhz, upper_mhz}) {
        checks::same_length("output", out.size(), pairs.size());
    }
    std::vector<Terms> terms(t_unix_s.size());
    std::vector<double> year(t_unix_s.size(), kNan);
    for (std::size_t t = 0; t < terms.size(); ++t) {
        if (!std::isnan(t_unix_s[t]) && !std::isnan(f107_sfu[t])) {
            terms[t] = maps.at(t_unix_s[t], ionosphere::r12_from_f107(f107_sfu[t]));
            year[t] = map_series::middle_of_year(t_unix_s[t]);
        }
    }
    Basis here{};
    std::size_t current = lat_deg.size();
    double current_year = kNan;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
        const auto [p, t] = pairs[i];
        if (std::isnan(year[t]) || std::isnan(lat_deg[p] + lon_deg[p])) {
            lower_mhz[i] = median_mhz[i] = upper_mhz[i] = kNan;
            continue;
        }
        if (p != current || year[t] != current_year) {
            current = p;
            current_year = year[t];
            const auto at_300 = field.components(current_year, lat_deg[p], lon_deg[p], 300.0);
            here = basis(lat_deg[p], lon_deg[p],
                         magnetic::modip_deg(magnetic::dip_deg(at_300), lat_deg[p]));
        }
        const Distribution es = combine(here, terms[t]);
        lower_mhz[i] = quantile_mhz(es, -kDecile);
        median_mhz[i] = es.median_mhz;
        upper_mhz[i] = quantile_mhz(es, kDecile);
    }
}

}  // namespace farhear::sporadic
