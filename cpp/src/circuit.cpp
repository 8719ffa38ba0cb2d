#include "farhear/circuit.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>
#include <optional>
#include <utility>
#include <vector>

#include "checks.hpp"
#include "elementary.hpp"
#include "farhear/path.hpp"
#include "farhear/rays.hpp"
#include "scales.hpp"
#include "vector_math.hpp"

namespace farhear::circuit {

namespace {

using path::kEarthRadius_km;
using scales::decibel;
using scales::power;
using vector_math::kDeg_per_rad;
using vector_math::kRad_per_deg;

// ---------------------------------------------------------------- which modes are tried

constexpr double kLongestHop_km = 4200.0;      // of F2, at the horizon over a high layer
constexpr double kLongestHopE_km = 2300.0;     // of E and Es, at the horizon
constexpr double kFarWay_km = 12000.0;         // beyond it one order less
constexpr std::size_t kOrders = 3;             // F2 orders a way
constexpr double kFarthestEs_km = 9000.0;      // Es all the way
constexpr double kFarthestMixed_km = 10000.0;  // one Es hop, the others F2
constexpr int kMostMixed_hops = 3;

// ---------------------------------------------------------------- heights

constexpr double kHeightE_km = 110.0;
constexpr double kHalfE_km = 20.0;
constexpr double kLowestF2_km = 180.0;  // of the F2 peak
constexpr double kHighestF2_km = 700.0;
constexpr double kHeightEs_km = sporadic::kHeight_km;
constexpr double kHeightD_km = 90.0;
constexpr double kHighestMirror_km = 600.0;
constexpr double kUsualHeight_km = 300.0;  // places the D crossings and the mixed hops

// ---------------------------------------------------------------- losses

constexpr double kTaper_db = 8.0;       // below the least elevation, per square degree [own]
constexpr double kMostTaper_db = 90.0;  // of that
/// Rays nearer to the MUF stand for those at the MUF: there elevation and focusing have no slope
/// that could be followed from minute to minute. [own]
constexpr double kNearMuf = 0.98;
constexpr double kSupportWidth = 0.05;      // of ln(MUF) within the hour [own]
constexpr double kScreenWidth = 0.08;       // of ln(screening frequency) [own]
constexpr double kScreened = 1e-6;          // what gets past a layer that screens: 60 dB less [own]
constexpr double kScatterPath_km = 3000.0;  // out to where the ground is lit, and back
constexpr double kSpreadE = 0.04;           // deciles 0.95 and 1.05 [memory: P.533]
constexpr double kHighestE = 10.0;          // times foE: 1.8 times the MUF at the horizon
constexpr double kClear = -0.09;            // ln(foEs / vertical frequency): nothing is hidden
constexpr double kMostE_db = 81.0;          // above the E or F1 MUF: the cap of P.533 [memory]
constexpr double kIgnored = 3e-4;           // share of what is there already: 0.001 dB
constexpr double kGroundSine = 0.23;        // see low_angle
constexpr double kGroundFrequency_mhz = 10.0;    // above it antennas stand higher in wavelengths
constexpr double kLeastSine = 0.01;              // 0.6 deg
constexpr double kReceiverReference = 0.342;     // 20 deg: where noise comes from on average [own]
constexpr double kTransmitterReference = 0.174;  // 10 deg: a usual take-off angle [own]
constexpr double kFaraway_db = 45.0;             // below what can be heard: not looked at

// ---------------------------------------------------------------- the days

/// Days on a grid of 0.6 standard deviations. Each is blurred by 0.35 standard deviations within
/// itself, so that the likelihood has no steps; the grid is narrowed by what the blur adds.
constexpr double kDayStep = 0.6;
constexpr double kBlur = 0.35;
constexpr double kNarrowed = 0.9367;  // sqrt(1 - kBlur^2)
constexpr std::size_t kMedianDay = kDays / 2;
/// Patches on a grid of 0.8 standard deviations from -2.4 to 3.2: what sporadic E does, it does
/// when it is strong.
constexpr double kPatchStep = 0.8;
constexpr double kFirstPatch = -2.4;
constexpr std::size_t kMedianPatch = 3;
constexpr std::size_t kUpperPatch = 5;  // 1.6 standard deviations: for the table of modes

double day_z(std::size_t day) noexcept {
    return kDayStep * (static_cast<double>(day) - static_cast<double>(kMedianDay));
}
double patch_z(std::size_t patch) noexcept {
    return kFirstPatch + kPatchStep * static_cast<double>(patch);
}

/// What the triangle Earth centre, station, mirror needs of a hop, whatever the mirror's height.
struct Span {
    explicit Span(double hop_km) noexcept {
        const double sine = vector_math::sincos(hop_km / (4.0 * kEarthRadius_km)).sin;
        chord2 = 4.0 * sine * sine;
    }
    [[nodiscard]] double slant_km(double mirror_km) const noexcept {
        return 2.0 * std::sqrt(mirror_km * mirror_km +
                               kEarthRadius_km * (kEarthRadius_km + mirror_km) * chord2);
    }
    double chord2;
};

/// Secant of the incidence at a height. Source: law of sines.
double secant(double cos2_elevation, double height_km) noexcept {
    const double ratio = kEarthRadius_km / (kEarthRadius_km + height_km);
    return 1.0 / std::sqrt(1.0 - ratio * ratio * cos2_elevation);
}

/// Distance from the ground point to where the ray meets the D region. [km]
double to_d_region_km(double hop_km, double mirror_km) noexcept {
    const auto hop = skywave::hop_over(hop_km, mirror_km);
    const double elevation = elementary::atan2(std::max(hop.sin_elevation, 0.0), hop.cos_elevation);
    const double there = elementary::acos(kEarthRadius_km * elementary::cos(elevation) /
                                          (kEarthRadius_km + kHeightD_km)) -
                         elevation;
    return std::min(kEarthRadius_km * there, 0.5 * hop_km);
}

// ---------------------------------------------------------------- points, once per year

/// Where a ray meets the D region.
struct Crossing {
    double sin_lat;
    double cos_lat;
    double lon_rad;
    double geomagnetic_lat_deg;
};

/// Where a hop turns, for what depends on geomagnetic latitude and local time.
struct Turn {
    double geomagnetic_lat_deg;
    double lon_deg;
};

/// The part of a way that the modes of one hop count share.
struct Track {
    int hops = 1;
    double hop_km = 0.0;
    double whole_km = 0.0;
    double steepest_sine = 0.0;  // of the elevation of the highest mirror: no low ray is steeper
    bool long_path = false;
    double gyro_100_mhz = 0.0;
    double gyro_longitudinal_mhz = 0.0;  // of a steep ray
    std::vector<Crossing> crossings;     // two a hop
    std::vector<Turn> turns;             // one a hop
    double sea_share = 0.0;              // mean over the ground points between hops
    double convergence = 1.0;            // power ratio
};

void add_turn(Track& track, const ionosphere::Place& place) {
    track.turns.push_back({place.geomagnetic_lat_deg, place.lon_deg});
}

void add_gyro(Track& track, const ionosphere::Place& place, int count) noexcept {
    // tan(dip) = 2 tan(dip latitude)
    const double tan_dip = 2.0 * elementary::tan(place.dip_lat_deg * kRad_per_deg);
    track.gyro_100_mhz += place.gyro_100_mhz / count;
    track.gyro_longitudinal_mhz +=
        place.gyro_100_mhz * std::abs(tan_dip) / std::sqrt(1.0 + tan_dip * tan_dip) / count;
}

sporadic::Basis es_basis(const ionosphere::Place& place) noexcept {
    return sporadic::basis(place.lat_deg, place.lon_deg, place.modip_deg);
}

struct OrderPoints {
    Track track;
    std::vector<ionosphere::Place> middles;
    std::vector<sporadic::Basis> es;
};

struct EsPoints {
    Track track;
    std::vector<sporadic::Basis> middles;
};

/// One Es hop at one end, F2 hops for the rest, all at one elevation.
struct MixedPoints {
    Track track;
    double es_km = 0.0;
    double f2_km = 0.0;
    double sin_elevation = 0.0;
    sporadic::Basis es;
    std::vector<ionosphere::Place> f2;
};

/// Which orders go one way round.
struct Way {
    std::size_t first;
    std::size_t count;
};

struct Points {
    std::vector<Way> ways;
    std::vector<OrderPoints> orders;
    std::vector<EsPoints> es;
    std::vector<MixedPoints> mixed;
    ionosphere::Place at_rx{};
    double highest_geomagnetic_deg = 0.0;
};

// ---------------------------------------------------------------- sky, once per instant

/// Absorption along a track, free of frequency.
struct Absorber {
    double auroral_db = 0.0;  // mean over the hops
    double solar = 0.0;       // half the sum of the solar factors over the crossings, per secant
    double flare = 0.0;       // of (1 MHz)^1.5, likewise
    std::vector<losses::DRegion> d_regions;  // of the crossings, where the integral is asked for
};

/// What a ray over one hop adds to a way through all of them.
struct HopRay {
    double sine;  // of the elevation
    double path_km;
    double slope_km;    // dD/d(elevation)
    double secant;      // at absorbing height
    double screen_mhz;  // below, layers underneath hold it back
};

struct Hop {
    rays::Profile profile;
    rays::Curve f2;
    rays::Curve f1;
    rays::Curve e;
    rays::Muf f2_top;  // ordinary wave
    rays::Muf f1_top;
    rays::Muf e_top;
    double f1_presence;  // 0 no F1 layer .. 1
    double x_ratio;      // the extraordinary wave goes this much higher than f2_top
    double spread;       // day-to-day standard deviation of ln(foF2)
    /// How much higher or lower the frequencies of its rays lie on each day, X wave included.
    std::array<double, kDays> stretch;
    double farthest_mhz;  // MUF of the longest hop here
    double foe_mhz;
    double fof1_mhz;  // 0: none
    double hmf1_km;
    HopRay f2_near_muf;  // the low ray, taken from kNearMuf on
    sporadic::Distribution es;
};

/// The layers over a place, the peak of F2 not yet tied.
struct Layering {
    ionosphere::Characteristics c;
    skywave::F2Shape shape;
    rays::Layers layers;
    double f1_presence;
};

/// F2 support of an order on one day.
struct DaySupport {
    double muf_mhz;
    double farthest_mhz;  // MUF of the longest hops
    double width;         // of ln(MUF) within the day
};

struct Order {
    std::array<DaySupport, kDays> days{};
    bool absorber_ready = false;
    bool ready = false;
    bool e_ready = false;
    bool has_e = false;
    bool has_f1 = false;
    double least_foe_mhz = 0.0;
    double least_screen_mhz = 0.0;  // that of the steepest low ray
    Absorber absorber;
    std::vector<Hop> hops;
};

struct EsOrder {
    bool ready = false;
    Absorber absorber;
    std::vector<sporadic::Distribution> hops;
};

struct Mixed {
    bool ready = false;
    Absorber absorber;
    sporadic::Distribution es;
    double muf_mhz = 0.0;
    double spread = 0.0;
    double mirror_km = 0.0;
};

/// Standard deviation of ln(MUF) within one of the days. `spread`: from day to day.
double width_of(double spread) noexcept {
    return std::sqrt(kSupportWidth * kSupportWidth + kBlur * kBlur * spread * spread);
}

/// The lowest MUF of the hops rules. Spread: of the hop with the lowest MUF, blended where two are
/// about equal, by the 24th power of the ratio: 4 % apart count as 1 to 0.39. [own]
DaySupport support_on(const std::vector<Hop>& hops, std::size_t day) noexcept {
    DaySupport out = {1e9, 1e9, 0.0};
    for (const Hop& hop : hops) {
        const double stretch = hop.stretch[day];  // NOLINT: day < kDays, as below
        out.muf_mhz = std::min(out.muf_mhz, hop.f2_top.freq_mhz * stretch);
        out.farthest_mhz = std::min(out.farthest_mhz, hop.farthest_mhz * stretch);
    }
    out.farthest_mhz = std::max(out.farthest_mhz, out.muf_mhz);
    double sum = 0.0;
    double weights = 0.0;
    for (const Hop& hop : hops) {
        const double ratio = out.muf_mhz / (hop.f2_top.freq_mhz * hop.stretch[day]);  // NOLINT
        const double r2 = ratio * ratio;
        const double r4 = r2 * r2;
        const double r8 = r4 * r4;
        const double weight = r8 * r8 * r8;
        sum += weight * hop.spread;
        weights += weight;
    }
    const double spread = sum / weights;
    out.width = width_of(spread);
    return out;
}

}  // namespace

std::span<const double> state_weights(std::size_t states) noexcept {
    static const auto make = [](std::size_t patches) {
        std::array<double, kStates> out{};
        double sum = 0.0;
        for (std::size_t p = 0; p < patches; ++p) {
            for (std::size_t d = 0; d < kDays; ++d) {
                const double z2 =
                    day_z(d) * day_z(d) + (patches == 1 ? 0.0 : patch_z(p) * patch_z(p));
                out[p * kDays + d] = elementary::exp(-0.5 * z2);
                sum += out[p * kDays + d];
            }
        }
        for (double& weight : out) {
            weight /= sum;
        }
        return out;
    };
    static const auto days = make(1);
    static const auto all = make(kPatches);
    return std::span(states == kDays ? days : all).first(states);
}

// ---------------------------------------------------------------- the circuit

struct Circuit::State {
    State(const Models& the_models, const Ends& the_ends)
        : models(the_models),
          ends(the_ends),
          tx(path::unit_vector(the_ends.tx_lat_deg, the_ends.tx_lon_deg)),
          rx(path::unit_vector(the_ends.rx_lat_deg, the_ends.rx_lon_deg)),
          distance_km(std::max(path::central_angle_rad(tx, rx) * kEarthRadius_km, 1.0)),
          least_sine(elementary::sin(the_ends.min_elevation_deg * kRad_per_deg)) {}

    Models models;
    Ends ends;
    path::Vector tx;
    path::Vector rx;
    double distance_km;
    double least_sine;
    std::map<double, Points> by_year;

    const Points* points = nullptr;
    const Moment* moment = nullptr;
    ionosphere::Drive drive{};
    Options options;
    std::vector<Order> orders;
    std::array<std::vector<double>, 2> ties;  // by way
    std::vector<EsOrder> es_orders;
    std::vector<Mixed> mixed_orders;
    double rx_fof2_mhz = 0.0;

    struct Reception;

    // points
    [[nodiscard]] path::Point point(const Track& track, double from_tx_km) const;
    [[nodiscard]] ionosphere::Place place(const Track& track, double year, double from_tx_km) const;
    void lay(Track& track, double year, double mirror_km) const;
    const Points& prepared(double year);
    void add_way(Points& made, double year, bool long_path, double whole_km) const;
    void add_mixed(Points& made, double year, const Track& way, int hops, bool at_tx) const;

    // sky
    [[nodiscard]] Absorber absorber_of(const Track& track) const;
    [[nodiscard]] ionosphere::Characteristics layers_at(const ionosphere::Place& place) const;
    [[nodiscard]] Layering layers_of(const ionosphere::Place& place) const;
    [[nodiscard]] Hop hop_at(const ionosphere::Place& place, const sporadic::Basis& es,
                             double hop_km, double shift_km) const;
    [[nodiscard]] double tie_shift_km(std::size_t way, double fraction);
    const Absorber& absorber_at(std::size_t index);
    Order& order_at(std::size_t index);
    static void add_e_rays(Order& order, double hop_km);
    const EsOrder& es_at(std::size_t index);
    const Mixed& mixed_at(std::size_t index);
};

path::Point Circuit::State::point(const Track& track, double from_tx_km) const {
    return path::to_point(path::along(tx, rx, from_tx_km / track.whole_km, track.long_path));
}

ionosphere::Place Circuit::State::place(const Track& track, double year, double from_tx_km) const {
    const auto at = point(track, from_tx_km);
    return ionosphere::prepare(*models.field, year, at.lat_deg, at.lon_deg);
}

void Circuit::State::lay(Track& track, double year, double mirror_km) const {
    const double inside_km = to_d_region_km(track.hop_km, mirror_km);
    for (int i = 0; i < track.hops; ++i) {
        const double start = i * track.hop_km;
        for (const double at : {start + inside_km, start + track.hop_km - inside_km}) {
            const auto place = point(track, at);
            const auto lat = vector_math::sincos(place.lat_deg * kRad_per_deg);
            track.crossings.push_back(
                {lat.sin, lat.cos, place.lon_deg * kRad_per_deg,
                 models.field->geomagnetic_lat_deg(year, place.lat_deg, place.lon_deg)});
        }
        if (i > 0) {
            const auto ground = point(track, start);
            track.sea_share +=
                models.land->sea_share(ground.lat_deg, ground.lon_deg) / (track.hops - 1);
        }
    }
    track.convergence = power(skywave::convergence_db(track.whole_km));
    track.steepest_sine = skywave::hop_over(track.hop_km, kHighestMirror_km).sin_elevation;
}

void Circuit::State::add_way(Points& made, double year, bool long_path, double whole_km) const {
    Track way{};
    way.whole_km = whole_km;
    way.long_path = long_path;
    const int first = std::max(1, static_cast<int>(std::ceil(whole_km / kLongestHop_km)));
    const std::size_t count = whole_km > kFarWay_km ? kOrders - 1 : kOrders;
    made.ways.push_back({made.orders.size(), count});
    for (int hops = first; hops < first + static_cast<int>(count); ++hops) {
        OrderPoints order{way, {}, {}};
        order.track.hops = hops;
        order.track.hop_km = whole_km / hops;
        for (int i = 0; i < hops; ++i) {
            order.middles.push_back(place(way, year, (i + 0.5) * order.track.hop_km));
            const auto& middle = order.middles.back();
            order.es.push_back(es_basis(middle));
            add_turn(order.track, middle);
            add_gyro(order.track, middle, hops);
            made.highest_geomagnetic_deg =
                std::max(made.highest_geomagnetic_deg, std::abs(middle.geomagnetic_lat_deg));
        }
        lay(order.track, year, kUsualHeight_km);
        made.orders.push_back(std::move(order));
    }
    if (whole_km <= kFarthestEs_km) {
        const int least = std::max(1, static_cast<int>(std::ceil(whole_km / kLongestHopE_km)));
        for (int hops = least; hops < least + 2; ++hops) {
            EsPoints one{way, {}};
            one.track.hops = hops;
            one.track.hop_km = whole_km / hops;
            for (int i = 0; i < hops; ++i) {
                const auto middle = place(way, year, (i + 0.5) * one.track.hop_km);
                one.middles.push_back(es_basis(middle));
                add_turn(one.track, middle);
                add_gyro(one.track, middle, hops);
            }
            lay(one.track, year, kHeightEs_km);
            made.es.push_back(std::move(one));
        }
    }
    if (whole_km <= kFarthestMixed_km) {
        for (int hops = 2; hops <= kMostMixed_hops; ++hops) {
            for (const bool at_tx : {true, false}) {
                add_mixed(made, year, way, hops, at_tx);
            }
        }
    }
}

void Circuit::State::add_mixed(Points& made, double year, const Track& way, int hops,
                               bool at_tx) const {
    MixedPoints out{way, 0.0, 0.0, 0.0, {}, {}};
    out.track.hops = hops;
    out.track.hop_km = way.whole_km / hops;
    // the elevation at which one Es hop and the F2 hops add up to the distance
    double low = 0.0;
    double high = 0.5 * std::numbers::pi;
    for (int i = 0; i < 50; ++i) {
        const double middle = 0.5 * (low + high);
        const double sum = skywave::range_km(middle, kHeightEs_km) +
                           (hops - 1) * skywave::range_km(middle, kUsualHeight_km);
        (sum > way.whole_km ? low : high) = middle;
    }
    out.sin_elevation = elementary::sin(low);
    out.es_km = skywave::range_km(low, kHeightEs_km);
    out.f2_km = (way.whole_km - out.es_km) / (hops - 1);
    const auto es = place(way, year, at_tx ? 0.5 * out.es_km : way.whole_km - 0.5 * out.es_km);
    out.es = es_basis(es);
    add_turn(out.track, es);
    for (int i = 0; i + 1 < hops; ++i) {
        out.f2.push_back(place(way, year, (at_tx ? out.es_km : 0.0) + (i + 0.5) * out.f2_km));
        add_turn(out.track, out.f2.back());
        add_gyro(out.track, out.f2.back(), hops - 1);
    }
    lay(out.track, year, kUsualHeight_km);
    made.mixed.push_back(std::move(out));
}

const Points& Circuit::State::prepared(double year) {
    const auto known = by_year.find(year);
    if (known != by_year.end()) {
        return known->second;
    }
    Points made;
    made.at_rx = ionosphere::prepare(*models.field, year, ends.rx_lat_deg, ends.rx_lon_deg);
    if (ends.route != skywave::Route::kLong) {
        add_way(made, year, false, distance_km);
    }
    if (ends.route != skywave::Route::kShort) {
        add_way(made, year, true, 2.0 * std::numbers::pi * kEarthRadius_km - distance_km);
    }
    return by_year.emplace(year, std::move(made)).first->second;
}

// ---------------------------------------------------------------- sky

Absorber Circuit::State::absorber_of(const Track& track) const {
    Absorber out;
    const auto& instant = moment->instant;
    const auto& d = moment->disturbance;
    for (const Crossing& at : track.crossings) {
        const double cosine = sun::cos_zenith(instant.sun, at.sin_lat, at.cos_lat, at.lon_rad);
        const double zenith_deg = vector_math::acos(std::clamp(cosine, -1.0, 1.0)) * kDeg_per_rad;
        if (options.integral_absorption) {
            out.d_regions.emplace_back(zenith_deg);
        } else {
            out.solar +=
                0.5 * options.absorption_scale *
                skywave::absorption_factor(zenith_deg, instant.r12, options.night_absorption);
        }
        // both laws go with f^-1.5 and the secant: ask them at 1 MHz, overhead
        if (d.xray_w_m2 > 0.0) {
            out.flare += losses::flare_db(1.0, d.xray_w_m2, zenith_deg, 0.0);
        }
        if (d.proton_2_pfu > 0.0 || d.proton_5_pfu > 0.0) {
            out.flare += losses::polar_cap_db(1.0, d.proton_2_pfu, d.proton_5_pfu, zenith_deg,
                                              at.geomagnetic_lat_deg, 0.0);
        }
    }
    out.solar /= track.hops;
    out.flare /= track.hops;
    if (options.auroral) {
        for (const Turn& at : track.turns) {
            out.auroral_db += losses::auroral_db(at.geomagnetic_lat_deg,
                                                 losses::local_time_h(at.lon_deg, instant.t_unix_s),
                                                 instant.season, track.whole_km) /
                              track.hops;
        }
    }
    return out;
}

ionosphere::Characteristics Circuit::State::layers_at(const ionosphere::Place& place) const {
    auto c = ionosphere::characteristics(place, moment->instant, drive);
    if (!std::isnan(moment->disturbance.kp)) {
        c.fof2_mhz *= losses::storm_factor(moment->disturbance.kp, place.modip_deg);
    }
    return c;
}

namespace {

Layering layering(const ionosphere::Characteristics& c, const ionosphere::Place& place, double r12,
                  bool has_f1) {
    Layering out{};
    out.c = c;
    out.shape = skywave::f2_shape(c.fof2_mhz, c.foe_mhz, c.m3000f2_ratio);
    rays::Layers& layers = out.layers;
    layers.e = {c.foe_mhz, kHeightE_km, kHalfE_km};
    layers.f2 = {c.fof2_mhz, std::max(c.hmf2_km, kLowestF2_km),
                 ionosphere::half_thickness_f2_km(c.fof2_mhz, c.m3000f2_ratio)};
    if (has_f1) {
        const auto f1 = ionosphere::f1_layer(r12, place.dip_lat_deg, c.zenith_deg);
        out.f1_presence = f1.presence;
        // a fading layer sinks into the E peak, so that it goes without a step
        const double e2 = c.foe_mhz * c.foe_mhz;
        const double excess = std::max(f1.critical_mhz * f1.critical_mhz - e2, 0.0);
        const double full_km = std::min(ionosphere::hmf1_km(c.zenith_deg),
                                        kHeightE_km + 0.6 * (layers.f2.peak_km - kHeightE_km));
        const double height_km = kHeightE_km + f1.presence * (full_km - kHeightE_km);
        layers.f1 = {std::sqrt(e2 + f1.presence * excess), height_km,
                     0.6 * (height_km - kHeightE_km)};
    }
    return out;
}

/// What F2 or F1 screening there is for a ray of this elevation.
double screening_mhz(const Hop& hop, double cos2_elevation, Layer layer) noexcept {
    const double by_e = hop.foe_mhz * secant(cos2_elevation, kHeightE_km);
    if (layer == Layer::kF1 || hop.fof1_mhz <= 0.0) {
        return by_e;
    }
    return std::max(by_e, hop.fof1_mhz * secant(cos2_elevation, hop.hmf1_km));
}

HopRay over_hop(const Hop& hop, const Span& span, const rays::Landing& ray, Layer layer) noexcept {
    const double cos2 = 1.0 - ray.sin_elevation * ray.sin_elevation;
    return {ray.sin_elevation, span.slant_km(ray.mirror_km), ray.range_slope_km,
            secant(cos2, skywave::kHeightAbsorption_km),
            layer == Layer::kE ? 0.0 : screening_mhz(hop, cos2, layer)};
}

double tied_peak_km(const Layering& at) { return rays::tied_peak_km(at.layers, at.shape.b); }

double bounded_peak_km(double peak_km) { return std::clamp(peak_km, kLowestF2_km, kHighestF2_km); }

}  // namespace

rays::Layers median_layers(const ionosphere::Place& place, const ionosphere::Instant& instant,
                           const ionosphere::Drive& drive) {
    Layering at = layering(ionosphere::characteristics(place, instant, drive), place, instant.r12,
                           Options{}.f1);
    at.layers.f2.peak_km = bounded_peak_km(tied_peak_km(at));
    return at.layers;
}

Layering Circuit::State::layers_of(const ionosphere::Place& place) const {
    return layering(layers_at(place), place, moment->instant.r12, options.f1);
}

/// By how much the F2 peak moves to give the mapped M(3000)F2: computed at the hops of a way's
/// highest order, linear between.
double Circuit::State::tie_shift_km(std::size_t way, double fraction) {
    const Way& orders_of = points->ways[way];
    const auto& middles = points->orders[orders_of.first + orders_of.count - 1].middles;
    auto& shifts = ties[way];
    if (shifts.empty()) {
        for (const auto& place : middles) {
            const Layering at = layers_of(place);
            shifts.push_back(tied_peak_km(at) - at.layers.f2.peak_km);
        }
    }
    const auto count = static_cast<double>(shifts.size());
    const double at = std::clamp(fraction * count - 0.5, 0.0, count - 1.0);
    const auto i = std::min(static_cast<std::size_t>(at), shifts.size() - 2);
    return shifts[i] + (at - static_cast<double>(i)) * (shifts[i + 1] - shifts[i]);
}

Hop Circuit::State::hop_at(const ionosphere::Place& place, const sporadic::Basis& es, double hop_km,
                           double shift_km) const {
    Layering at = layers_of(place);
    const auto& c = at.c;
    const auto& shape = at.shape;
    Hop out;  // NOLINT: filled
    out.f1_presence = at.f1_presence;
    at.layers.f2.peak_km = bounded_peak_km(at.layers.f2.peak_km + shift_km);
    const rays::Profile profile = rays::join(at.layers);
    out.f2 = rays::land(profile, rays::Region::kF2, hop_km);
    out.f2_top = rays::muf(out.f2);
    if (profile.count == 5) {
        out.f1 = rays::land(profile, rays::Region::kF1, hop_km);
        out.f1_top = rays::muf(out.f1);
        out.f1_presence *= out.f1.presence;
    } else {
        out.f1_presence = 0.0;
    }
    out.profile = profile;
    out.x_ratio = 1.0 + 0.5 * place.gyro_300_mhz * std::max(1.0 - hop_km / shape.dmax_km, 0.0) /
                            out.f2_top.freq_mhz;
    out.spread = options.fof2_spread *
                 ionosphere::fof2_spread(c.zenith_deg, place.modip_deg, place.geomagnetic_lat_deg);
    for (std::size_t d = 0; d < kDays; ++d) {
        out.stretch[d] = out.x_ratio * vector_math::exp(kNarrowed * day_z(d) * out.spread);
    }
    out.farthest_mhz = skywave::f2_muf_mhz(shape.dmax_km, c.fof2_mhz, shape, 0.0);
    out.foe_mhz = profile.layers.e.critical_mhz;
    out.fof1_mhz = profile.count == 5 ? profile.layers.f1.critical_mhz : 0.0;
    out.hmf1_km = profile.layers.f1.peak_km;
    out.f2_near_muf =
        over_hop(out, Span(hop_km),
                 rays::low_ray(out.f2, out.f2_top, kNearMuf * out.f2_top.freq_mhz), Layer::kF2);
    out.es = options.sporadic_e ? sporadic::combine(es, moment->es) : sporadic::Distribution{};
    return out;
}

const Absorber& Circuit::State::absorber_at(std::size_t index) {
    Order& order = orders[index];
    if (!order.absorber_ready) {
        order.absorber_ready = true;
        order.absorber = absorber_of(points->orders[index].track);
    }
    return order.absorber;
}

Order& Circuit::State::order_at(std::size_t index) {
    Order& out = orders[index];
    if (out.ready) {
        return out;
    }
    const OrderPoints& at = points->orders[index];
    out.ready = true;
    out.has_e = at.track.hop_km <= kLongestHopE_km;
    out.has_f1 = true;
    out.e_ready = false;
    out.least_foe_mhz = 1e9;
    out.least_screen_mhz = 0.0;
    const double sine = at.track.steepest_sine;
    out.hops.resize(at.middles.size());
    const std::size_t way = points->ways.size() > 1 && index >= points->ways[1].first ? 1 : 0;
    for (std::size_t i = 0; i < out.hops.size(); ++i) {
        const double fraction =
            (static_cast<double>(i) + 0.5) / static_cast<double>(out.hops.size());
        out.hops[i] = hop_at(at.middles[i], at.es[i], at.track.hop_km, tie_shift_km(way, fraction));
        out.has_f1 = out.has_f1 && out.hops[i].f1_presence > 0.0;
        out.least_foe_mhz = std::min(out.least_foe_mhz, out.hops[i].foe_mhz);
        out.least_screen_mhz = std::max(out.least_screen_mhz,
                                        screening_mhz(out.hops[i], 1.0 - sine * sine, Layer::kF2));
    }
    for (std::size_t d = 0; d < kDays; ++d) {
        out.days[d] = support_on(out.hops, d);
    }
    return out;
}

void Circuit::State::add_e_rays(Order& order, double hop_km) {
    if (order.e_ready) {
        return;
    }
    order.e_ready = true;
    for (Hop& hop : order.hops) {
        hop.e = rays::land(hop.profile, rays::Region::kE, hop_km);
        hop.e_top = rays::muf(hop.e);
    }
}

const EsOrder& Circuit::State::es_at(std::size_t index) {
    EsOrder& out = es_orders[index];
    if (!out.ready) {
        const EsPoints& at = points->es[index];
        out.ready = true;
        out.absorber = absorber_of(at.track);
        out.hops.resize(at.middles.size());
        for (std::size_t i = 0; i < out.hops.size(); ++i) {
            out.hops[i] = sporadic::combine(at.middles[i], moment->es);
        }
    }
    return out;
}

const Mixed& Circuit::State::mixed_at(std::size_t index) {
    Mixed& out = mixed_orders[index];
    if (!out.ready) {
        const MixedPoints& at = points->mixed[index];
        out.ready = true;
        out.absorber = absorber_of(at.track);
        out.es = sporadic::combine(at.es, moment->es);
        out.muf_mhz = 1e9;
        out.mirror_km = 0.0;
        for (const auto& place : at.f2) {
            const auto c = layers_at(place);
            const auto shape = skywave::f2_shape(c.fof2_mhz, c.foe_mhz, c.m3000f2_ratio);
            const double muf = skywave::f2_muf_mhz(at.f2_km, c.fof2_mhz, shape, place.gyro_300_mhz);
            if (muf < out.muf_mhz) {
                out.muf_mhz = muf;
                out.spread =
                    options.fof2_spread * ionosphere::fof2_spread(c.zenith_deg, place.modip_deg,
                                                                  place.geomagnetic_lat_deg);
            }
            out.mirror_km += skywave::mirror_height_km(c) / static_cast<double>(at.f2.size());
        }
    }
    return out;
}

// ---------------------------------------------------------------- reception

namespace {

/// Quantile of the least of n equally correlated normal quantities, about normal again. Source of
/// the mean and variance of the largest of n: order statistics of the normal distribution, tables.
double weakest(std::size_t hops, double correlation, double z) noexcept {
    // NOLINTNEXTLINE(modernize-use-std-numbers): 0.5642 is near 1/sqrt(pi) by theory
    constexpr std::array<double, 5> kMean = {0.0, 0.5642, 0.8463, 1.0294, 1.1630};
    constexpr std::array<double, 5> kVariance = {1.0, 0.6817, 0.5595, 0.4917, 0.4475};
    const std::size_t i = std::min(hops, kMean.size()) - 1;
    return -std::sqrt(1.0 - correlation) * kMean[i] +
           z * std::sqrt(correlation + (1.0 - correlation) * kVariance[i]);
}

/// What a way through all hops of an order comes to.
struct Passage {
    double sine = 0.0;       // of the elevation, mean over the hops
    double path_km = 0.0;    // group path
    double slope_km = 0.0;   // sum of dD/d(elevation)
    double secants = 0.0;    // sum over the hops at absorbing height
    bool by_mirror = false;  // spreads as in free space
};

double gain_at(const Emission& emission, double elevation_deg) noexcept {
    if (emission.pattern_dbi.empty()) {
        return emission.gain_dbi;
    }
    const double at = std::clamp(elevation_deg, 0.0, 90.0) / 2.0;
    const auto i = std::min(static_cast<std::size_t>(at), kPatternElevations_count - 2);
    const double t = at - static_cast<double>(i);
    return emission.gain_dbi + emission.pattern_dbi[i] +
           t * (emission.pattern_dbi[i + 1] - emission.pattern_dbi[i]);
}

/// Losses that an emission meets on one track.
struct Budgeter {
    Budgeter(const Track& the_track, const Absorber& absorber, const Emission& the_emission,
             const Options& the_options, double the_least_sine)
        : track(the_track),
          emission(the_emission),
          options(the_options),
          least_sine(the_least_sine) {
        auroral_db = absorber.auroral_db;
        const double freq = emission.freq_mhz;
        freq_db = 20.0 * elementary::log10(freq);
        vertical_db =
            absorber.solar * 2.0 * skywave::absorption_db(freq, track.gyro_100_mhz, 0.0, 0.5) +
            absorber.flare / (freq * std::sqrt(freq));
        for (const auto& d_region : absorber.d_regions) {
            vertical_db += options.absorption_scale / track.hops *
                           d_region.loss_db(freq, track.gyro_longitudinal_mhz, 0.0);
        }
        sent = emission.power_kw * power(skywave::kFieldConstant_db - 32.45 + emission.gain_dbi -
                                         options.other_loss_db);
    }

    /// No mode of this track is stronger, but for steep high rays. [(uV/m)^2]
    [[nodiscard]] double bound() const noexcept {
        const double sine = track.steepest_sine;
        double gain = low_angle(sine) * power(-0.5 * ground(std::max(sine, 0.05)));
        if (!emission.pattern_dbi.empty()) {
            // up to the elevation above
            const double last = vector_math::asin(std::clamp(sine, 0.0, 1.0)) * kDeg_per_rad / 2.0;
            const auto count =
                std::min(static_cast<std::size_t>(last) + 2, kPatternElevations_count);
            gain *= power(*std::ranges::max_element(emission.pattern_dbi.first(count)));
        }
        const double passes = track.hops * secant(1.0 - sine * sine, skywave::kHeightAbsorption_km);
        return sent * gain / (track.whole_km * track.whole_km) *
               power(options.most_focusing_db - vertical_db * passes) * track.convergence;
    }

    /// Field of a mode that is fully carried and open. [(uV/m)^2]
    [[nodiscard]] double strength(const Passage& p) const noexcept {
        const double sine = std::clamp(p.sine, -1.0, 1.0);
        double loss_db = absorption_db(p) + auroral_db + horizon(sine) + ground(sine);
        if (!emission.pattern_dbi.empty()) {
            loss_db -=
                gain_at(emission, vector_math::asin(sine) * kDeg_per_rad) - emission.gain_dbi;
        }
        return sent / (p.path_km * p.path_km) * track.convergence * focusing(p, sine) *
               low_angle(sine) * power(-loss_db);
    }

    [[nodiscard]] double absorption_db(const Passage& p) const noexcept {
        return vertical_db * p.secants;
    }

    [[nodiscard]] Mode budget(const Passage& p, Layer layer) const noexcept {
        Mode mode{};
        mode.layer = layer;
        mode.long_path = track.long_path;
        mode.hops = track.hops;
        const double sine = std::clamp(p.sine, -1.0, 1.0);
        mode.elevation_deg = elementary::asin(sine) * kDeg_per_rad;
        mode.group_path_km = p.path_km;
        mode.gain_dbi = gain_at(emission, mode.elevation_deg);
        mode.free_space_db = 32.45 + freq_db + 20.0 * elementary::log10(p.path_km);
        mode.focusing_db = decibel(track.convergence * focusing(p, sine));
        mode.absorption_db = absorption_db(p);
        mode.ground_db = ground(sine);
        mode.auroral_db = auroral_db;
        mode.horizon_db = horizon(sine);
        mode.other_db = options.other_loss_db;
        mode.low_angle_db = -decibel(low_angle(sine));
        mode.field_dbuv_m = decibel(strength(p));
        return mode;
    }

    [[nodiscard]] double focusing(const Passage& p, double sine) const noexcept {
        if (!options.focusing || p.by_mirror) {
            return 1.0;
        }
        const double gain =
            p.path_km * p.path_km * std::sqrt(1.0 - sine * sine) /
            (track.whole_km * std::max(std::abs(p.slope_km), 1e-6) * std::max(sine, 1e-3));
        const double most = power(options.most_focusing_db);
        const double a = 1.0 / (gain * gain);
        const double b = 1.0 / (most * most);
        return 1.0 / std::sqrt(std::sqrt(a * a + b * b));
    }

    [[nodiscard]] double ground(double sine) const noexcept {
        return track.hops == 1 ? 0.0
                               : (track.hops - 1) * losses::ground_reflection_db(
                                                        emission.freq_mhz, sine, track.sea_share);
    }

    /// What antennas over ground lose towards the horizon, as a power ratio: the ground's image
    /// takes the field away as sin / (sin + s0), a good fit to 1 + the vertical reflection
    /// coefficient of average land at HF (s0 = 0.23). Relative to the elevation at which a gain is
    /// stated; at the transmitter only where no pattern is known. [own]
    [[nodiscard]] double low_angle(double sine) const noexcept {
        if (!options.low_angle) {
            return 1.0;
        }
        const double s0 = kGroundSine * std::min(kGroundFrequency_mhz / emission.freq_mhz, 1.0);
        const double image = 1.0 + s0 / std::max(sine, kLeastSine);
        const double receiver = std::max(image / (1.0 + s0 / kReceiverReference), 1.0);
        const double transmitter = emission.pattern_dbi.empty()
                                       ? std::max(image / (1.0 + s0 / kTransmitterReference), 1.0)
                                       : 1.0;
        const double both = receiver * transmitter;
        return 1.0 / (both * both);
    }

    [[nodiscard]] double horizon(double sine) const noexcept {
        const double below_deg = std::max(least_sine - sine, 0.0) * kDeg_per_rad;
        return std::min(kTaper_db * below_deg * below_deg, kMostTaper_db);
    }

    const Track& track;
    const Emission& emission;
    const Options& options;
    double least_sine;
    double auroral_db;
    double freq_db;
    double vertical_db;
    double sent;  // (uV/m)^2 at 1 km
};

/// Loss above the MUF of the day, where all that arrives is scattered by ground that longer hops
/// light; above their MUF too that ground gets darker, by 36 sqrt(f/MUF - 1) [memory: P.533], whose
/// steep root at the MUF is taken off by 1 %, or minutes would jump. [dB]
double scattered_db(double freq_mhz, double farthest_mhz, double path_km,
                    const Options& o) noexcept {
    const double detour = kScatterPath_km / path_km;
    const double above = std::max(freq_mhz / farthest_mhz - 1.0, 0.0);
    return o.scatter_db + decibel(1.0 + detour * detour) + 36.0 * (std::sqrt(above + 0.01) - 0.1);
}

/// Level of a mode that is there for a share of the hour and `loss_db` down for the rest, as a
/// power ratio. In decibels: what counts is the level at most minutes, and a few minutes of a
/// strong signal do not make it audible in the others. (A mean of powers would: 0.03 % of the time
/// is only 35 dB.)
double between_levels(double share, double loss_db) noexcept {
    return power(-(1.0 - share) * loss_db);
}

/// Adds up modes.
struct Sum {
    Signal out{};
    std::vector<Mode>* modes;
    double strongest = -1.0;
    std::array<double, 32> each{};
    std::size_t counted = 0;

    /// @param make_mode  returns the mode, for the strongest and for lists only
    void count(double full, double carried, double open, double absorption_db,
               const auto& make_mode) {
        const double now = full * carried * open;
        out.if_carried += full;
        out.no_absorption += now * power(absorption_db);
        if (now > strongest || modes != nullptr) {
            Mode mode = make_mode();
            mode.support_db = -decibel(carried);
            mode.screening_db = -decibel(open);
            mode.field_dbuv_m = decibel(now);
            if (now > strongest) {
                strongest = now;
                out.best = mode;
            }
            if (modes != nullptr) {
                modes->push_back(mode);
            }
        }
        if (counted < each.size()) {
            each[counted++] = now;
        }
    }
};

double open_share(double freq_mhz, double screening_mhz) noexcept {
    if (freq_mhz > 1.6 * screening_mhz) {
        return 1.0;
    }
    const double open =
        vector_math::normal(vector_math::log(freq_mhz / screening_mhz) / kScreenWidth);
    return open + (1.0 - open) * kScreened;
}

/// F2 rays of all hops on one day.
struct DayPassage {
    Passage low;
    Passage high;
    double high_share = 0.0;  // the high ray fades where it nears the peak of the layer
    double presence = 0.0;    // of F2 as a layer over all hops
    double low_screen_mhz = 0.0;
    double high_screen_mhz = 0.0;
    bool near_muf = false;  // at every hop: the same on all such days
};

Passage between(const Passage& a, const Passage& b) noexcept {
    return {0.5 * (a.sine + b.sine), 0.5 * (a.path_km + b.path_km), 0.5 * (a.slope_km + b.slope_km),
            0.5 * (a.secants + b.secants)};
}

DayPassage between(const DayPassage& a, const DayPassage& b) noexcept {
    return {between(a.low, b.low),
            between(a.high, b.high),
            std::min(a.high_share, b.high_share),
            a.presence,
            0.5 * (a.low_screen_mhz + b.low_screen_mhz),
            0.5 * (a.high_screen_mhz + b.high_screen_mhz),
            a.near_muf && b.near_muf};
}

void add(Passage& sum, double share, const HopRay& ray) noexcept {
    sum.sine += share * ray.sine;
    sum.path_km += ray.path_km;
    sum.slope_km += ray.slope_km;
    sum.secants += ray.secant;
}

DayPassage f2_passage(const Order& order, const Span& span, double freq, std::size_t day,
                      bool with_high) {
    DayPassage out;
    out.high_share = with_high ? 1.0 : 0.0;
    out.presence = 1.0;
    out.near_muf = true;
    const double share = 1.0 / static_cast<double>(order.hops.size());
    for (const Hop& hop : order.hops) {
        const double here = freq / hop.stretch[day];  // NOLINT: < kDays
        const double most = kNearMuf * hop.f2_top.freq_mhz;
        const double there = std::min(here, most);
        out.near_muf = out.near_muf && here >= most;
        out.presence *= hop.f2.presence;
        const HopRay low =
            here >= most
                ? hop.f2_near_muf
                : over_hop(hop, span, rays::low_ray(hop.f2, hop.f2_top, there), Layer::kF2);
        add(out.low, share, low);
        out.low_screen_mhz = std::max(out.low_screen_mhz, low.screen_mhz);
        const double steepest = hop.f2.freq_mhz[rays::kLanes - 1];
        out.high_share = std::min(out.high_share, 10.0 * (there / steepest - 1.0));
        if (out.high_share > 0.0) {
            const HopRay high =
                over_hop(hop, span, rays::high_ray(hop.f2, hop.f2_top, there), Layer::kF2);
            add(out.high, share, high);
            out.high_screen_mhz = std::max(out.high_screen_mhz, high.screen_mhz);
        }
    }
    return out;
}

struct Support {
    double supported;  // share of the time
    double carried;    // with what penetrates and scatters
};

Support f2_support(const DaySupport& day, double freq, double path_km,
                   const Options& options) noexcept {
    Support out{};
    out.supported = vector_math::normal(vector_math::log(day.muf_mhz / freq) / day.width);
    out.carried =
        out.supported < 0.9999
            ? between_levels(out.supported, scattered_db(freq, day.farthest_mhz, path_km, options))
            : 1.0;
    return out;
}

}  // namespace

/// What an emission comes to at the receiver, mode by mode.
struct Circuit::State::Reception {
    Reception(State& state, const Emission& the_emission, double audible_dbuv_m,
              std::vector<Mode>* modes)
        : s(state),
          emission(the_emission),
          freq(the_emission.freq_mhz),
          audible_db(audible_dbuv_m),
          sum{.modes = modes} {}

    void add_order(std::size_t index);
    void add_es(std::size_t index, double floor);
    void add_mixed(std::size_t index, double floor);
    [[nodiscard]] double es_floor() const;
    [[nodiscard]] Signal signal() const;

    State& s;
    const Emission& emission;
    double freq;
    double audible_db;
    Sum sum;
    std::array<double, kDays> steady{};       // power that no Es layer changes, by day
    std::array<double, kPatches> by_patch{};  // power of Es modes, by patch
    std::array<double, kStates> mixture{};    // F2 through Es, and mixed modes
    std::array<double, kDays> found{};        // all F2 so far, for leaving weak orders out
    bool patchy = false;

  private:
    void add_steady(const Order& order, const Budgeter& budgeter, Layer layer);
    [[nodiscard]] std::array<double, kPatches> seen_through_es(const Order& order, double sine);
    void show(Mode mode, double loss_db) const;

    [[nodiscard]] bool listing() const noexcept { return sum.modes != nullptr; }
};

/// Counts E or F1 rays: they vary little from day to day, one day does. Above their MUF nothing is
/// left: the gentle rise of the published loss is what sporadic E brings, and that is counted
/// apart.
void Circuit::State::Reception::add_steady(const Order& order, const Budgeter& budgeter,
                                           Layer layer) {
    const Span span(budgeter.track.hop_km);
    const double share = 1.0 / budgeter.track.hops;
    const bool is_e = layer == Layer::kE;
    Passage p;
    double muf = 1e9;
    double presence = 1.0;
    double screen = 0.0;
    for (const Hop& hop : order.hops) {
        const rays::Curve& curve = is_e ? hop.e : hop.f1;
        const rays::Muf& top = is_e ? hop.e_top : hop.f1_top;
        const rays::Landing ray =
            rays::low_ray(curve, top, std::min(freq, kNearMuf * top.freq_mhz));
        const HopRay over = over_hop(hop, span, ray, layer);
        add(p, share, over);
        muf = std::min(muf, top.freq_mhz);
        if (!is_e) {
            presence *= hop.f1_presence;
            screen = std::max(screen, over.screen_mhz);
        }
    }
    const double carried = vector_math::normal(vector_math::log(muf / freq) / kSpreadE);
    const double part = between_levels(carried, kMostE_db);
    const double open = screen > 0.0 ? open_share(freq, screen) : 1.0;
    const double full = budgeter.strength(p) * presence;
    sum.count(full, part, open, budgeter.absorption_db(p), [&] {
        Mode mode = budgeter.budget(p, layer);
        mode.muf_mhz = muf;
        mode.screening_mhz = screen;
        return mode;
    });
    for (double& day : steady) {
        day += full * part * open;
    }
}

/// Share of F2 rays that get up and down through the Es layers of all hops, patch by patch.
std::array<double, kPatches> Circuit::State::Reception::seen_through_es(const Order& order,
                                                                        double sine) {
    std::array<double, kPatches> open;
    open.fill(1.0);
    if (!s.options.sporadic_e) {
        return open;
    }
    const double vertical = freq / secant(1.0 - sine * sine, kHeightEs_km);
    for (const Hop& hop : order.hops) {
        const double log_ratio = vector_math::log(hop.es.median_mhz / vertical);
        if (log_ratio + patch_z(kPatches - 1) * hop.es.upper_sigma < kClear) {
            continue;
        }
        for (std::size_t p = 0; p < kPatches; ++p) {
            const double z = patch_z(p);
            const double here =
                1.0 - sporadic::hidden_share(
                          log_ratio + z * (z < 0.0 ? hop.es.lower_sigma : hop.es.upper_sigma));
            open[p] *= here * here;
        }
    }
    // 2.4 and 3.2 standard deviations: 2 and 0.1 % of the days
    patchy = patchy || open[kPatches - 2] < 0.97 || open.back() < 0.9;
    return open;
}

void Circuit::State::Reception::add_order(std::size_t index) {
    const Track& track = s.points->orders[index].track;
    // absorption, and layers below, may rule the order out before any ray is computed
    const Budgeter budgeter(track, s.absorber_at(index), emission, s.options, s.least_sine);
    const double unheard = listing() ? 0.0 : power(audible_db - kFaraway_db);
    const double least =
        index == 0 ? 0.0 : std::max(unheard, kIgnored * *std::ranges::min_element(found));
    double bound = budgeter.bound();
    if (bound < least) {
        return;
    }
    Order& order = s.order_at(index);
    if (order.has_e && freq < kHighestE * order.least_foe_mhz) {
        State::add_e_rays(order, track.hop_km);
        add_steady(order, budgeter, Layer::kE);
    }
    if (order.has_f1) {
        add_steady(order, budgeter, Layer::kF1);
    }

    // F2. Geometry on every second day; between them the mean of the neighbours.
    bound *= open_share(freq, order.least_screen_mhz);
    if (bound < least) {
        return;
    }
    const Span span(track.hop_km);
    std::array<DayPassage, kDays> by_day;
    for (std::size_t i = 0; i <= kDays / 2; ++i) {
        const std::size_t d = kDays - 1 - 2 * i;
        // from the best day near the MUF down, all are
        by_day[d] = i > 0 && by_day[d + 2].near_muf
                        ? by_day[d + 2]
                        : f2_passage(order, span, freq, d, s.options.high_ray);
    }
    for (std::size_t d = 1; d < kDays; d += 2) {
        by_day[d] = between(by_day[d - 1], by_day[d + 1]);
    }
    struct Arrived {
        double full;
        double open;
    };
    const auto arrived = [&](const Passage& p, double presence, double screen) {
        return Arrived{budgeter.strength(p) * presence, open_share(freq, screen)};
    };
    Arrived low{};
    bool near_muf = false;  // whether `low` is that of all days near the MUF
    std::array<double, kDays> f2{};
    for (std::size_t d = 0; d < kDays; ++d) {
        if (d != kMedianDay && bound < kIgnored * found[d]) {
            continue;
        }
        const DayPassage& day = by_day[d];
        const Support support = f2_support(order.days[d], freq, day.low.path_km, s.options);
        const auto add_f2 = [&](const Passage& p, const Arrived& all, double part, double screen,
                                bool is_high) {
            f2[d] += all.full * part * all.open;
            if (d == kMedianDay) {
                sum.count(all.full, part, all.open, budgeter.absorption_db(p), [&] {
                    Mode mode = budgeter.budget(p, Layer::kF2);
                    mode.high_ray = is_high;
                    mode.muf_mhz = order.days[d].muf_mhz;
                    mode.screening_mhz = screen;
                    return mode;
                });
            }
        };
        if (!day.near_muf || !near_muf) {
            low = arrived(day.low, day.presence, day.low_screen_mhz);
            near_muf = day.near_muf;
        }
        add_f2(day.low, low, support.carried, day.low_screen_mhz, false);
        // none where low and high ray meet
        const double high_part = std::max(2.0 * support.supported - 1.0, 0.0) * day.high_share;
        if (high_part > 0.0) {
            add_f2(day.high, arrived(day.high, day.presence, day.high_screen_mhz), high_part,
                   day.high_screen_mhz, true);
        }
    }
    const auto open = seen_through_es(order, by_day[kMedianDay].low.sine);
    for (std::size_t d = 0; d < kDays; ++d) {
        found[d] += f2[d];
        for (std::size_t p = 0; p < kPatches; ++p) {
            mixture[p * kDays + d] += f2[d] * open[p];
        }
    }
}

/// Power below which no Es mode counts.
double Circuit::State::Reception::es_floor() const {
    return std::max(power(audible_db - kFaraway_db), kIgnored * *std::ranges::min_element(found));
}

/// Lists a mode as it is on a good day, where modes are listed.
void Circuit::State::Reception::show(Mode mode, double loss_db) const {
    mode.support_db = loss_db;
    mode.field_dbuv_m -= loss_db;
    sum.modes->push_back(mode);
}

void Circuit::State::Reception::add_es(std::size_t index, double floor) {
    const Track& track = s.points->es[index].track;
    const EsOrder& order = s.es_at(index);
    const Budgeter budgeter(track, order.absorber, emission, s.options, s.least_sine);
    if (budgeter.bound() < floor) {
        return;
    }
    const auto hop = skywave::hop_over(track.hop_km, kHeightEs_km);
    Passage p;
    p.by_mirror = true;
    p.sine = hop.sin_elevation;
    p.path_km = track.hops * hop.slant_km;
    p.secants = track.hops * secant(1.0 - p.sine * p.sine, skywave::kHeightAbsorption_km);
    const double full = budgeter.strength(p);
    const auto mode = [&] { return budgeter.budget(p, Layer::kEs); };
    for (std::size_t patch = kPatches; patch-- > 0;) {
        const double z = weakest(order.hops.size(), s.options.es_dependence, patch_z(patch));
        double loss_db = 0.0;
        for (const auto& es : order.hops) {
            loss_db += sporadic::loss_db(track.hop_km, freq, sporadic::quantile_mhz(es, z));
        }
        const double carried = power(-loss_db);
        if (!listing() && full * carried < floor) {
            break;  // weaker patches carry less
        }
        patchy = true;
        by_patch[patch] += full * carried;
        if (patch == kMedianPatch && !listing()) {
            sum.count(full, carried, 1.0, budgeter.absorption_db(p), mode);
        }
        if (patch == kUpperPatch && listing()) {
            show(mode(), loss_db);
        }
    }
}

void Circuit::State::Reception::add_mixed(std::size_t index, double floor) {
    const MixedPoints& at = s.points->mixed[index];
    const Mixed& mixed = s.mixed_at(index);
    const Budgeter budgeter(at.track, mixed.absorber, emission, s.options, s.least_sine);
    if (budgeter.bound() < floor) {
        return;
    }
    Passage p;
    p.by_mirror = true;
    p.sine = at.sin_elevation;
    p.path_km = Span(at.es_km).slant_km(kHeightEs_km) +
                (at.track.hops - 1) * Span(at.f2_km).slant_km(mixed.mirror_km);
    p.secants = at.track.hops * secant(1.0 - p.sine * p.sine, skywave::kHeightAbsorption_km);
    const double full = budgeter.strength(p);
    const double width = width_of(mixed.spread);
    const auto lost_db = [&](std::size_t patch) {
        return sporadic::loss_db(at.es_km, freq, sporadic::quantile_mhz(mixed.es, patch_z(patch)));
    };
    const auto carried_on = [&](std::size_t day) {
        const double muf = mixed.muf_mhz * vector_math::exp(kNarrowed * day_z(day) * mixed.spread);
        const double supported = vector_math::normal(vector_math::log(muf / freq) / width);
        return between_levels(supported, scattered_db(freq, muf, p.path_km, s.options));
    };
    const double best_day = listing() ? 1.0 : carried_on(kDays - 1);
    if (full * power(-lost_db(kPatches - 1)) * best_day < floor) {
        return;  // other patches and days carry less
    }
    std::array<double, kDays> carried{};
    for (std::size_t d = 0; d < kDays; ++d) {
        carried[d] = carried_on(d);
    }
    for (std::size_t patch = 0; patch < kPatches; ++patch) {
        const double loss_db = lost_db(patch);
        const double reflected = power(-loss_db);
        patchy = patchy || full * reflected * carried.back() > floor;  // the best day
        for (std::size_t d = 0; d < kDays; ++d) {
            mixture[patch * kDays + d] += full * reflected * carried[d];
        }
        if (patch == kUpperPatch && listing()) {
            Mode mode = budgeter.budget(p, Layer::kMixed);
            mode.muf_mhz = mixed.muf_mhz;
            show(mode, loss_db - decibel(carried[kMedianDay]));
        }
    }
}

/// All modes together, state by state; the days alone where Es does not matter.
Signal Circuit::State::Reception::signal() const {
    Signal out = sum.out;
    out.f_over_muf = out.best.muf_mhz > 0.0 ? freq / out.best.muf_mhz : 0.0;
    for (std::size_t i = 0; i < sum.counted; ++i) {
        out.alike += sum.each[i] > 0.1 * sum.strongest ? 1U : 0U;
    }
    out.states = patchy ? kStates : kDays;
    const auto all = [this](std::size_t patch, std::size_t day) {
        return steady[day] + mixture[patch * kDays + day] + by_patch[patch];
    };
    out.median = all(kMedianPatch, kMedianDay);
    for (std::size_t i = 0; i < out.states; ++i) {
        out.power[i] = all(patchy ? i / kDays : kMedianPatch, i % kDays);
    }
    return out;
}

Signal Circuit::receive(const Emission& emission, double audible_dbuv_m, std::vector<Mode>* modes) {
    State& s = *state_;
    State::Reception reception(s, emission, audible_dbuv_m, modes);
    for (std::size_t o = 0; o < s.points->orders.size(); ++o) {
        reception.add_order(o);
    }
    if (s.options.sporadic_e) {
        const double floor = reception.es_floor();
        for (std::size_t e = 0; e < s.points->es.size(); ++e) {
            reception.add_es(e, floor);
        }
        for (std::size_t m = 0; m < s.points->mixed.size(); ++m) {
            reception.add_mixed(m, floor);
        }
    }
    return reception.signal();
}

// ---------------------------------------------------------------- face

Circuit::Circuit(const Models& models, const Ends& ends)
    : state_(std::make_unique<State>(models, ends)) {}
Circuit::~Circuit() = default;
Circuit::Circuit(Circuit&&) noexcept = default;
Circuit& Circuit::operator=(Circuit&&) noexcept = default;

void Circuit::at(const Moment& moment, const ionosphere::Drive& drive, const Options& options) {
    State& s = *state_;
    s.moment = &moment;
    s.drive = drive;
    s.options = options;
    s.points = &s.prepared(moment.instant.field_year);
    s.orders.resize(s.points->orders.size());
    s.es_orders.resize(s.points->es.size());
    s.mixed_orders.resize(s.points->mixed.size());
    for (auto& order : s.orders) {
        order.absorber_ready = false;
        order.ready = false;
    }
    for (auto& shifts : s.ties) {
        shifts.clear();
    }
    for (auto& order : s.es_orders) {
        order.ready = false;
    }
    for (auto& one : s.mixed_orders) {
        one.ready = false;
    }
    s.rx_fof2_mhz =
        std::max(ionosphere::combine(s.points->at_rx.terms, moment.instant.terms).fof2_mhz, 0.5);
}

double Circuit::muf_mhz() {
    State& s = *state_;
    double highest = 0.0;
    for (std::size_t o = 0; o < std::min<std::size_t>(2, s.orders.size()); ++o) {
        const Order& order = s.order_at(o);
        double muf = 1e9;
        double sine = 1.0;
        for (const Hop& hop : order.hops) {
            muf = std::min(muf, hop.f2_top.freq_mhz * hop.x_ratio);
            sine = std::min(sine,
                            rays::low_ray(hop.f2, hop.f2_top, hop.f2_top.freq_mhz).sin_elevation);
        }
        if (sine >= s.least_sine || o == 1) {
            highest = std::max(highest, muf);
        }
    }
    return highest;
}

double Circuit::rx_fof2_mhz() const noexcept { return state_->rx_fof2_mhz; }
double Circuit::highest_geomagnetic_deg() const noexcept {
    return state_->points->highest_geomagnetic_deg;
}
double Circuit::distance_km() const noexcept { return state_->distance_km; }

// ---------------------------------------------------------------- many

std::vector<std::optional<Moment>> prepare(
    const Models& models, std::span<const double> t_unix_s, std::span<const double> f107_sfu,
    const std::array<std::span<const double>, 4>& disturbances, const ionosphere::Drive& drive) {
    const auto instants = ionosphere::prepare(*models.maps, t_unix_s, f107_sfu, drive);
    const auto at = [&](std::size_t column, std::size_t t) {
        const auto& values = disturbances.at(column);
        return values.empty() ? std::numeric_limits<double>::quiet_NaN() : values[t];
    };
    std::vector<std::optional<Moment>> out(instants.size());
    for (std::size_t t = 0; t < out.size(); ++t) {
        if (const auto& instant = instants[t]) {
            out[t] = Moment{*instant,
                            models.es->at(t_unix_s[t], instant->r12),
                            {at(0, t), at(1, t), at(2, t), at(3, t)}};
        }
    }
    return out;
}

void muf(const Models& models, const ionosphere::Drive& drive, const Options& options,
         std::span<const Ends> circuits, std::span<const double> t_unix_s,
         std::span<const double> f107_sfu, std::span<const std::int64_t> circuit_index,
         std::span<const std::int64_t> instant_index, std::span<double> muf_mhz) {
    const auto moments = prepare(models, t_unix_s, f107_sfu, {}, drive);
    const checks::Pairs pairs(circuits.size(), moments.size(), circuit_index, instant_index);
    checks::same_length("muf_mhz", muf_mhz.size(), pairs.size());
    constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
    std::optional<Circuit> circuit;
    std::size_t current = circuits.size();  // none yet
    for (std::size_t i = 0; i < pairs.size(); ++i) {
        const auto [c, t] = pairs[i];
        if (c != current) {
            current = c;
            circuit.reset();
            const Ends& e = circuits[c];
            if (!std::isnan(e.tx_lat_deg + e.tx_lon_deg + e.rx_lat_deg + e.rx_lon_deg +
                            e.min_elevation_deg)) {
                circuit.emplace(models, e);
            }
        }
        muf_mhz[i] = kNan;
        const auto& moment = moments[t];
        if (circuit && moment) {
            circuit->at(*moment, drive, options);
            muf_mhz[i] = circuit->muf_mhz();
        }
    }
}

}  // namespace farhear::circuit
