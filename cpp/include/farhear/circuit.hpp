#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "farhear/ionosphere.hpp"
#include "farhear/losses.hpp"
#include "farhear/rays.hpp"
#include "farhear/skywave.hpp"
#include "farhear/sporadic.hpp"

/// Sky-wave modes of one circuit by rays, to any distance, on the short and the long great circle.
///
/// Every order n splits the way into n equal hops; each hop has the profile of its own midpoint, so
/// a path may start in the day and end in the night. Rays, MUF, skip and elevation come from
/// rays.hpp; the fast path of skywave.hpp is kept as a cross-check.
namespace farhear::circuit {

/// How the ray turns. The numbers are the codes of the Python face.
enum class Layer : std::uint8_t { kNone = 0, kE = 1, kF2 = 2, kF1 = 3, kEs = 4, kMixed = 5 };

/// Pieces of the physics that can be switched off, to see what each is worth, and its constants.
struct Options {
    bool f1 = true;
    bool focusing = true;
    bool high_ray = true;
    bool sporadic_e = true;
    bool auroral = true;
    bool low_angle = true;
    double scatter_db = 33.0;  // side scatter, all that is left above the MUF of a day [own]
    double most_focusing_db = 3.0;
    double absorption_scale = 0.7;
    double night_absorption = 0.1;     // floor of the solar factor [memory: P.533]
    double fof2_spread = 1.0;          // factor on the spread from day to day
    bool integral_absorption = false;  // Appleton-Hartree through the D region instead of the fit
    double other_loss_db = 6.0;        // Lz, the focusing being counted separately [assumption]
    double es_dependence = 0.5;        // correlation of foEs between two hops of a day [own]
};

/// What disturbs the ionosphere at an instant; NaN: not known, taken as quiet.
struct Disturbance {
    double kp;            // largest of the last day: lowers foF2
    double xray_w_m2;     // flare
    double proton_2_pfu;  // above 2.2 MeV: polar cap by night
    double proton_5_pfu;  // above 5.2 MeV: by day
};

/// The data behind the physics. All immutable and shared.
struct Models {
    const ionosphere::Maps* maps;
    const magnetic::Model* field;
    const sporadic::Maps* es;
    const losses::Land* land;
};

/// An instant, prepared once for all circuits.
struct Moment {
    ionosphere::Instant instant;
    sporadic::Terms es;
    Disturbance disturbance;
};

/// Moments of many instants; none where time or flux is NaN. The columns of disturbances, in the
/// order of Disturbance, may be empty: quiet. @throws InputError as ionosphere::prepare.
[[nodiscard]] std::vector<std::optional<Moment>> prepare(
    const Models& models, std::span<const double> t_unix_s, std::span<const double> f107_sfu,
    const std::array<std::span<const double>, 4>& disturbances, const ionosphere::Drive& drive);

/// Layers that a hop with its middle at a place is traced through: monthly medians without storms,
/// the peak of F2 moved until MUF(3000) is the mapped one. f1.critical_mhz is that of E where
/// there is no F1.
[[nodiscard]] rays::Layers median_layers(const ionosphere::Place& place,
                                         const ionosphere::Instant& instant,
                                         const ionosphere::Drive& drive);

/// Both ends.
struct Ends {
    double tx_lat_deg;
    double tx_lon_deg;
    double rx_lat_deg;
    double rx_lon_deg;
    double min_elevation_deg;
    skywave::Route route;
};

/// What is sent.
struct Emission {
    double freq_mhz;
    double power_kw;
    double gain_dbi;
    /// Gain towards the receiver at elevations 0, 2 .. 90 deg, added to gain_dbi. Empty: none.
    /// [dBi]
    std::span<const double> pattern_dbi;
};
inline constexpr std::size_t kPatternElevations_count = 46;

/// The loss budget of one mode on a median day; for Es and mixed modes with the layer at its upper
/// decile. [dB]
struct Mode {
    Layer layer;
    bool long_path;
    bool high_ray;
    int hops;
    double elevation_deg;
    double group_path_km;
    double muf_mhz;        // lowest of its hops, monthly median
    double screening_mhz;  // below it a lower layer cuts the mode off; 0 for E and Es modes
    double gain_dbi;       // of the transmitting antenna at the elevation
    double free_space_db;  // 32.45 + 20 log f + 20 log p'
    double focusing_db;    // gain, with the convergence on the sphere
    double absorption_db;  // D region, with flare and polar cap
    double ground_db;
    double auroral_db;
    double horizon_db;    // below the least elevation
    double low_angle_db;  // antennas over ground, both ends
    double support_db;    // lack of support; reflection loss of Es
    double screening_db;  // by E, F1 or Es
    double other_db;
    double field_dbuv_m;  // with all of it
};

/// Days: foF2 stands at these many standard deviations of its logarithm off the median.
inline constexpr std::size_t kDays = 9;
/// Patches: foEs stands at these many standard deviations off its median.
inline constexpr std::size_t kPatches = 8;
inline constexpr std::size_t kStates = kDays * kPatches;

/// Power of everything that arrives.
struct Signal {
    std::array<double, kStates> power;  // (uV/m)^2, [patch][day]; `states` of them
    std::size_t states;                 // kDays where sporadic E does not matter, else kStates
    double if_carried;                  // median day without lack of support and screening
    double no_absorption;               // median day without absorption
    double median;                      // median day, median patch
    Mode best;
    double f_over_muf;  // of the strongest F mode, median day
    std::size_t alike;  // modes within 10 dB of the strongest
};
/// Probability of each of the first `states` states; they sum to 1.
[[nodiscard]] std::span<const double> state_weights(std::size_t states) noexcept;

/// A pair of ends with its hop points, prepared once per year of the magnetic field. Not for two
/// threads at a time.
class Circuit {
  public:
    Circuit(const Models& models, const Ends& ends);
    ~Circuit();
    Circuit(Circuit&&) noexcept;
    Circuit& operator=(Circuit&&) noexcept;
    Circuit(const Circuit&) = delete;
    Circuit& operator=(const Circuit&) = delete;

    /// Sets the instant. Profiles and rays are computed when a frequency first needs them.
    /// `moment` must live until the next call.
    void at(const Moment& moment, const ionosphere::Drive& drive, const Options& options);

    /// Power of all modes of an emission. `audible_dbuv_m` is the field that could just be noticed:
    /// modes that stay 45 dB below it are not looked at (but for the lowest order). With `modes`,
    /// looks at all of them and appends their budgets.
    [[nodiscard]] Signal receive(const Emission& emission, double audible_dbuv_m,
                                 std::vector<Mode>* modes = nullptr);

    /// Highest basic MUF of the two lowest orders that land, monthly median. [MHz]
    [[nodiscard]] double muf_mhz();
    [[nodiscard]] double rx_fof2_mhz() const noexcept;
    [[nodiscard]] double highest_geomagnetic_deg() const noexcept;
    [[nodiscard]] double distance_km() const noexcept;

  private:
    struct State;
    std::unique_ptr<State> state_;
};

/// Circuit::muf_mhz of many: element i uses circuit circuit_index[i] and instant instant_index[i];
/// with both index columns empty, every circuit at every instant, [circuit][instant]. NaN gives
/// NaN.
void muf(const Models& models, const ionosphere::Drive& drive, const Options& options,
         std::span<const Ends> circuits, std::span<const double> t_unix_s,
         std::span<const double> f107_sfu, std::span<const std::int64_t> circuit_index,
         std::span<const std::int64_t> instant_index, std::span<double> muf_mhz);

}  // namespace farhear::circuit
