#include "farhear/skywave.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <span>

#include "checks.hpp"
#include "elementary.hpp"
#include "vector_math.hpp"

namespace farhear::skywave {

namespace {

using path::kEarthRadius_km;
using vector_math::kDeg_per_rad;
using vector_math::kRad_per_deg;

constexpr double kOnePoint_km = 2000.0;  // up to here the midpoint alone controls
constexpr double kInside_km = 1000.0;    // control points this far inside the ends
constexpr double kMostE_km = 4000.0;     // E modes only up to here [memory: P.533]
constexpr double kLongestHopE_km = 2000.0;
constexpr double kMidpointHeight_km = 4000.0;  // the midpoint decides the mirror height up to here
constexpr double kManyModes_km = 9000.0;
constexpr double kUsualHeight_km = 300.0;  // its lowest order places the control points
constexpr double kTaper_deg = 3.0;  // how far below the least elevation a ray may still count
constexpr double kTaper_db = 8.0;   // loss there, per square degree [own]
constexpr double kSpreadE = 0.04;   // deciles 0.95 and 1.05 [memory: P.533]

int hops_needed(double distance_km, double longest_km) noexcept {
    return std::max(1, static_cast<int>(std::ceil(distance_km / longest_km)));
}

}  // namespace

// ---------------------------------------------------------------- one hop on the sphere

Hop hop_over(double hop_km, double mirror_km) noexcept {
    const auto half = vector_math::sincos(hop_km / (2.0 * kEarthRadius_km));
    const double top_km = kEarthRadius_km + mirror_km;
    const double quarter = elementary::sin(hop_km / (4.0 * kEarthRadius_km));
    // law of cosines without cancellation: stays exact at vertical incidence
    const double up_km =
        std::sqrt(mirror_km * mirror_km + 4.0 * kEarthRadius_km * top_km * quarter * quarter);
    return {2.0 * up_km, top_km * half.sin / up_km, (top_km * half.cos - kEarthRadius_km) / up_km};
}

double elevation_deg(const Hop& hop) noexcept {
    return elementary::atan2(hop.sin_elevation, hop.cos_elevation) * kDeg_per_rad;
}

double secant_incidence(double cos_elevation, double height_km) noexcept {
    const double sine = kEarthRadius_km * cos_elevation / (kEarthRadius_km + height_km);
    return 1.0 / std::sqrt(1.0 - sine * sine);
}

double range_km(double elevation_rad, double mirror_km) noexcept {
    const double incidence = elementary::asin(kEarthRadius_km * elementary::cos(elevation_rad) /
                                              (kEarthRadius_km + mirror_km));
    return 2.0 * kEarthRadius_km * (0.5 * std::numbers::pi - elevation_rad - incidence);
}

double longest_hop_km(double elevation_deg, double mirror_km) noexcept {
    return range_km(elevation_deg * kRad_per_deg, mirror_km);
}

// ---------------------------------------------------------------- usable frequencies

double f2_distance_factor(double hop_km, double dmax_km) noexcept {
    const double z = 1.0 - 2.0 * hop_km / dmax_km;
    return 0.74 +
           z * (-0.591 + z * (-0.424 + z * (-0.090 + z * (0.088 + z * (0.181 + z * 0.096)))));
}

F2Shape f2_shape(double fof2_mhz, double foe_mhz, double m3000f2_ratio) noexcept {
    const double x = std::max(fof2_mhz / foe_mhz, 2.0);
    const double m = m3000f2_ratio;
    F2Shape out{};
    out.b = m - 0.124 + (m * m - 4.0) * (0.0215 + 0.005 * elementary::sin(7.854 / x - 1.9635));
    const double x2 = x * x;
    out.dmax_km =
        4780.0 + (12610.0 + 2140.0 / x2 - 49720.0 / (x2 * x2) + 688900.0 / (x2 * x2 * x2)) *
                     (1.0 / out.b - 0.303);
    // below about M = 1.8 the formula runs away; no map value comes near
    out.dmax_km = std::max(out.dmax_km, 3000.0);
    out.c_3000 = f2_distance_factor(3000.0, out.dmax_km);
    return out;
}

double f2_muf_mhz(double hop_km, double fof2_mhz, const F2Shape& shape, double gyro_mhz) noexcept {
    const double d = std::min(hop_km, shape.dmax_km);
    const double c = f2_distance_factor(d, shape.dmax_km);
    return (1.0 + c / shape.c_3000 * (shape.b - 1.0)) * fof2_mhz +
           0.5 * gyro_mhz * (1.0 - d / shape.dmax_km);
}

double e_muf_mhz(const Hop& hop, double foe_mhz) noexcept {
    return foe_mhz * secant_incidence(hop.cos_elevation, kHeightE_km);
}

double mirror_height_km(const ionosphere::Characteristics& c) noexcept {
    const double factor = std::min(0.78 + 0.65 * c.foe_mhz / c.fof2_mhz, 1.1);
    return std::clamp(c.hmf2_km * factor, 160.0, 600.0);
}

// ---------------------------------------------------------------- losses

double absorption_db(double freq_mhz, double gyro_mhz, double cos_elevation,
                     double factor) noexcept {
    return 677.2 * secant_incidence(cos_elevation, kHeightAbsorption_km) * factor /
           (elementary::pow(freq_mhz + gyro_mhz, 1.98) + 10.2);
}

double absorption_factor(double zenith_deg, double r12, double floor) noexcept {
    const double cosine = elementary::cos(0.881 * std::min(zenith_deg, 102.0) * kRad_per_deg);
    return std::max((1.0 + 0.0037 * r12) * elementary::pow(std::max(cosine, 0.0), 1.3), floor);
}

double penetration_db(double freq_mhz, double muf_mhz) noexcept {
    return std::min(36.0 * std::sqrt(std::max(freq_mhz / muf_mhz - 1.0, 0.0)) + 15.0, 62.0);
}

double convergence_db(double distance_km) noexcept {
    const double angle = distance_km / kEarthRadius_km;
    const double sine = std::abs(elementary::sin(angle));
    if (angle < 1e-6) {
        return 0.0;
    }
    return std::min(10.0 * elementary::log10(angle / std::max(sine, 1e-9)), 15.0);
}

// ---------------------------------------------------------------- modes

namespace {

/// A layer that decides how high a frequency its hops carry.
struct Ruler {
    const ionosphere::Place* place = nullptr;
    ionosphere::Characteristics layer{};
    F2Shape shape{};
};

Ruler ruler_at(const ionosphere::Place& place, const ionosphere::Instant& instant,
               const ionosphere::Drive& drive) noexcept {
    const auto c = ionosphere::characteristics(place, instant, drive);
    return {&place, c, f2_shape(c.fof2_mhz, c.foe_mhz, c.m3000f2_ratio)};
}

/// Usable frequency of an F2 hop: the lower of some layers'.
double lower_muf_mhz(std::span<const Ruler> rulers, double hop_km) noexcept {
    double lower = std::numeric_limits<double>::infinity();
    for (const Ruler& one : rulers) {
        lower = std::min(
            lower, f2_muf_mhz(hop_km, one.layer.fof2_mhz, one.shape, one.place->gyro_300_mhz));
    }
    return lower;
}

/// Day-to-day spread of that: of the lower layer, blended where the layers are about equal, so that
/// the likelihood does not jump when they change places [own].
double lower_spread(std::span<const Ruler> rulers) noexcept {
    constexpr double kSharpness = 25.0;  // layers 4 % apart count as 1 to 0.37
    double sum = 0.0;
    double weights = 0.0;
    for (const Ruler& one : rulers) {
        const double weight =
            rulers.size() == 1
                ? 1.0
                : elementary::pow(rulers.front().layer.fof2_mhz / one.layer.fof2_mhz, kSharpness);
        sum += weight * ionosphere::fof2_spread(one.layer.zenith_deg, one.place->modip_deg,
                                                one.place->geomagnetic_lat_deg);
        weights += weight;
    }
    return sum / weights;
}

}  // namespace

Finder::Finder(const magnetic::Model& field, const Circuit& circuit)
    : field_(&field),
      circuit_(circuit),
      tx_(path::unit_vector(circuit.tx_lat_deg, circuit.tx_lon_deg)),
      rx_(path::unit_vector(circuit.rx_lat_deg, circuit.rx_lon_deg)),
      distance_km_(path::central_angle_rad(tx_, rx_) * kEarthRadius_km) {}

ionosphere::Place Finder::place_at(double year, const Way& way, double from_tx_km) const {
    const double fraction = way.distance_km > 0.0 ? from_tx_km / way.distance_km : 0.0;
    const auto point = path::to_point(path::along(tx_, rx_, fraction, way.long_path));
    return ionosphere::prepare(*field_, year, point.lat_deg, point.lon_deg);
}

Finder::Pair Finder::pair_at(double year, const Way& way, double inside_km) const {
    return {place_at(year, way, inside_km), place_at(year, way, way.distance_km - inside_km)};
}

const Finder::Prepared& Finder::prepared(double year) {
    const auto known = prepared_.find(year);
    if (known != prepared_.end()) {
        return known->second;
    }
    Prepared made;
    for (const bool long_path : {false, true}) {
        if (circuit_.route == (long_path ? Route::kShort : Route::kLong)) {
            continue;
        }
        Way way;
        way.long_path = long_path;
        way.distance_km =
            long_path ? 2.0 * std::numbers::pi * kEarthRadius_km - distance_km_ : distance_km_;
        way.convergence_db = convergence_db(way.distance_km);
        way.fewest_hops = hops_needed(way.distance_km,
                                      longest_hop_km(circuit_.min_elevation_deg, kUsualHeight_km));
        way.middle = place_at(year, way, 0.5 * way.distance_km);
        if (way.distance_km > kOnePoint_km) {
            way.inner = pair_at(year, way, kInside_km);
            way.ends = pair_at(year, way, 0.5 * way.distance_km / std::max(way.fewest_hops, 2));
        }
        made.ways.push_back(way);
    }
    made.at_rx = ionosphere::prepare(*field_, year, circuit_.rx_lat_deg, circuit_.rx_lon_deg);
    return prepared_.emplace(year, std::move(made)).first->second;
}

Modes Finder::find(const ionosphere::Instant& instant, const ionosphere::Drive& drive) {
    const Prepared& ready = prepared(instant.field_year);
    Modes out{};
    out.rx_fof2_mhz = std::max(ionosphere::combine(ready.at_rx.terms, instant.terms).fof2_mhz, 0.5);
    out.highest_geomagnetic_deg = 0.0;
    for (const Way& way : ready.ways) {
        add_modes(way, instant, drive, out);
    }
    return out;
}

void Finder::add_modes(const Way& way, const ionosphere::Instant& instant,
                       const ionosphere::Drive& drive, Modes& out) const {
    const double distance = way.distance_km;
    const double freq = circuit_.freq_mhz;

    // F2: mirror height, the orders that land, and the layers that rule them. One hop is ruled by
    // the middle of the path, more by the lower of the two ends; short paths by the middle alone.
    std::array<Ruler, 3> rulers{};  // near the transmitter, near the receiver, in the middle
    const bool middle_rules = distance <= kMidpointHeight_km;
    double mirror_km = 0.0;
    if (way.ends) {
        rulers[0] = ruler_at(way.ends->near_tx, instant, drive);
        rulers[1] = ruler_at(way.ends->near_rx, instant, drive);
        mirror_km = 0.5 * (mirror_height_km(rulers[0].layer) + mirror_height_km(rulers[1].layer));
    }
    if (middle_rules) {
        rulers[2] = ruler_at(way.middle, instant, drive);
        mirror_km = mirror_height_km(rulers[2].layer);
    }
    // Orders whose elevation is a little below the least count too, with a loss that grows towards
    // the horizon, so that nothing jumps when a layer sinks.
    const double floor_deg = std::max(circuit_.min_elevation_deg - kTaper_deg, 0.0);
    const int lowest = hops_needed(distance, longest_hop_km(floor_deg, mirror_km));

    // absorption and the E layer
    double factor_sum = 0.0;
    double gyro_sum = 0.0;
    int points = 0;
    const auto absorbing = [&](const ionosphere::Place& place, double zenith_deg) {
        factor_sum += absorption_factor(zenith_deg, instant.r12);
        gyro_sum += place.gyro_100_mhz;
        ++points;
        out.highest_geomagnetic_deg =
            std::max(out.highest_geomagnetic_deg, std::abs(place.geomagnetic_lat_deg));
    };
    const double middle_zenith = ionosphere::zenith_deg(way.middle, instant);
    absorbing(way.middle, middle_zenith);
    double foe_low = 0.0;
    double foe_high = 0.0;
    if (way.inner) {
        const double tx_zenith = ionosphere::zenith_deg(way.inner->near_tx, instant);
        const double rx_zenith = ionosphere::zenith_deg(way.inner->near_rx, instant);
        absorbing(way.inner->near_tx, tx_zenith);
        absorbing(way.inner->near_rx, rx_zenith);
        const double tx_foe = ionosphere::foe_mhz(way.inner->near_tx, instant, tx_zenith, drive);
        const double rx_foe = ionosphere::foe_mhz(way.inner->near_rx, instant, rx_zenith, drive);
        foe_low = std::min(tx_foe, rx_foe);
        foe_high = std::max(tx_foe, rx_foe);
    } else {
        foe_low = foe_high = ionosphere::foe_mhz(way.middle, instant, middle_zenith, drive);
    }
    if (!middle_rules) {
        absorbing(*rulers[0].place, rulers[0].layer.zenith_deg);
        absorbing(*rulers[1].place, rulers[1].layer.zenith_deg);
    }
    const double factor = factor_sum / points;
    const double gyro_100 = gyro_sum / points;

    const double sent_db = kFieldConstant_db + 10.0 * elementary::log10(circuit_.power_kw) +
                           circuit_.tx_gain_dbi + way.convergence_db - kOtherLoss_db;
    const double freq_db = 20.0 * elementary::log10(freq);
    // absorption of one vertical hop; the others are this times the secant
    const double vertical_db = absorption_db(freq, gyro_100, 0.0, factor);
    const auto complete = [&](Mode& mode, const Hop& hop) {
        mode.long_path = way.long_path;
        mode.elevation_deg = elevation_deg(hop);
        mode.group_path_km = mode.hops * hop.slant_km;
        mode.absorption_db =
            mode.hops * vertical_db * secant_incidence(hop.cos_elevation, kHeightAbsorption_km);
        mode.ground_db = kGroundLoss_db * (mode.hops - 1);
        const double below_deg = std::max(circuit_.min_elevation_deg - mode.elevation_deg, 0.0);
        mode.horizon_db = kTaper_db * below_deg * below_deg;
        mode.free_space_db = 32.45 + freq_db + 20.0 * elementary::log10(mode.group_path_km);
        mode.field_dbuv_m = sent_db + freq_db - mode.free_space_db - mode.absorption_db -
                            mode.ground_db - mode.horizon_db;
        out.list[out.count++] = mode;
    };

    if (distance <= kMostE_km) {
        const double longest = std::min(longest_hop_km(floor_deg, kHeightE_km), kLongestHopE_km);
        const int first = hops_needed(distance, longest);
        for (int hops = first; hops < first + 3 && out.count < kMostModes; ++hops) {
            Mode mode{};
            mode.layer = Layer::kE;
            mode.hops = hops;
            const Hop hop = hop_over(distance / hops, kHeightE_km);
            mode.muf_mhz = e_muf_mhz(hop, foe_low);
            mode.spread = kSpreadE;
            complete(mode, hop);
        }
    }

    const std::span<const Ruler> all = rulers;
    const auto ends = all.first(way.ends ? 2 : 0);
    const auto middle = all.subspan(2);
    const double ends_spread = way.ends ? lower_spread(ends) : 0.0;
    const double middle_spread = middle_rules ? lower_spread(middle) : 0.0;
    const int orders = distance <= kManyModes_km ? 6 : 3;
    const int beyond = std::max(way.fewest_hops + orders, lowest + 1);  // one, however many hops
    for (int hops = lowest; hops < beyond && out.count < kMostModes; ++hops) {
        const bool by_middle = !way.ends || (middle_rules && hops == 1);
        const Hop hop = hop_over(distance / hops, mirror_km);
        Mode mode{};
        mode.layer = Layer::kF2;
        mode.hops = hops;
        mode.muf_mhz = lower_muf_mhz(by_middle ? middle : ends, distance / hops);
        mode.spread = by_middle ? middle_spread : ends_spread;
        mode.screening_mhz = 1.05 * foe_high * secant_incidence(hop.cos_elevation, kHeightE_km);
        complete(mode, hop);
    }
}

void muf(const ionosphere::Maps& maps, const magnetic::Model& field, const ionosphere::Drive& drive,
         Route route, const EndColumns& circuits, std::span<const double> t_unix_s,
         std::span<const double> f107_sfu, std::span<const std::int64_t> circuit_index,
         std::span<const std::int64_t> instant_index, std::span<double> muf_mhz) {
    constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
    constexpr double kAnyFrequency_mhz = 10.0;  // the basic MUF does not depend on it
    const std::size_t count = circuits.tx_lat_deg.size();
    checks::same_length("tx_lon_deg", circuits.tx_lon_deg.size(), count);
    checks::same_length("rx_lat_deg", circuits.rx_lat_deg.size(), count);
    checks::same_length("rx_lon_deg", circuits.rx_lon_deg.size(), count);
    checks::same_length("min_elevation_deg", circuits.min_elevation_deg.size(), count);
    checks::within("tx_lat_deg", circuits.tx_lat_deg, -90.0, 90.0);
    checks::within("rx_lat_deg", circuits.rx_lat_deg, -90.0, 90.0);
    checks::within("min_elevation_deg", circuits.min_elevation_deg, 0.0, 30.0);
    const auto instants = ionosphere::prepare(maps, t_unix_s, f107_sfu, drive);
    const checks::Pairs pairs(count, instants.size(), circuit_index, instant_index);
    checks::same_length("muf_mhz", muf_mhz.size(), pairs.size());
    std::optional<Finder> finder;
    std::size_t current = count;  // none yet
    for (std::size_t i = 0; i < pairs.size(); ++i) {
        const auto [c, t] = pairs[i];
        if (c != current) {
            current = c;
            finder.reset();
            const Circuit circuit = {circuits.tx_lat_deg[c],
                                     circuits.tx_lon_deg[c],
                                     circuits.rx_lat_deg[c],
                                     circuits.rx_lon_deg[c],
                                     kAnyFrequency_mhz,
                                     1.0,
                                     0.0,
                                     circuits.min_elevation_deg[c],
                                     route};
            if (!std::isnan(circuit.tx_lat_deg + circuit.tx_lon_deg + circuit.rx_lat_deg +
                            circuit.rx_lon_deg + circuit.min_elevation_deg)) {
                finder.emplace(field, circuit);
            }
        }
        muf_mhz[i] = kNan;
        const auto& instant = instants[t];
        if (finder && instant) {
            const Modes modes = finder->find(*instant, drive);
            double highest = 0.0;
            for (std::size_t m = 0; m < modes.count; ++m) {
                highest = std::max(highest, modes.list[m].muf_mhz);
            }
            muf_mhz[i] = highest;
        }
    }
}

}  // namespace farhear::skywave
