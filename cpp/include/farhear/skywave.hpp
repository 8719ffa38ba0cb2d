#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <vector>

#include "farhear/ionosphere.hpp"
#include "farhear/path.hpp"

/// Sky-wave modes of one circuit in closed form: the documented fast path.
///
/// Mirror geometry on the sphere, maximum usable frequencies and losses after ITU-R P.533 and
/// P.1240. What it leaves out: F1 modes, sporadic E, auroral loss, ground wave, tilts, focusing at
/// the skip distance. Most constants of the two Recommendations are from memory, marked [memory];
/// those marked [consistent] pass a test that wrong ones would hardly pass (boundary values,
/// continuity).
namespace farhear::skywave {

// ---------------------------------------------------------------- one hop on the sphere

/// A hop of length d over a mirror at height h, in a form without angles:
/// law of cosines and law of sines in the triangle Earth centre, station, mirror.
struct Hop {
    double slant_km;       // up and down
    double cos_elevation;  // 0 at d = 0
    double sin_elevation;  // negative: the mirror is below the horizon
};
[[nodiscard]] Hop hop_over(double hop_km, double mirror_km) noexcept;
/// Elevation of a hop at its ends. [deg]
[[nodiscard]] double elevation_deg(const Hop& hop) noexcept;
/// Secant of the angle of incidence at a height (law of sines).
[[nodiscard]] double secant_incidence(double cos_elevation, double height_km) noexcept;
/// Ground range of a hop over a mirror at an elevation. [km]
[[nodiscard]] double range_km(double elevation_rad, double mirror_km) noexcept;
/// Longest hop at a minimum elevation. [km]
[[nodiscard]] double longest_hop_km(double elevation_deg, double mirror_km) noexcept;

// ---------------------------------------------------------------- usable frequencies

/// The factors of the F2 formula that depend on foF2/foE and M(3000)F2 only.
struct F2Shape {
    double b;        // MUF(3000)F2 / foF2 as corrected for the E layer
    double dmax_km;  // beyond it the MUF grows no more
    double c_3000;   // C_D at 3000 km
};
[[nodiscard]] F2Shape f2_shape(double fof2_mhz, double foe_mhz, double m3000f2_ratio) noexcept;
/// Polynomial C_D: 0 at distance 0, 1 at dmax. Source: Lockwood 1983, P.1240 3.1 [consistent]
[[nodiscard]] double f2_distance_factor(double hop_km, double dmax_km) noexcept;
/// Basic MUF of an F2 hop; beyond dmax that of dmax. [MHz]
/// Source: Lockwood 1983, P.533 3.5 and P.1240 3.1 [consistent]
[[nodiscard]] double f2_muf_mhz(double hop_km, double fof2_mhz, const F2Shape& shape,
                                double gyro_mhz) noexcept;
/// Basic MUF of an E hop, which is one over a mirror at 110 km. [MHz] Source: P.533 3.3 [memory]
[[nodiscard]] double e_muf_mhz(const Hop& hop, double foe_mhz) noexcept;

/// Mirror height of an F2 hop, from hmF2 and the underlying ionisation [own]:
/// hmF2 (0.78 + 0.65 foE/foF2), the bracket not above 1.1, kept within 160 .. 600 km. A fit to
/// the equivalent mirror heights of quasi-parabolic rays at half to full MUF (foF2 8 MHz, foE 3.2
/// or none, f 9 to 18 MHz: 224-247 km without, 274-356 km with an E layer, for hmF2 300 km): +-15
/// %.
[[nodiscard]] double mirror_height_km(const ionosphere::Characteristics& c) noexcept;

// ---------------------------------------------------------------- losses

/// Absorption of one hop. [dB]
/// Source: Lucas and Haydon, ESSA Technical Report IER 1-ITSA 1 (1966) [memory]
/// @param factor  the solar factor below, averaged over the control points.
[[nodiscard]] double absorption_db(double freq_mhz, double gyro_mhz, double cos_elevation,
                                   double factor) noexcept;
/// (1 + 0.0037 R12) cos^1.3(0.881 chi), not below a floor, 0.1 in the source [memory]. The floor is
/// what a fit to measurements left by night, not D-region physics.
[[nodiscard]] double absorption_factor(double zenith_deg, double r12, double floor = 0.1) noexcept;
/// Loss of a penetrating ray beyond the support of the layer. [dB] [own: the older law of P.533
/// [memory] plus a step that the spread of 4 % smooths]
[[nodiscard]] double penetration_db(double freq_mhz, double muf_mhz) noexcept;
/// Gain by convergence on the sphere, capped at 15 dB. Source: P.533 5.3 [memory]
[[nodiscard]] double convergence_db(double distance_km) noexcept;

/// Fixed figures of the loss budget.
inline constexpr double kOtherLoss_db = 8.72;       // Lz [memory: P.533], a bias to be fitted
inline constexpr double kGroundLoss_db = 2.0;       // per intermediate ground reflection [memory]
inline constexpr double kFieldConstant_db = 137.2;  // C0, from ITU-R P.525-5 [read]
inline constexpr double kHeightE_km = 110.0;
inline constexpr double kHeightAbsorption_km = 100.0;

// ---------------------------------------------------------------- modes

enum class Layer : std::uint8_t { kNone = 0, kE = 1, kF2 = 2 };

/// One way of getting there.
struct Mode {
    Layer layer;
    bool long_path;
    int hops;
    double elevation_deg;
    double group_path_km;
    double muf_mhz;        // basic, monthly median
    double spread;         // day-to-day standard deviation of ln(muf)
    double screening_mhz;  // the E layer cuts this F2 mode off below; 0 for E modes
    double absorption_db;
    double ground_db;
    double horizon_db;     // loss below the least elevation, 8 dB per square degree [own]
    double free_space_db;  // 32.45 + 20 log f + 20 log p'
    double field_dbuv_m;   // as if fully supported and not screened
};

/// Which great circle counts.
enum class Route : std::uint8_t { kShort = 0, kLong = 1, kBoth = 2 };

/// What the emitter and the receiver are, for the modes.
struct Circuit {
    double tx_lat_deg;
    double tx_lon_deg;
    double rx_lat_deg;
    double rx_lon_deg;
    double freq_mhz;
    double power_kw;
    double tx_gain_dbi;
    double min_elevation_deg;
    Route route;
};

inline constexpr std::size_t kMostModes = 16;

/// Modes found, plus what concerns the whole circuit.
struct Modes {
    std::array<Mode, kMostModes> list;
    std::size_t count;
    double rx_fof2_mhz;              // at the receiver: shields it from galactic noise
    double highest_geomagnetic_deg;  // largest |geomagnetic latitude| of the control points
};

/// A circuit with its control points, prepared once per year of the magnetic field and reused over
/// instants. Not for two threads at a time.
class Finder {
  public:
    Finder(const magnetic::Model& field, const Circuit& circuit);

    /// All landing modes at an instant: up to three E modes (paths to 4000 km) and the lowest F2
    /// orders (six to 9000 km, three beyond, counted from the fewest hops that land at all, and at
    /// least one that lands high enough) of each route asked for. Orders down to 3 deg below
    /// the least elevation are kept, with a loss that grows towards the horizon: a hard limit would
    /// make the likelihood jump when a layer sinks.
    [[nodiscard]] Modes find(const ionosphere::Instant& instant, const ionosphere::Drive& drive);

    [[nodiscard]] const Circuit& circuit() const noexcept { return circuit_; }
    [[nodiscard]] double distance_km() const noexcept { return distance_km_; }

  private:
    struct Pair {
        ionosphere::Place near_tx;
        ionosphere::Place near_rx;
    };
    struct Way {  // one great circle
        bool long_path = false;
        double distance_km = 0.0;
        ionosphere::Place middle{};
        std::optional<Pair> inner;  // 1000 km inside both ends, beyond 2000 km
        std::optional<Pair> ends;   // half a hop inside both ends, beyond 2000 km
        int fewest_hops = 1;  // over a 300 km mirror: places `ends` and tops the orders tried;
                              // what moved with the layer would make the likelihood jump [own]
        double convergence_db = 0.0;
    };
    struct Prepared {  // for one year of the magnetic field
        std::vector<Way> ways;
        ionosphere::Place at_rx{};
    };
    [[nodiscard]] ionosphere::Place place_at(double year, const Way& way, double from_tx_km) const;
    [[nodiscard]] Pair pair_at(double year, const Way& way, double inside_km) const;
    const Prepared& prepared(double year);
    void add_modes(const Way& way, const ionosphere::Instant& instant,
                   const ionosphere::Drive& drive, Modes& out) const;

    const magnetic::Model* field_;
    Circuit circuit_;
    path::Vector tx_;
    path::Vector rx_;
    double distance_km_;
    std::map<double, Prepared> prepared_;
};

/// Columns of the ends, equal lengths. [deg]
struct EndColumns {
    std::span<const double> tx_lat_deg;
    std::span<const double> tx_lon_deg;
    std::span<const double> rx_lat_deg;
    std::span<const double> rx_lon_deg;
    std::span<const double> min_elevation_deg;
};

/// Highest basic MUF of all modes, monthly median. [MHz] Element i uses circuit circuit_index[i]
/// and instant instant_index[i]; with both index columns empty, every circuit at every instant,
/// [circuit][instant]. NaN gives NaN. @throws InputError on unequal lengths or values out of range.
void muf(const ionosphere::Maps& maps, const magnetic::Model& field, const ionosphere::Drive& drive,
         Route route, const EndColumns& circuits, std::span<const double> t_unix_s,
         std::span<const double> f107_sfu, std::span<const std::int64_t> circuit_index,
         std::span<const std::int64_t> instant_index, std::span<double> muf_mhz);

}  // namespace farhear::skywave
