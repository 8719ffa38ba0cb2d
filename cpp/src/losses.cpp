#include "farhear/losses.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <numbers>

#include "checks.hpp"
#include "elementary.hpp"
#include "farhear/sun.hpp"
#include "scales.hpp"
#include "vector_math.hpp"

namespace farhear::losses {

namespace {

using scales::smooth_step;
using vector_math::kDeg_per_rad;
using vector_math::kRad_per_deg;

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kDb = 10.0 / std::numbers::ln10;  // dB per neper of power

double squared(double x) noexcept { return x * x; }

/// x above 0, else 0; NaN stays.
double above_zero(double x) noexcept { return x < 0.0 ? 0.0 : x; }

/// Secant of the angle of incidence where flare and polar-cap losses are counted.
double d_secant(double cos_elevation) noexcept {
    constexpr double kRatio = sun::kEarth_radius_km / (sun::kEarth_radius_km + kHeightD_km);
    return 1.0 / std::sqrt(1.0 - squared(kRatio * cos_elevation));
}

// ---------------------------------------------------------------- the auroral tables

constexpr std::size_t kColumns = 8;
constexpr std::size_t kRows = 9;
using Row = std::array<double, kColumns>;
using Season = std::array<Row, kRows>;
using Table = std::array<Season, 3>;

constexpr double kFirstRow_deg = 40.0;  // a row of zeros, then the rows of the source
constexpr double kRow_deg = 5.0;
constexpr double kFirstColumn_h = 2.5;

// ITU-R P.533 Table 2 [memory, every entry]. Up to 2500 km, then beyond; winter, equinox, summer.
// A row of 8 ranges of local time, 01-04 first, for each range of latitude, lowest first. In nearly
// every cell the rows 45, 50 and 55 stand as 1 : 2 : 3; the 0.5 that ends the row 50 of the second
// winter breaks that and may be a slip of memory for 0.9.
constexpr std::array<Table, 2> kAuroral_db = {
    Table{
        Season{Row{}, Row{0.4, 0.3, 1.1, 0.1, 0.1, 0.6, 0.7, 0.3},
               Row{0.9, 0.6, 2.2, 0.2, 0.2, 1.2, 1.5, 0.6},
               Row{1.3, 1.0, 3.2, 0.3, 0.4, 1.8, 2.3, 0.9},
               Row{2.0, 4.5, 6.6, 1.4, 0.8, 2.7, 3.0, 2.0},
               Row{7.0, 16.0, 14.0, 3.6, 2.0, 6.8, 9.8, 6.6},
               Row{6.2, 15.6, 12.8, 2.3, 1.5, 4.6, 7.0, 5.0},
               Row{3.4, 8.3, 8.6, 0.9, 0.5, 2.5, 3.0, 3.0},
               Row{2.0, 6.6, 6.2, 1.5, 0.5, 1.4, 1.5, 1.0}},
        Season{Row{}, Row{0.5, 0.6, 1.6, 1.0, 0.7, 1.3, 1.0, 1.3},
               Row{1.1, 1.3, 3.3, 2.0, 1.4, 2.6, 2.0, 2.6},
               Row{1.7, 2.0, 5.0, 3.0, 2.2, 4.0, 3.0, 4.0},
               Row{2.4, 4.4, 7.5, 5.0, 2.6, 4.8, 5.5, 6.1},
               Row{6.7, 11.2, 17.0, 9.0, 7.2, 9.0, 10.9, 15.0},
               Row{6.5, 12.0, 21.4, 8.5, 4.8, 6.0, 10.0, 13.7},
               Row{3.3, 11.0, 11.6, 5.1, 2.6, 4.0, 6.0, 7.0},
               Row{1.4, 2.5, 7.4, 3.8, 1.0, 2.4, 2.4, 3.3}},
        Season{Row{}, Row{0.8, 0.6, 0.8, 0.7, 0.8, 1.6, 1.5, 1.3},
               Row{1.6, 1.2, 1.6, 1.5, 1.7, 3.3, 3.1, 2.6},
               Row{2.5, 1.8, 2.4, 2.3, 2.6, 5.0, 4.6, 4.0},
               Row{3.2, 2.7, 4.0, 3.0, 3.0, 6.5, 6.7, 5.0},
               Row{6.5, 4.8, 9.0, 6.0, 4.8, 9.1, 9.5, 8.9},
               Row{4.9, 4.2, 6.2, 4.5, 3.8, 5.4, 7.7, 7.2},
               Row{2.4, 3.0, 2.8, 3.0, 2.7, 4.2, 4.8, 4.5},
               Row{2.2, 2.7, 1.2, 2.3, 2.2, 3.8, 4.2, 3.8}},
    },
    Table{
        Season{Row{}, Row{0.3, 0.3, 0.4, 0.0, 0.0, 0.3, 0.5, 0.4},
               Row{0.6, 0.6, 0.8, 0.1, 0.1, 0.6, 1.0, 0.5},
               Row{0.9, 1.0, 1.3, 0.1, 0.1, 1.0, 1.5, 1.4},
               Row{1.6, 2.4, 2.7, 0.6, 0.4, 1.7, 1.8, 3.5},
               Row{5.3, 7.0, 5.9, 2.0, 0.7, 4.0, 4.5, 10.0},
               Row{5.5, 5.0, 7.0, 1.9, 0.5, 3.0, 4.5, 9.6},
               Row{2.5, 4.5, 4.3, 0.8, 0.3, 1.6, 2.0, 4.8},
               Row{1.5, 2.7, 2.5, 0.8, 0.0, 0.9, 0.8, 1.6}},
        Season{Row{}, Row{0.3, 0.3, 0.6, 0.6, 0.4, 1.0, 0.9, 0.6},
               Row{0.6, 0.6, 1.2, 1.3, 0.8, 2.0, 1.8, 1.3},
               Row{0.9, 0.9, 1.8, 2.0, 1.3, 3.1, 2.7, 2.0},
               Row{1.4, 2.0, 3.2, 3.8, 1.8, 4.0, 5.4, 3.4},
               Row{3.9, 5.2, 7.6, 9.0, 5.0, 7.5, 10.0, 7.9},
               Row{3.7, 5.6, 7.7, 8.1, 3.5, 5.0, 9.5, 7.3},
               Row{1.8, 2.9, 4.1, 5.7, 1.5, 3.2, 5.6, 3.6},
               Row{1.0, 1.2, 2.7, 3.0, 0.6, 2.0, 2.3, 1.6}},
        Season{Row{}, Row{0.7, 0.8, 0.7, 0.3, 0.7, 0.4, 1.4, 0.8},
               Row{1.4, 1.6, 1.4, 0.6, 1.4, 0.8, 2.9, 1.6},
               Row{2.2, 2.4, 2.2, 1.0, 2.2, 1.2, 4.4, 2.5},
               Row{2.8, 3.8, 3.7, 1.4, 2.7, 1.6, 4.5, 3.2},
               Row{5.5, 8.5, 7.6, 2.6, 4.2, 3.2, 5.5, 5.7},
               Row{4.4, 6.3, 5.9, 1.9, 3.3, 1.7, 4.4, 4.5},
               Row{1.9, 4.6, 2.9, 1.3, 2.2, 1.3, 2.8, 2.7},
               Row{1.9, 3.8, 2.2, 1.1, 2.1, 1.2, 2.3, 2.4}},
    },
};

// ---------------------------------------------------------------- the D region

/// exp(x) for constants: Taylor series of x / 64, squared six times.
constexpr double constant_exp(double x) {
    const double small = x / 64.0;
    double term = 1.0;
    double sum = 1.0;
    for (int n = 1; n < 20; ++n) {
        term *= small / n;
        sum += term;
    }
    for (int i = 0; i < 6; ++i) {
        sum *= sum;
    }
    return sum;
}

constexpr double kMiddle_km = 75.0;
constexpr double kHalf_km = 20.0;
constexpr double kDecay_per_km = 0.15;

/// e^2 / (2 eps0 m c) in dB, CODATA 2018: loss = this x density x frequency of collisions / (..).
/// Per km of path.
constexpr double kAbsorption = 20.0 / std::numbers::ln10 * 1.602176634e-19 * 1.602176634e-19 /
                               (2.0 * 8.8541878128e-12 * 9.1093837015e-31 * 2.99792458e8) * 1e3;

// Gauss's rule of 12 points, the positive half (computed with numpy, agrees with printed tables).
constexpr std::array<double, DRegion::kHalf_count> kAbscissa = {
    0.1252334085114689, 0.3678314989981802, 0.5873179542866175,
    0.7699026741943047, 0.9041172563704748, 0.9815606342467192};
constexpr std::array<double, DRegion::kHalf_count> kWeight = {
    0.2491470458134027,  0.2334925365383546,  0.20316742672306573,
    0.16007832854334642, 0.10693932599531907, 0.04717533638651141};

/// What does not depend on the ionosphere, by point: upper half, then lower half.
struct Heights {
    static constexpr std::size_t kCount = 2 * DRegion::kHalf_count;
    std::array<double, kCount> factor{};              // constant x weight x frequency of collisions
    std::array<double, kCount> collisions_squared{};  // [1/s^2]
    std::array<double, kCount> ratio_squared{};       // of the earth's radius to the distance
};
constexpr Heights make_heights() {
    Heights out;
    for (std::size_t i = 0; i < Heights::kCount; ++i) {
        const bool upper = i < DRegion::kHalf_count;
        const std::size_t k = upper ? i : i - DRegion::kHalf_count;
        const double height_km = kMiddle_km + (upper ? kHalf_km : -kHalf_km) * kAbscissa.at(k);
        const double collisions = 1.816e11 * constant_exp(-kDecay_per_km * height_km);
        const double ratio = sun::kEarth_radius_km / (sun::kEarth_radius_km + height_km);
        out.factor.at(i) = kAbsorption * kHalf_km * kWeight.at(k) * collisions;
        out.collisions_squared.at(i) = collisions * collisions;
        out.ratio_squared.at(i) = ratio * ratio;
    }
    return out;
}
constexpr Heights kHeights = make_heights();

using Densities = std::array<double, Heights::kCount>;

/// Density of the profile at the points. One exponential serves a point and its mirror image.
Densities densities(const DProfile& profile) noexcept {
    const double slope = profile.beta_per_km - kDecay_per_km;
    const double middle = 1.43e13 * elementary::exp(-kDecay_per_km * profile.h_prime_km +
                                                    slope * (kMiddle_km - profile.h_prime_km));
    Densities out;
    for (std::size_t i = 0; i < DRegion::kHalf_count; ++i) {
        const double up = elementary::exp(slope * kHalf_km * kAbscissa.at(i));
        out[i] = middle * up;                         // NOLINT: i < kHalf_count
        out[i + DRegion::kHalf_count] = middle / up;  // NOLINT
    }
    return out;
}

constexpr double kDark_from_deg = 82.0;
constexpr double kDark_deg = 99.0;  // sunset at 80 km on a bare earth: 90 + acos(6371/6451) = 99.03

/// Cosine of the zenith angle, soft at and below the horizon.
double soft_cosine(double cosine) noexcept {
    constexpr double kSoft = 0.1;  // [own] smaller values make the night dip below its end
    return 0.5 * (cosine + std::sqrt(cosine * cosine + 4.0 * kSoft * kSoft));
}

}  // namespace

// ---------------------------------------------------------------- auroral and other losses

double auroral_db(double geomagnetic_lat_deg, double local_time_h, double season_phase,
                  double distance_km) noexcept {
    if (!std::isfinite(geomagnetic_lat_deg + local_time_h + season_phase + distance_km)) {
        return kNan;
    }
    const double row_at = (std::abs(geomagnetic_lat_deg) - kFirstRow_deg) / kRow_deg;
    if (row_at <= 0.0) {
        return 0.0;
    }
    const double held = std::min(row_at, static_cast<double>(kRows - 1));
    const std::size_t row = std::min(static_cast<std::size_t>(held), kRows - 2);
    const double up = held - static_cast<double>(row);
    const double turns = (local_time_h - kFirstColumn_h) / 24.0;
    const double column_at = (turns - std::floor(turns)) * static_cast<double>(kColumns);
    const std::size_t column = std::min(static_cast<std::size_t>(column_at), kColumns - 1);
    const double later = column_at - static_cast<double>(column);
    const std::size_t next = (column + 1) % kColumns;

    const double phase =
        std::clamp(geomagnetic_lat_deg < 0.0 ? -season_phase : season_phase, -1.0, 1.0);
    const double solstice = phase * phase;
    const std::array<double, 3> seasons = {phase < 0.0 ? solstice : 0.0, 1.0 - solstice,
                                           phase > 0.0 ? solstice : 0.0};
    const double beyond = smooth_step(distance_km, 2000.0, 3000.0);
    const std::array<double, 2> tables = {1.0 - beyond, beyond};

    double loss_db = 0.0;
    for (std::size_t t = 0; t < 2; ++t) {
        double of_table_db = 0.0;
        for (std::size_t s = 0; s < 3; ++s) {
            // NOLINTBEGIN: the indices are below the sizes by the lines above
            const Row& low = kAuroral_db[t][s][row];
            const Row& high = kAuroral_db[t][s][row + 1];
            const double now = low[column] + up * (high[column] - low[column]);
            const double then = low[next] + up * (high[next] - low[next]);
            of_table_db += seasons[s] * (now + later * (then - now));
            // NOLINTEND
        }
        loss_db += tables.at(t) * of_table_db;
    }
    return loss_db;
}

double local_time_h(double lon_deg, double t_unix_s) noexcept {
    const double days = t_unix_s / 86400.0 + lon_deg / 360.0;
    return 24.0 * (days - std::floor(days));
}

// ---------------------------------------------------------------- D region

DProfile quiet_d_profile(double zenith_deg) noexcept {
    constexpr DProfile kNoon = {71.0, 0.39};
    constexpr DProfile kLow = {77.0, 0.33};  // at 80 deg
    constexpr DProfile kNight = {86.0, 0.50};
    constexpr double kLogNoon = 0.009853248278707078;  // ln soft_cosine(cos 0)
    constexpr double kLogLow = -1.5175116434636768;    // ln soft_cosine(cos 80 deg)
    const double cosine = vector_math::sincos(zenith_deg * kRad_per_deg).cos;
    const double rise = (kLogNoon - elementary::log(soft_cosine(cosine))) / (kLogNoon - kLogLow);
    const double dark = smooth_step(zenith_deg, kDark_from_deg, kDark_deg);
    const double h_prime_km = kNoon.h_prime_km + rise * (kLow.h_prime_km - kNoon.h_prime_km);
    const double beta_per_km = kNoon.beta_per_km + rise * (kLow.beta_per_km - kNoon.beta_per_km);
    return {h_prime_km + dark * (kNight.h_prime_km - h_prime_km),
            beta_per_km + dark * (kNight.beta_per_km - beta_per_km)};
}

DRegion::DRegion(const DProfile& profile) noexcept : weighted_(densities(profile)) {
    for (std::size_t i = 0; i < weighted_.size(); ++i) {
        weighted_.at(i) *= kHeights.factor.at(i);
    }
}

DRegion::DRegion(double zenith_deg, double xray_w_m2) noexcept {
    const DProfile quiet = quiet_d_profile(zenith_deg);
    weighted_ = densities(quiet);
    if (!(xray_w_m2 <= 0.0)) {  // also NaN
        constexpr double kLimit_m3 = 1e10;
        const double lit = 1.0 - smooth_step(zenith_deg, kDark_from_deg, kDark_deg);
        const double decades = 0.5 * elementary::log10(1.0 + squared(xray_w_m2 / 1e-6));
        const Densities flare =
            densities({quiet.h_prime_km - lit * 4.85 * decades,
                       quiet.beta_per_km + lit * 0.13 * elementary::tanh(decades / 1.5)});
        for (std::size_t i = 0; i < weighted_.size(); ++i) {
            const double more = flare.at(i) - weighted_.at(i);
            weighted_.at(i) += more / (1.0 + above_zero(more) / kLimit_m3);
        }
    }
    for (std::size_t i = 0; i < weighted_.size(); ++i) {
        weighted_.at(i) *= kHeights.factor.at(i);
    }
}

double DRegion::loss_db(double freq_mhz, double gyro_longitudinal_mhz,
                        double cos_elevation) const noexcept {
    const double w = 2e6 * std::numbers::pi * (freq_mhz + gyro_longitudinal_mhz);
    const double w2 = w * w;
    const double c2 = cos_elevation * cos_elevation;
    Densities parts;
    for (std::size_t i = 0; i < parts.size(); ++i) {  // two loops: this one is vectorised
        // NOLINTNEXTLINE: all of one size
        parts[i] = weighted_[i] / ((kHeights.collisions_squared[i] + w2) *
                                   std::sqrt(1.0 - c2 * kHeights.ratio_squared[i]));
    }
    double loss_db = 0.0;
    for (const double part : parts) {
        loss_db += part;
    }
    return loss_db;
}

// ---------------------------------------------------------------- disturbances

double flare_db(double freq_mhz, double xray_w_m2, double zenith_deg,
                double cos_elevation) noexcept {
    if (std::isnan(freq_mhz + xray_w_m2 + zenith_deg + cos_elevation)) {
        return kNan;
    }
    const double haf_overhead_mhz =
        above_zero(10.0 * elementary::log10(above_zero(xray_w_m2)) + 65.0);
    const double cosine = above_zero(vector_math::sincos(zenith_deg * kRad_per_deg).cos);
    const double ratio = haf_overhead_mhz / freq_mhz;
    // (cos^0.75)^1.5 = cos^(1 + 1/8)
    const double eighth_root = std::sqrt(std::sqrt(std::sqrt(cosine)));
    return ratio * std::sqrt(ratio) * cosine * eighth_root * d_secant(cos_elevation);
}

double polar_cap_db(double freq_mhz, double flux_2_pfu, double flux_5_pfu, double zenith_deg,
                    double geomagnetic_lat_deg, double cos_elevation) noexcept {
    const double day_db = 0.115 * std::sqrt(above_zero(flux_5_pfu));
    const double night_db = 0.020 * std::sqrt(above_zero(flux_2_pfu));
    const double at_30_db = day_db + smooth_step(zenith_deg, 80.0, 100.0) * (night_db - day_db);
    const double inside = smooth_step(std::abs(geomagnetic_lat_deg), 58.0, 66.0);
    const double ratio = 30.0 / freq_mhz;
    return at_30_db * inside * ratio * std::sqrt(ratio) * d_secant(cos_elevation);
}

double storm_factor(double kp, double modip_deg) noexcept {
    return 1.0 - 0.25 * smooth_step(kp, 4.0, 9.0) * smooth_step(std::abs(modip_deg), 30.0, 50.0);
}

// ---------------------------------------------------------------- ground

double reflected_share(const Ground& ground, double freq_mhz, double sin_elevation) noexcept {
    // epsilon = e + i d and root = sqrt(epsilon - cos^2) = p + i q. d and q carry the sign of a
    // loss, which the powers do not see.
    constexpr double kVacuum_f_m = 8.8541878128e-12;
    const double s = above_zero(sin_elevation);
    const double e = ground.permittivity_ratio;
    const double d = ground.conductivity_s_m / (2e6 * std::numbers::pi * freq_mhz * kVacuum_f_m);
    const double real = e - 1.0 + s * s;
    const double p = std::sqrt(0.5 * (std::sqrt(real * real + d * d) + real));
    const double q = 0.5 * d / p;
    const double horizontal = (squared(s - p) + q * q) / (squared(s + p) + q * q);
    const double vertical =
        (squared(e * s - p) + squared(d * s - q)) / (squared(e * s + p) + squared(d * s + q));
    return 0.5 * (horizontal + vertical);
}

double ground_reflection_db(double freq_mhz, double sin_elevation, double sea_share) noexcept {
    const double sea = reflected_share(kSea, freq_mhz, sin_elevation);
    const double land = reflected_share(kLand, freq_mhz, sin_elevation);
    return -kDb * elementary::log(land + sea_share * (sea - land));
}

namespace {

// The raster that is read from the outline, cells, and the grid that is kept, points.
constexpr std::size_t kCells_lat = 720;
constexpr std::size_t kCells_lon = 2 * kCells_lat;
constexpr double kCell_deg = 180.0 / static_cast<double>(kCells_lat);
constexpr std::size_t kPoints_lat = 361;
constexpr std::size_t kPoints_lon = 2 * (kPoints_lat - 1);
constexpr double kPoint_deg = 180.0 / static_cast<double>(kPoints_lat - 1);

/// Cells of sea to the west of the edges of a row's cells.
using Sums = std::array<std::uint16_t, kCells_lon + 1>;

/// The same at any number of cells east of -180 deg, within a turn on either side.
double sum_to(const Sums& sums, double cells) noexcept {
    constexpr auto kTurn = static_cast<double>(kCells_lon);
    const double turn = std::floor(cells / kTurn);
    const double in_row = cells - turn * kTurn;
    const std::size_t cell = std::min(static_cast<std::size_t>(in_row), kCells_lon - 1);
    const double low = sums.at(cell);
    return turn * sums.back() + low +
           (in_row - static_cast<double>(cell)) * (sums.at(cell + 1) - low);
}

/// Part of a cap of kRadius_km that lies on a row of cells.
struct Strip {
    std::size_t row;
    double half_cells;  // half its width, in cells
    double weight;      // area of a cell
};

std::vector<Strip> cap(double lat_deg) {
    constexpr double kReach_rad = Land::kRadius_km / sun::kEarth_radius_km;
    const auto centre = vector_math::sincos(lat_deg * kRad_per_deg);
    std::vector<Strip> strips;
    for (std::size_t row = 0; row < kCells_lat; ++row) {
        const double row_deg = -90.0 + kCell_deg * (static_cast<double>(row) + 0.5);
        if (std::abs(row_deg - lat_deg) * kRad_per_deg < kReach_rad) {
            const auto at = vector_math::sincos(row_deg * kRad_per_deg);
            const double cosine = (elementary::cos(kReach_rad) - centre.sin * at.sin) /
                                  std::max(centre.cos * at.cos, 1e-12);
            const double half_deg = elementary::acos(std::clamp(cosine, -1.0, 1.0)) * kDeg_per_rad;
            strips.push_back({row, half_deg / kCell_deg, at.cos});
        }
    }
    return strips;
}

std::vector<Sums> read_raster(const zone::Regions& land) {
    std::vector<double> lat(kCells_lon);
    std::vector<double> lon(kCells_lon);
    for (std::size_t j = 0; j < kCells_lon; ++j) {
        lon[j] = -180.0 + kCell_deg * (static_cast<double>(j) + 0.5);
    }
    std::vector<std::int64_t> region(kCells_lon);
    std::vector<Sums> rows(kCells_lat);
    for (std::size_t i = 0; i < kCells_lat; ++i) {
        std::ranges::fill(lat, -90.0 + kCell_deg * (static_cast<double>(i) + 0.5));
        land.find(lat, lon, region);
        Sums& sums = rows[i];
        sums[0] = 0;
        for (std::size_t j = 0; j < kCells_lon; ++j) {
            // NOLINTNEXTLINE: j + 1 <= kCells_lon
            sums[j + 1] = static_cast<std::uint16_t>(sums[j] + (region[j] < 0 ? 1 : 0));
        }
    }
    return rows;
}

}  // namespace

Land::Land(const zone::Regions& land) : sea_(kPoints_lat * kPoints_lon) {
    const auto rows = read_raster(land);
    for (std::size_t i = 0; i < kPoints_lat; ++i) {
        const auto strips = cap(-90.0 + kPoint_deg * static_cast<double>(i));
        double area = 0.0;
        for (const auto& strip : strips) {
            area += strip.weight * 2.0 * strip.half_cells;
        }
        for (std::size_t j = 0; j < kPoints_lon; ++j) {
            const double at = static_cast<double>(j) * (kPoint_deg / kCell_deg);
            double sea = 0.0;
            for (const auto& strip : strips) {
                const Sums& sums = rows[strip.row];
                sea += strip.weight *
                       (sum_to(sums, at + strip.half_cells) - sum_to(sums, at - strip.half_cells));
            }
            sea_[i * kPoints_lon + j] = static_cast<float>(std::clamp(sea / area, 0.0, 1.0));
        }
    }
}

double Land::sea_share(double lat_deg, double lon_deg) const noexcept {
    if (!std::isfinite(lat_deg + lon_deg)) {
        return kNan;
    }
    const double row_at = (std::clamp(lat_deg, -90.0, 90.0) + 90.0) / kPoint_deg;
    const std::size_t row = std::min(static_cast<std::size_t>(row_at), kPoints_lat - 2);
    const double up = row_at - static_cast<double>(row);
    const double turns = (lon_deg + 180.0) / 360.0;
    const double column_at = (turns - std::floor(turns)) * static_cast<double>(kPoints_lon);
    const std::size_t column = std::min(static_cast<std::size_t>(column_at), kPoints_lon - 1);
    const double east = column_at - static_cast<double>(column);
    const std::size_t next = column + 1 == kPoints_lon ? 0 : column + 1;
    const auto sea = [this](std::size_t i, std::size_t j) -> double {
        return sea_[i * kPoints_lon + j];
    };
    const double low = sea(row, column) + east * (sea(row, next) - sea(row, column));
    const double high = sea(row + 1, column) + east * (sea(row + 1, next) - sea(row + 1, column));
    return low + up * (high - low);
}

void Land::sea_share(std::span<const double> lat_deg, std::span<const double> lon_deg,
                     std::span<double> share) const {
    checks::same_length("lon_deg", lon_deg.size(), lat_deg.size());
    checks::same_length("output", share.size(), lat_deg.size());
    checks::within("lat_deg", lat_deg, -90.0, 90.0);
    for (std::size_t i = 0; i < share.size(); ++i) {
        share[i] = sea_share(lat_deg[i], lon_deg[i]);
    }
}

// ---------------------------------------------------------------- days within the month

Deciles day_deciles(double freq_over_muf_ratio, double geomagnetic_lat_deg) noexcept {
    constexpr std::size_t kRatios = 10;
    using Line = std::array<double, kRatios>;
    // ITU-R P.842 [memory]: ratio 0.8, 1, .. 2, then 3, 4, 5
    constexpr std::array<Line, 4> kDeciles_db = {
        Line{8.0, 12.0, 13.0, 10.0, 8.0, 8.0, 8.0, 7.0, 6.0, 5.0},      // lower, below 60 deg
        Line{11.0, 16.0, 17.0, 13.0, 11.0, 11.0, 11.0, 9.0, 8.0, 7.0},  // lower, above
        Line{6.0, 8.0, 12.0, 13.0, 12.0, 9.0, 9.0, 8.0, 7.0, 7.0},      // upper, below
        Line{9.0, 11.0, 12.0, 13.0, 12.0, 9.0, 9.0, 8.0, 7.0, 7.0},     // upper, above
    };
    if (!std::isfinite(geomagnetic_lat_deg) || std::isnan(freq_over_muf_ratio)) {
        return {kNan, kNan};
    }
    const double ratio = std::clamp(freq_over_muf_ratio, 0.8, 5.0);
    const double at = ratio < 2.0 ? (ratio - 0.8) / 0.2 : 6.0 + (ratio - 2.0);
    const std::size_t column = std::min(static_cast<std::size_t>(at), kRatios - 2);
    const double further = at - static_cast<double>(column);
    const double high = smooth_step(std::abs(geomagnetic_lat_deg), 55.0, 65.0);
    const auto blend = [=](const Line& low_lat, const Line& high_lat) {
        const auto line = [=](const Line& l) {
            return l.at(column) + further * (l.at(column + 1) - l.at(column));
        };
        return line(low_lat) + high * (line(high_lat) - line(low_lat));
    };
    return {blend(kDeciles_db[0], kDeciles_db[1]), blend(kDeciles_db[2], kDeciles_db[3])};
}

}  // namespace farhear::losses
