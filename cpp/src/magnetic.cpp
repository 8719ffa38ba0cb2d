#include "farhear/magnetic.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <utility>

#include "checks.hpp"
#include "farhear/error.hpp"
#include "vector_math.hpp"

namespace farhear::magnetic {
namespace {

using vector_math::kDeg_per_rad;
using vector_math::kRad_per_deg;

constexpr std::size_t kDegree = 13;
constexpr std::size_t kCoefficients = kDegree * (kDegree + 2);  // 195
constexpr double kReference_km = 6371.2;
constexpr double kWgs84_a_km = 6378.137;
constexpr double kWgs84_f = 1.0 / 298.257223563;
constexpr double kWgs84_e2 = kWgs84_f * (2.0 - kWgs84_f);
constexpr double kMhz_per_nt = 2.799249e-5;
constexpr double kMin_cosine = 1e-9;
constexpr double kLow_height_km = -10.0;
constexpr double kHigh_height_km = 10000.0;

constexpr std::size_t kBlock = 16;  // places worked on together; all working arrays stay in L1

using Table = std::array<std::array<double, kDegree + 1>, kDegree + 1>;  // [order][degree]

/// The coefficients of one date by order and degree.
struct Sorted {
    Table g{};
    Table h{};
};

Sorted sorted(const std::vector<double>& coefficients_nt) {
    Sorted out;
    std::size_t k = 0;
    for (std::size_t n = 1; n <= kDegree; ++n) {
        out.g[0][n] = coefficients_nt[k++];
        for (std::size_t m = 1; m <= n; ++m) {
            out.g[m][n] = coefficients_nt[k++];
            out.h[m][n] = coefficients_nt[k++];
        }
    }
    return out;
}

/// Factors of the recurrences of the Schmidt functions, which depend on degree and order only:
/// P(n,m) = up x P(n-1,m) - back P(n-2,m) and
/// sin(theta) dP(n,m)/dtheta = n x P(n,m) - slope P(n-1,m).
struct Recurrence {
    Table up{};
    Table back{};
    Table slope{};
    std::array<double, kDegree + 1> diagonal{};
};

Recurrence make_recurrence() {
    Recurrence out;
    for (std::size_t m = 0; m <= kDegree; ++m) {
        const auto md = static_cast<double>(m);
        out.diagonal[m] = m < 2 ? 1.0 : std::sqrt((2.0 * md - 1.0) / (2.0 * md));
        for (std::size_t n = std::max<std::size_t>(m, 1); n <= kDegree; ++n) {
            const auto nd = static_cast<double>(n);
            const double root = std::sqrt(nd * nd - md * md);
            out.slope[m][n] = root;
            if (n > m) {
                out.up[m][n] = (2.0 * nd - 1.0) / root;
                out.back[m][n] = std::sqrt((nd - 1.0) * (nd - 1.0) - md * md) / root;
            }
        }
    }
    return out;
}

const Recurrence& recurrence() {
    static const Recurrence table = make_recurrence();
    return table;
}

using Lane = std::array<double, kBlock>;

/// Field of one block of places, all arrays kBlock long.
///
/// Geocentric sums by order m, with everything that depends on the degree inside. For m > 0 the
/// functions are carried divided by sin(theta), so that nothing is divided by it: the poles are
/// ordinary places. The falling power of the radius is carried inside the recurrence.
FARHEAR_CLONES
void block(const Sorted& model, const Recurrence& rec, const Lane& lat_deg, const Lane& lon_deg,
           const Lane& height_km, Lane& north_nt, Lane& east_nt, Lane& down_nt) {
    Lane sin_lat;
    Lane cos_lat;
    Lane sin_th;
    Lane cos_th;
    Lane rho;
    Lane rho_x;
    Lane rho2;
    Lane sin_phi;
    Lane cos_phi;
    for (std::size_t i = 0; i < kBlock; ++i) {
        const auto lat = vector_math::sincos(lat_deg[i] * kRad_per_deg);
        const auto lon = vector_math::sincos(lon_deg[i] * kRad_per_deg);
        const double normal_km = kWgs84_a_km / std::sqrt(1.0 - kWgs84_e2 * lat.sin * lat.sin);
        const double across_km = (normal_km + height_km[i]) * lat.cos;
        const double along_km = (normal_km * (1.0 - kWgs84_e2) + height_km[i]) * lat.sin;
        const double r_km = std::sqrt(across_km * across_km + along_km * along_km);
        sin_lat[i] = lat.sin;
        cos_lat[i] = lat.cos;
        sin_phi[i] = lon.sin;
        cos_phi[i] = lon.cos;
        sin_th[i] = across_km / r_km;
        cos_th[i] = along_km / r_km;
        rho[i] = kReference_km / r_km;
        rho_x[i] = rho[i] * cos_th[i];
        rho2[i] = rho[i] * rho[i];
    }

    Lane up_r{};    // radial, outward
    Lane south{};   // along colatitude
    Lane east{};    // along longitude
    Lane q;         // P(n, m), over sin(theta) when m > 0, times rho^(n+2)
    Lane q_before;  // the same of degree n - 1, n - 2
    Lane q_before2;

    // order 0: P and dP/dx of the Legendre polynomials
    Lane slope;         // dP(n)/dx times rho^(n+2)
    Lane slope_before;  // of degree n - 1
    for (std::size_t i = 0; i < kBlock; ++i) {
        q_before2[i] = 0.0;
        q_before[i] = rho2[i];
        slope_before[i] = 0.0;
    }
    for (std::size_t n = 1; n <= kDegree; ++n) {
        const double up = rec.up[0][n];
        const double back = rec.back[0][n];
        const auto nd = static_cast<double>(n);
        const double g = model.g[0][n];
        const double g_r = g * (nd + 1.0);
        for (std::size_t i = 0; i < kBlock; ++i) {
            q[i] = up * (rho_x[i] * q_before[i]) - back * (rho2[i] * q_before2[i]);
            slope[i] = rho_x[i] * slope_before[i] + nd * (rho[i] * q_before[i]);
            up_r[i] += g_r * q[i];
            south[i] += g * slope[i];
            q_before2[i] = q_before[i];
            q_before[i] = q[i];
            slope_before[i] = slope[i];
        }
    }
    for (std::size_t i = 0; i < kBlock; ++i) {
        south[i] *= sin_th[i];  // -dP/dtheta = sin(theta) dP/dx
    }

    Lane q_diagonal;  // degree m = order
    Lane sin_m;
    Lane cos_m;
    for (std::size_t i = 0; i < kBlock; ++i) {
        q_diagonal[i] = rho2[i] * rho[i];
        sin_m[i] = sin_phi[i];
        cos_m[i] = cos_phi[i];
    }
    for (std::size_t m = 1; m <= kDegree; ++m) {
        const auto md = static_cast<double>(m);
        Lane r_cos{};
        Lane r_sin{};
        Lane th_cos{};
        Lane th_sin{};
        Lane ph_cos{};
        Lane ph_sin{};
        for (std::size_t i = 0; i < kBlock; ++i) {
            q_before[i] = 0.0;
            q_before2[i] = 0.0;
        }
        for (std::size_t n = m; n <= kDegree; ++n) {
            const double up = rec.up[m][n];
            const double back = rec.back[m][n];
            const double drop = rec.slope[m][n];
            const auto nd = static_cast<double>(n);
            const double g = model.g[m][n];
            const double h = model.h[m][n];
            const double g_r = g * (nd + 1.0);
            const double h_r = h * (nd + 1.0);
            const bool first = n == m;
            for (std::size_t i = 0; i < kBlock; ++i) {
                const double step = up * (rho_x[i] * q_before[i]) - back * (rho2[i] * q_before2[i]);
                const double now = first ? q_diagonal[i] : step;
                const double d = nd * (cos_th[i] * now) - drop * (rho[i] * q_before[i]);
                r_cos[i] += g_r * now;
                r_sin[i] += h_r * now;
                th_cos[i] += g * d;
                th_sin[i] += h * d;
                ph_cos[i] += g * now;
                ph_sin[i] += h * now;
                q_before2[i] = q_before[i];
                q_before[i] = now;
            }
        }
        const double next = m < kDegree ? rec.diagonal[m + 1] : 0.0;
        for (std::size_t i = 0; i < kBlock; ++i) {
            const double c = cos_m[i];
            const double s = sin_m[i];
            up_r[i] += sin_th[i] * (r_cos[i] * c + r_sin[i] * s);
            south[i] -= th_cos[i] * c + th_sin[i] * s;
            east[i] += md * (ph_cos[i] * s - ph_sin[i] * c);
            cos_m[i] = c * cos_phi[i] - s * sin_phi[i];
            sin_m[i] = s * cos_phi[i] + c * sin_phi[i];
            q_diagonal[i] *= next * (rho[i] * sin_th[i]);
        }
    }

    for (std::size_t i = 0; i < kBlock; ++i) {
        // turn by the angle between geodetic and geocentric vertical
        const double sin_psi = sin_lat[i] * sin_th[i] - cos_lat[i] * cos_th[i];
        const double cos_psi = cos_lat[i] * sin_th[i] + sin_lat[i] * cos_th[i];
        north_nt[i] = -south[i] * cos_psi - up_r[i] * sin_psi;
        down_nt[i] = south[i] * sin_psi - up_r[i] * cos_psi;
        east_nt[i] = east[i];
    }
}

FARHEAR_CLONES
void derive_loop(std::size_t n, const double* north_nt, const double* east_nt,
                 const double* down_nt, const double* lat_deg, double* dip_deg, double* modip_deg,
                 double* gyro_mhz) {
    for (std::size_t i = 0; i < n; ++i) {
        const double level2 = north_nt[i] * north_nt[i] + east_nt[i] * east_nt[i];
        const double dip_rad = vector_math::atan2(down_nt[i], std::sqrt(level2));
        const double cosine = vector_math::sincos(lat_deg[i] * kRad_per_deg).cos;
        const double held = cosine < kMin_cosine ? kMin_cosine : cosine;
        dip_deg[i] = dip_rad * kDeg_per_rad;
        modip_deg[i] = vector_math::atan2(dip_rad, std::sqrt(held)) * kDeg_per_rad;
        gyro_mhz[i] = kMhz_per_nt * std::sqrt(level2 + down_nt[i] * down_nt[i]);
    }
}

void check_places(std::span<const double> lat_deg, std::span<const double> lon_deg) {
    checks::same_length("lon_deg", lon_deg.size(), lat_deg.size());
    checks::within("lat_deg", lat_deg, -90.0, 90.0);
    checks::within("lon_deg", lon_deg, -360.0, 360.0);
}

}  // namespace

Model::Model(std::vector<double> epochs_year, std::vector<double> coefficients_nt)
    : epochs_year_(std::move(epochs_year)), coefficients_nt_(std::move(coefficients_nt)) {
    if (epochs_year_.size() < 2) {
        throw InputError(checks::text("epochs_year has ", epochs_year_.size(),
                                      " elements, at least 2 are needed"));
    }
    for (std::size_t i = 0; i < epochs_year_.size(); ++i) {
        if (!std::isfinite(epochs_year_[i]) || (i > 0 && epochs_year_[i] <= epochs_year_[i - 1])) {
            throw InputError(
                checks::text("epochs_year[", i, "] = ", epochs_year_[i], " does not ascend"));
        }
    }
    checks::same_length("coefficients_nt", coefficients_nt_.size(),
                        epochs_year_.size() * kCoefficients);
    for (std::size_t i = 0; i < coefficients_nt_.size(); ++i) {
        if (!std::isfinite(coefficients_nt_[i])) {
            throw InputError(checks::text("coefficients_nt[", i, "] is not finite"));
        }
    }
}

double Model::first_year() const { return epochs_year_.front(); }
double Model::last_year() const { return epochs_year_.back(); }

std::vector<double> Model::at(double year) const {
    if (std::isnan(year)) {
        return std::vector<double>(kCoefficients, std::numeric_limits<double>::quiet_NaN());
    }
    if (year < first_year() || year > last_year()) {
        throw InputError(checks::text("year = ", year, " is outside [", first_year(), ", ",
                                      last_year(),
                                      "], the epochs of the field; it is not extrapolated"));
    }
    const auto after = std::upper_bound(epochs_year_.begin() + 1, epochs_year_.end() - 1, year);
    const auto k = static_cast<std::size_t>(after - epochs_year_.begin());
    const double weight = (year - epochs_year_[k - 1]) / (epochs_year_[k] - epochs_year_[k - 1]);
    std::vector<double> out(kCoefficients);
    for (std::size_t i = 0; i < kCoefficients; ++i) {
        const double before = coefficients_nt_[(k - 1) * kCoefficients + i];
        out[i] = before + weight * (coefficients_nt_[k * kCoefficients + i] - before);
    }
    return out;
}

void Model::components(double year, std::span<const double> lat_deg,
                       std::span<const double> lon_deg, std::span<const double> height_km,
                       std::span<double> north_nt, std::span<double> east_nt,
                       std::span<double> down_nt) const {
    const std::size_t n = lat_deg.size();
    check_places(lat_deg, lon_deg);
    checks::same_length("height_km", height_km.size(), n);
    checks::within("height_km", height_km, kLow_height_km, kHigh_height_km);
    checks::same_length("north_nt", north_nt.size(), n);
    checks::same_length("east_nt", east_nt.size(), n);
    checks::same_length("down_nt", down_nt.size(), n);
    const Sorted model = sorted(at(year));
    const Recurrence& factors = recurrence();
    Lane lat{};
    Lane lon{};
    Lane height{};
    Lane north{};
    Lane east{};
    Lane down{};
    for (std::size_t start = 0; start < n; start += kBlock) {
        const auto count = std::min(kBlock, n - start);
        std::copy_n(lat_deg.data() + start, count, lat.begin());
        std::copy_n(lon_deg.data() + start, count, lon.begin());
        std::copy_n(height_km.data() + start, count, height.begin());
        block(model, factors, lat, lon, height, north, east, down);
        std::copy_n(north.begin(), count, north_nt.data() + start);
        std::copy_n(east.begin(), count, east_nt.data() + start);
        std::copy_n(down.begin(), count, down_nt.data() + start);
    }
}

void Model::components(std::span<const double> year, std::span<const double> lat_deg,
                       std::span<const double> lon_deg, std::span<const double> height_km,
                       std::span<double> north_nt, std::span<double> east_nt,
                       std::span<double> down_nt) const {
    const std::size_t n = lat_deg.size();
    check_places(lat_deg, lon_deg);
    checks::same_length("year", year.size(), n);
    checks::same_length("height_km", height_km.size(), n);
    checks::same_length("north_nt", north_nt.size(), n);
    checks::same_length("east_nt", east_nt.size(), n);
    checks::same_length("down_nt", down_nt.size(), n);
    checks::within("year", year, first_year(), last_year());
    checks::within("height_km", height_km, kLow_height_km, kHigh_height_km);
    for (std::size_t start = 0; start < n;) {
        std::size_t stop = start + 1;
        while (stop < n && year[stop] == year[start]) {
            ++stop;
        }
        const std::size_t count = stop - start;
        components(year[start], lat_deg.subspan(start, count), lon_deg.subspan(start, count),
                   height_km.subspan(start, count), north_nt.subspan(start, count),
                   east_nt.subspan(start, count), down_nt.subspan(start, count));
        start = stop;
    }
}

Components Model::components(double year, double lat_deg, double lon_deg, double height_km) const {
    Components out{};
    components(year, std::span(&lat_deg, 1), std::span(&lon_deg, 1), std::span(&height_km, 1),
               std::span(&out.north_nt, 1), std::span(&out.east_nt, 1), std::span(&out.down_nt, 1));
    return out;
}

void Model::geomagnetic_lat_deg(double year, std::span<const double> lat_deg,
                                std::span<const double> lon_deg,
                                std::span<double> out_geomagnetic_lat_deg) const {
    check_places(lat_deg, lon_deg);
    checks::same_length("out_geomagnetic_lat_deg", out_geomagnetic_lat_deg.size(), lat_deg.size());
    const auto c = at(year);
    const double strength = std::sqrt(c[0] * c[0] + c[1] * c[1] + c[2] * c[2]);
    // the axis of the dipole, pointing to its pole in the north: cosines with x, y, z
    const double axis_x = -c[1] / strength;
    const double axis_y = -c[2] / strength;
    const double axis_z = -c[0] / strength;
    for (std::size_t i = 0; i < lat_deg.size(); ++i) {
        const auto lat = vector_math::sincos(lat_deg[i] * kRad_per_deg);
        const auto lon = vector_math::sincos(lon_deg[i] * kRad_per_deg);
        const double sine = axis_z * lat.sin + lat.cos * (axis_x * lon.cos + axis_y * lon.sin);
        const double square = 1.0 - sine * sine;
        out_geomagnetic_lat_deg[i] =
            vector_math::atan2(sine, std::sqrt(square < 0.0 ? 0.0 : square)) * kDeg_per_rad;
    }
}

double Model::geomagnetic_lat_deg(double year, double lat_deg, double lon_deg) const {
    double out = 0.0;
    geomagnetic_lat_deg(year, std::span(&lat_deg, 1), std::span(&lon_deg, 1), std::span(&out, 1));
    return out;
}

double dip_deg(const Components& field) noexcept {
    const double level2 = field.north_nt * field.north_nt + field.east_nt * field.east_nt;
    return vector_math::atan2(field.down_nt, std::sqrt(level2)) * kDeg_per_rad;
}

double modip_deg(double dip_deg, double lat_deg) noexcept {
    const double cosine = vector_math::sincos(lat_deg * kRad_per_deg).cos;
    const double held = cosine < kMin_cosine ? kMin_cosine : cosine;
    return vector_math::atan2(dip_deg * kRad_per_deg, std::sqrt(held)) * kDeg_per_rad;
}

double total_nt(const Components& field) noexcept {
    return std::sqrt(field.north_nt * field.north_nt + field.east_nt * field.east_nt +
                     field.down_nt * field.down_nt);
}

double gyro_mhz(const Components& field) noexcept { return kMhz_per_nt * total_nt(field); }

void derive(std::span<const double> north_nt, std::span<const double> east_nt,
            std::span<const double> down_nt, std::span<const double> lat_deg,
            std::span<double> dip_deg, std::span<double> modip_deg, std::span<double> gyro_mhz) {
    const std::size_t n = north_nt.size();
    checks::same_length("east_nt", east_nt.size(), n);
    checks::same_length("down_nt", down_nt.size(), n);
    checks::same_length("lat_deg", lat_deg.size(), n);
    checks::same_length("dip_deg", dip_deg.size(), n);
    checks::same_length("modip_deg", modip_deg.size(), n);
    checks::same_length("gyro_mhz", gyro_mhz.size(), n);
    derive_loop(n, north_nt.data(), east_nt.data(), down_nt.data(), lat_deg.data(), dip_deg.data(),
                modip_deg.data(), gyro_mhz.data());
}

}  // namespace farhear::magnetic
