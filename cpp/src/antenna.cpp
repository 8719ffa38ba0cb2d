#include "farhear/antenna.hpp"

#include <algorithm>
#include <boost/math/quadrature/gauss.hpp>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>
#include <utility>

#include "checks.hpp"
#include "elementary.hpp"
#include "farhear/error.hpp"
#include "scales.hpp"
#include "vector_math.hpp"

namespace farhear::antenna {

namespace {

using scales::any_decibel;
using scales::any_power;
using std::numbers::pi;
using vector_math::kDeg_per_rad;
using vector_math::kRad_per_deg;
using vector_math::sincos;

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kInfinite = std::numeric_limits<double>::infinity();
constexpr double kLeast = 1e-20;  // kLeast_dbi as a ratio
constexpr double kMost_turned_deg = 1e6;

double square(double x) noexcept { return x * x; }

/// (sin x / x)^2
double sinc_squared(double x) noexcept {
    constexpr double kSmall = 1e-4;
    return square(std::abs(x) < kSmall ? 1.0 - x * x / 6.0 : sincos(x).sin / x);
}

/// Square root with a positive real part, of a number whose real part is not negative: the C
/// library's takes functions that differ from machine to machine.
std::complex<double> root_of(std::complex<double> z) noexcept {
    const double size = elementary::hypot(z.real(), z.imag());
    const double real = std::sqrt(0.5 * (size + z.real()));
    return {real, real > 0.0 ? 0.5 * z.imag() / real : 0.0};
}

/// Sum of exp(j i step_rad) over i = 0 .. count - 1.
std::complex<double> phasors(double step_rad, int count) noexcept {
    const auto turn = sincos(step_rad);
    double real = 1.0;
    double imaginary = 0.0;
    for (int i = 1; i < count; ++i) {
        const double next = 1.0 + real * turn.cos - imaginary * turn.sin;
        imaginary = real * turn.sin + imaginary * turn.cos;
        real = next;
    }
    return {real, imaginary};
}

/// Half-wave dipole of `ratio` times its design frequency, over (1 - u^2), where u is the cosine of
/// the angle to the wire: [(cos(kl u) - cos(kl)) / (1 - u^2)]^2 for kl = ratio pi/2, written as a
/// product so that it has no singular direction.
double dipole(double ratio, double u) noexcept {
    const double kl = ratio * (pi / 2.0);
    return 0.25 * square(kl * kl) * sinc_squared(0.5 * kl * (1.0 + u)) *
           sinc_squared(0.5 * kl * (1.0 - u));
}

/// Field of `count` wires half a design wavelength apart above `height_wl`, direct wave only.
std::complex<double> stack(double height_wl, double ratio, int count, double sine) noexcept {
    const auto first = sincos(2.0 * pi * height_wl * sine);
    return std::complex<double>(first.cos, first.sin) * phasors(pi * ratio * sine, count);
}

/// A stack of dipoles over perfect ground before a screen.
struct Stack {
    int rows;
    double height_wl;  // of the lowest
    double most;       // greatest value of `before_screen` over elevation
};

/// What is usual of curtains [own choice of five], and the greatest value of their mean. The
/// greatest values were found by a scan in steps of 0.01 degree.
constexpr std::array<Stack, 5> kUsual = {{{1, 0.5, 0.959571},
                                          {2, 0.5, 3.082616},
                                          {2, 1.0, 3.629584},
                                          {4, 0.5, 10.443463},
                                          {4, 1.0, 12.664776}}};
constexpr double kUsual_most = 3.655288;

/// Intensity towards azimuth 0.
double before_screen(const Stack& s, double sin, double cos) noexcept {
    return square(stack(s.height_wl, 1.0, s.rows, sin).imag() * sincos(0.5 * pi * cos).sin);
}

/// Usual elevation profile of curtains, 0 .. 1: most at 10 degrees, half at 5 and 22.
double curtain_profile(double sin, double cos) noexcept {
    double sum = 0.0;
    for (const auto& usual : kUsual) {
        sum += before_screen(usual, sin, cos) / usual.most;
    }
    return sum / kUsual_most;
}

/// Usual elevation profile on the tropical bands, 0 .. 1: a dipole a quarter wave above ground.
double high_angle_profile(double sin) noexcept { return square(sincos(0.5 * pi * sin).sin); }

/// Where `value` is greatest between two places with one hill between them.
template <typename Value>
double golden(const Value& value, double low, double high) noexcept {
    constexpr double kGolden = 0.6180339887498949;
    for (int i = 0; i < 30; ++i) {
        const double a = high - kGolden * (high - low);
        const double b = low + kGolden * (high - low);
        if (value(a) < value(b)) {
            low = a;
        } else {
            high = b;
        }
    }
    return 0.5 * (low + high);
}

struct Rule {
    const char* name;
    double value;
    double low;
    double high;
};

constexpr double kAll_round_deg = 360.0;

/// Which fields a kind uses; the others take a harmless value, so that nobody checks or keeps them.
Antenna reduced(const Antenna& a, double freq_mhz) {
    const bool curtain = a.kind == Kind::kCurtain;
    const bool stacked = curtain || a.kind == Kind::kCrossed;
    const bool high = stacked || a.kind == Kind::kLogPeriodic;
    const bool beam = a.kind == Kind::kLogPeriodic || a.kind == Kind::kTypical;
    const bool ground = high || a.kind == Kind::kMonopole;
    return {a.kind,
            curtain ? a.columns : 1.0,
            stacked ? a.rows : 1.0,
            high ? a.height_wl : 1.0,
            curtain ? a.slew_deg : 0.0,
            high ? a.design_mhz : freq_mhz,
            curtain || beam ? a.front_back_db : 0.0,
            beam ? a.width_deg : kAll_round_deg,
            a.kind == Kind::kTypical ? a.peak_dbi : 0.0,
            a.kind == Kind::kTypical ? a.high_angle_share : 0.0,
            ground ? a.permittivity : 1.0,
            ground ? a.conductivity_s_m : kInfinite};
}

/// @throws InputError naming field, value and range.
void check(const Antenna& a, double freq_mhz) {
    const std::array<Rule, 12> rules = {{
        {"freq_mhz", freq_mhz, 0.1, 100.0},
        {"columns", a.columns, 1.0, 16.0},
        {"rows", a.rows, 1.0, 16.0},
        {"height_wl", a.height_wl, 0.05, 5.0},
        {"slew_deg", a.slew_deg, -60.0, 60.0},
        {"freq_mhz / design_mhz", freq_mhz / a.design_mhz, 0.5, 2.0},
        {"front_back_db", a.front_back_db, 0.0, 60.0},
        {"width_deg", a.width_deg, 10.0, kAll_round_deg},
        {"peak_dbi", a.peak_dbi, -30.0, 40.0},
        {"high_angle_share", a.high_angle_share, 0.0, 1.0},
        {"permittivity", a.permittivity, 1.0, 100.0},
        {"conductivity_s_m", a.conductivity_s_m, 0.0, kInfinite},
    }};
    for (const auto& rule : rules) {
        // NaN is refused too: a description has no missing parts
        if (!(rule.low <= rule.value && rule.value <= rule.high)) {
            throw InputError(checks::text(rule.name, " = ", rule.value, " is outside [", rule.low,
                                          ", ", rule.high, ']'));
        }
    }
    for (const auto& rule : {rules[1], rules[2]}) {
        if (rule.value != std::floor(rule.value)) {
            throw InputError(checks::text(rule.name, " = ", rule.value, " is not a whole number"));
        }
    }
    if (a.columns == 1.0 && a.slew_deg != 0.0) {
        throw InputError(checks::text("slew_deg = ", a.slew_deg, " needs two columns or more"));
    }
}

/// The screen's share let through, 1 - rho, for a front-to-back ratio (1 + rho) / (1 - rho).
double let_through(double front_back_db) noexcept {
    return 2.0 / (1.0 + any_power(0.5 * front_back_db));
}

}  // namespace

Pattern::Pattern(const Antenna& antenna, double freq_mhz) {
    const Antenna a = reduced(antenna, freq_mhz);
    check(a, freq_mhz);
    kind_ = a.kind;
    columns_ = static_cast<int>(a.columns);
    rows_ = static_cast<int>(a.rows);
    ratio_ = freq_mhz / a.design_mhz;
    height_wl_ = a.height_wl * ratio_;
    slew_rad_ = a.slew_deg * kRad_per_deg;
    through_ = let_through(a.front_back_db);
    floor_ = any_power(-a.front_back_db);
    width_rad_ = a.width_deg * kRad_per_deg;
    sharpness_ = std::numbers::ln2 / (1.0 - elementary::cos(0.5 * width_rad_));
    high_angle_ = a.high_angle_share;
    perfect_ground_ = std::isinf(a.conductivity_s_m);
    if (!perfect_ground_) {
        constexpr double kLoss_mhz = 17975.1;  // 1 S/m / (2 pi 1 MHz eps0)
        permittivity_ = {a.permittivity, -kLoss_mhz * a.conductivity_s_m / freq_mhz};
    }
    for (std::size_t i = 0; i < kElevations; ++i) {
        grid_.at(i) = row_at(static_cast<double>(i) * kElevation_step_deg * kRad_per_deg);
    }
    if (slew_rad_ != 0.0) {
        steer();
    }
    normalise(any_power(a.peak_dbi));
}

Pattern::Row Pattern::row_at(double elevation_rad) const noexcept {
    const auto elevation = sincos(elevation_rad);
    return row_from_sine(elevation.sin, elevation.cos);
}

Pattern::Row Pattern::row_from_sine(double sin, double cos) const noexcept {
    Row row{sin, cos, 1.0, 1.0, 0.0, 0.0};
    if (kind_ == Kind::kIsotropic || kind_ == Kind::kTypical) {
        return row;
    }
    std::complex<double> gamma_h = -1.0;
    std::complex<double> gamma_v = 1.0;
    if (!perfect_ground_) {
        const auto root = root_of((permittivity_ - 1.0) + sin * sin);
        const bool ground = sin + root != 0.0;  // else as air below air: no reflection
        gamma_h = ground ? (sin - root) / (sin + root) : 0.0;
        gamma_v = ground ? (permittivity_ * sin - root) / (permittivity_ * sin + root) : 0.0;
    }
    std::complex<double> direct;
    if (kind_ == Kind::kMonopole) {
        // integral of cos(t) exp(j t s) for t over a quarter wave; its limit at the zenith
        const auto end = sincos(0.5 * pi * sin);
        direct = cos < 1e-5 ? std::complex<double>(0.25 * pi, 0.5)
                            : std::complex<double>(end.cos, end.sin - sin) / (cos * cos);
        row.horizontal = 0.0;
        row.vertical = std::norm(direct + gamma_v * std::conj(direct));
    } else {
        direct = stack(height_wl_, ratio_, rows_, sin);
        row.horizontal = std::norm(direct + gamma_h * std::conj(direct));
        row.vertical = std::norm(direct - gamma_v * std::conj(direct));
        row.horizontal_lost = std::norm(direct) * (1.0 - std::norm(gamma_h));
    }
    row.vertical_lost = std::norm(direct) * (1.0 - std::norm(gamma_v));
    return row;
}

Pattern::Intensity Pattern::curtain(const Row& row, double azimuth_rad) const noexcept {
    const auto azimuth = sincos(azimuth_rad);
    const double forward = row.cos * azimuth.cos;
    const double across = row.cos * azimuth.sin;
    // |1 - rho exp(-j x)|^2 before the screen, (1 - rho)^2 behind: they meet with equal slope
    const double screen =
        square(through_) +
        4.0 * (1.0 - through_) * square(sincos(0.5 * pi * ratio_ * std::max(forward, 0.0)).sin);
    const double array = std::norm(phasors(pi * ratio_ * (across - taper_), columns_));
    const double rest = dipole(ratio_, across) * screen * array;
    const double h = rest * square(azimuth.cos);
    const double v = rest * square(row.sin * azimuth.sin);
    return {h * row.horizontal + v * row.vertical, h * row.horizontal_lost + v * row.vertical_lost};
}

Pattern::Intensity Pattern::crossed(const Row& row) const noexcept {
    // fed in quadrature the two add in power; the mean over azimuth by points in a quarter turn
    Intensity sum{};
    constexpr int kPoints = 8;
    for (int i = 0; i < kPoints; ++i) {
        const auto azimuth = sincos((i + 0.5) * (0.5 * pi / kPoints));
        const double element = dipole(ratio_, row.cos * azimuth.sin);
        const double h = element * square(azimuth.cos);
        const double v = element * square(row.sin * azimuth.sin);
        sum.up += h * row.horizontal + v * row.vertical;
        sum.lost += h * row.horizontal_lost + v * row.vertical_lost;
    }
    return sum;
}

Pattern::Intensity Pattern::lobe(const Row& row, double azimuth_rad) const noexcept {
    const double forward = row.cos * sincos(azimuth_rad).cos;
    const double shape = floor_ + (1.0 - floor_) * elementary::exp(sharpness_ * (forward - 1.0));
    return {shape * row.horizontal, shape * row.horizontal_lost};
}

double Pattern::typical(const Row& row, double azimuth_rad) const noexcept {
    const double off = 2.0 * azimuth_rad / width_rad_;
    const double shape = floor_ + (1.0 - floor_) * elementary::exp(-std::numbers::ln2 * off * off);
    return shape * (high_angle_ * high_angle_profile(row.sin) +
                    (1.0 - high_angle_) * curtain_profile(row.sin, row.cos));
}

Pattern::Intensity Pattern::intensity(const Row& row, double azimuth_rad) const noexcept {
    switch (kind_) {
        case Kind::kCurtain:
            return curtain(row, azimuth_rad);
        case Kind::kCrossed:
            return crossed(row);
        case Kind::kMonopole:
            return {square(row.cos) * row.vertical, square(row.cos) * row.vertical_lost};
        case Kind::kLogPeriodic:
            return lobe(row, azimuth_rad);
        case Kind::kTypical:
            return {typical(row, azimuth_rad), 0.0};
        case Kind::kIsotropic:
            break;
    }
    return {1.0, 0.0};
}

double Pattern::elevation_of_most(double azimuth_rad) const noexcept {
    // coarse on the grid of the tables, then by golden section on both sides of the best
    std::size_t best = 0;
    double most = -1.0;
    for (std::size_t i = 0; i < kElevations; ++i) {
        const double here = intensity(grid_[i], azimuth_rad).up;  // NOLINT: i < kElevations
        if (here > most) {
            most = here;
            best = i;
        }
    }
    constexpr double kStep = kElevation_step_deg * kRad_per_deg;
    const auto middle = static_cast<double>(best);
    return golden([&](double elevation) { return intensity(row_at(elevation), azimuth_rad).up; },
                  std::max(middle - 1.0, 0.0) * kStep,
                  std::min(middle + 1.0, kElevations - 1.0) * kStep);
}

void Pattern::steer() noexcept {
    // At the slew and the elevation of the maximum, the slope of the array factor along azimuth
    // must undo that of everything else. The slope of ln |array factor|^2 falls steadily through
    // its main lobe, so the phase between columns that does it is unique.
    double half = 0.0;  // phase at which the array factor is 3 dB down
    double null = 2.0 * pi / columns_;
    for (int i = 0; i < 50; ++i) {
        const double middle = 0.5 * (half + null);
        (std::norm(phasors(middle, columns_)) > 0.5 * columns_ * columns_ ? half : null) = middle;
    }
    constexpr double kTurn = 1e-4;
    constexpr double kSteepest_rad = pi / 3.0;  // near the zenith azimuth means nothing
    const double sine = elementary::sin(slew_rad_);
    taper_ = sine;
    for (int pass = 0; pass < 6; ++pass) {
        const Row row = row_at(std::min(elevation_of_most(slew_rad_), kSteepest_rad));
        const auto aim = [&](double phase) { taper_ = sine * row.cos - phase / (pi * ratio_); };
        double low = -half;
        double high = half;
        for (int i = 0; i < 50; ++i) {
            const double middle = 0.5 * (low + high);
            aim(middle);
            const bool rises =
                curtain(row, slew_rad_ + kTurn).up > curtain(row, slew_rad_ - kTurn).up;
            (rises ? low : high) = middle;
        }
        aim(0.5 * (low + high));
    }
}

void Pattern::normalise(double peak) noexcept {
    if (kind_ == Kind::kIsotropic) {
        return;
    }
    const double best_rad = elevation_of_most(slew_rad_);
    peak_elevation_deg_ = best_rad * kDeg_per_rad;
    double most = intensity(row_at(best_rad), slew_rad_).up;
    if (kind_ == Kind::kTypical) {
        scale_ = peak;
        peak_ = peak;
        return;
    }
    // Gauss panels over the sine of elevation, as many as the array has lobes; equal steps of
    // azimuth, more for a wide array. Error below 1e-3 dB (tested).
    using Gauss = boost::math::quadrature::gauss<double, 15>;
    const double top_wl = height_wl_ + 0.5 * ratio_ * (rows_ - 1);
    const double width_wl = 0.5 * ratio_ * (columns_ - 1);
    const int panels = 1 + static_cast<int>(top_wl + width_wl);
    const bool round = kind_ == Kind::kCrossed || kind_ == Kind::kMonopole;
    const int steps = round ? 1 : 48 + 8 * static_cast<int>(columns_ * ratio_);
    const double step_rad = 2.0 * pi / steps;
    double best_azimuth_rad = slew_rad_;
    double total = 0.0;
    const auto add = [&](double sine, double weight) {
        const Row row = row_from_sine(sine, std::sqrt((1.0 - sine) * (1.0 + sine)));
        double sum = 0.0;
        for (int i = 0; i < steps; ++i) {
            const double azimuth_rad = slew_rad_ + i * step_rad;
            const auto here = intensity(row, azimuth_rad);
            sum += here.up + here.lost;
            if (here.up > most) {
                most = here.up;
                best_azimuth_rad = azimuth_rad;
            }
        }
        total += weight * sum * step_rad;
    };
    const double half = 0.5 / panels;
    for (int panel = 0; panel < panels; ++panel) {
        const double middle = (2 * panel + 1) * half;
        add(middle, half * Gauss::weights()[0]);
        for (std::size_t i = 1; i < Gauss::abscissa().size(); ++i) {
            const double off = half * Gauss::abscissa()[i];  // NOLINT: same size
            add(middle - off, half * Gauss::weights()[i]);   // NOLINT
            add(middle + off, half * Gauss::weights()[i]);   // NOLINT
        }
    }
    scale_ = 4.0 * pi / total;
    if (slew_rad_ != 0.0 || best_azimuth_rad != 0.0) {
        // a slew beyond reach leaves a greater lobe elsewhere: climb it by turns
        for (int turn = 0; turn < 8; ++turn) {
            const Row row = row_at(elevation_of_most(best_azimuth_rad));
            best_azimuth_rad =
                golden([&](double azimuth_rad) { return intensity(row, azimuth_rad).up; },
                       best_azimuth_rad - step_rad, best_azimuth_rad + step_rad);
            most = std::max(most, intensity(row, best_azimuth_rad).up);
        }
    }
    peak_ = scale_ * most;
}

double Pattern::azimuth_rad(double off_beam_deg) const noexcept {
    if (kind_ == Kind::kIsotropic || kind_ == Kind::kCrossed || kind_ == Kind::kMonopole) {
        return 0.0;
    }
    return std::remainder(off_beam_deg, 360.0) * kRad_per_deg + slew_rad_;
}

double Pattern::gain_dbi(double off_beam_deg, double elevation_deg) const noexcept {
    const Row row = row_at(elevation_deg * kRad_per_deg);
    const double gain = scale_ * intensity(row, azimuth_rad(off_beam_deg)).up;
    return any_decibel(gain < kLeast ? kLeast : gain);  // NaN stays
}

void Pattern::table(double off_beam_deg, double floor_db,
                    std::span<double, kElevations> out_dbi) const noexcept {
    const double fill = any_power(-floor_db);
    const double azimuth = azimuth_rad(off_beam_deg);
    for (std::size_t i = 0; i < kElevations; ++i) {
        const double gain = scale_ * intensity(grid_[i], azimuth).up;  // NOLINT: i < kElevations
        out_dbi[i] = any_decibel((1.0 - fill) * gain + fill * peak_);
    }
}

double Pattern::peak_dbi() const noexcept { return any_decibel(peak_); }

namespace {

/// The patterns of one call, each distinct one made once.
class Patterns {
  public:
    Patterns(const AntennaColumns& columns, std::span<const double> freq_mhz)
        : columns_(columns), freq_mhz_(freq_mhz) {
        const std::size_t n = freq_mhz.size();
        checks::same_length("kind", columns.kind.size(), n);
        const std::array<std::pair<const char*, std::span<const double>>, 11> all = {
            {{"columns", columns.columns},
             {"rows", columns.rows},
             {"height_wl", columns.height_wl},
             {"slew_deg", columns.slew_deg},
             {"design_mhz", columns.design_mhz},
             {"front_back_db", columns.front_back_db},
             {"width_deg", columns.width_deg},
             {"peak_dbi", columns.peak_dbi},
             {"high_angle_share", columns.high_angle_share},
             {"permittivity", columns.permittivity},
             {"conductivity_s_m", columns.conductivity_s_m}}};
        for (const auto& [name, values] : all) {
            checks::same_length(name, values.size(), n);
        }
    }

    /// @throws InputError with the element's number.
    const Pattern& operator[](std::size_t i) {
        constexpr auto kLast = static_cast<std::int64_t>(Kind::kTypical);
        if (columns_.kind[i] < 0 || columns_.kind[i] > kLast) {
            throw InputError(
                checks::text("kind[", i, "] = ", columns_.kind[i], " is outside [0, ", kLast, ']'));
        }
        const double freq = freq_mhz_[i];
        const AntennaColumns& c = columns_;
        const Antenna a = reduced(
            {static_cast<Kind>(c.kind[i]), c.columns[i], c.rows[i], c.height_wl[i], c.slew_deg[i],
             c.design_mhz[i], c.front_back_db[i], c.width_deg[i], c.peak_dbi[i],
             c.high_angle_share[i], c.permittivity[i], c.conductivity_s_m[i]},
            freq);
        // over perfect ground the pattern knows the frequency only by its ratio to the design's
        const double scale = std::isinf(a.conductivity_s_m) ? 0.0 : freq;
        const Key key = {static_cast<double>(a.kind),
                         a.columns,
                         a.rows,
                         a.height_wl,
                         a.slew_deg,
                         freq / a.design_mhz,
                         a.front_back_db,
                         a.width_deg,
                         a.peak_dbi,
                         a.high_angle_share,
                         a.permittivity,
                         a.conductivity_s_m,
                         scale};
        // a key with NaN would not be found again: let the check refuse it before
        try {
            if (std::ranges::any_of(key, [](double part) { return std::isnan(part); })) {
                check(a, freq);
            }
            const auto found = made_.find(key);
            return found != made_.end() ? found->second
                                        : made_.try_emplace(key, a, freq).first->second;
        } catch (const InputError& error) {
            throw InputError(checks::text("element ", i, ": ", error.what()));
        }
    }

  private:
    using Key = std::array<double, 13>;
    AntennaColumns columns_;
    std::span<const double> freq_mhz_;
    std::map<Key, Pattern> made_;
};

}  // namespace

void gain_dbi(const AntennaColumns& antennas, std::span<const double> freq_mhz,
              std::span<const double> off_beam_deg, std::span<const double> elevation_deg,
              std::span<double> out_dbi) {
    const std::size_t n = freq_mhz.size();
    Patterns patterns(antennas, freq_mhz);
    checks::same_length("off_beam_deg", off_beam_deg.size(), n);
    checks::same_length("elevation_deg", elevation_deg.size(), n);
    checks::same_length("output", out_dbi.size(), n);
    checks::within("off_beam_deg", off_beam_deg, -kMost_turned_deg, kMost_turned_deg);
    checks::within("elevation_deg", elevation_deg, 0.0, 90.0);
    for (std::size_t i = 0; i < n; ++i) {
        out_dbi[i] = std::isnan(freq_mhz[i])
                         ? kNan
                         : patterns[i].gain_dbi(off_beam_deg[i], elevation_deg[i]);
    }
}

void elevation_table(const AntennaColumns& antennas, std::span<const double> freq_mhz,
                     std::span<const double> off_beam_deg, double floor_db,
                     std::span<double> out_dbi, std::span<double> out_peak_dbi) {
    const std::size_t n = freq_mhz.size();
    Patterns patterns(antennas, freq_mhz);
    checks::same_length("off_beam_deg", off_beam_deg.size(), n);
    checks::same_length("output", out_dbi.size(), n * kElevations);
    checks::same_length("output", out_peak_dbi.size(), n);
    checks::within("off_beam_deg", off_beam_deg, -kMost_turned_deg, kMost_turned_deg);
    if (!(floor_db >= 0.0 && floor_db <= -kLeast_dbi)) {
        throw InputError(
            checks::text("floor_db = ", floor_db, " is outside [0, ", -kLeast_dbi, ']'));
    }
    for (std::size_t i = 0; i < n; ++i) {
        const auto row = out_dbi.subspan(i * kElevations).first<kElevations>();
        if (std::isnan(freq_mhz[i])) {
            std::ranges::fill(row, kNan);
            out_peak_dbi[i] = kNan;
        } else {
            const Pattern& pattern = patterns[i];
            pattern.table(off_beam_deg[i], floor_db, row);
            out_peak_dbi[i] = pattern.peak_dbi();
        }
    }
}

void peak(const AntennaColumns& antennas, std::span<const double> freq_mhz,
          std::span<double> out_dbi, std::span<double> out_elevation_deg) {
    const std::size_t n = freq_mhz.size();
    Patterns patterns(antennas, freq_mhz);
    checks::same_length("output", out_dbi.size(), n);
    checks::same_length("output", out_elevation_deg.size(), n);
    for (std::size_t i = 0; i < n; ++i) {
        const bool missing = std::isnan(freq_mhz[i]);
        out_dbi[i] = missing ? kNan : patterns[i].peak_dbi();
        out_elevation_deg[i] = missing ? kNan : patterns[i].peak_elevation_deg();
    }
}

}  // namespace farhear::antenna
