#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <span>

/// Gain of a broadcasting transmitter's antenna towards a ray, from first principles.
///
/// For studies of reception only: currents are taken as equal, ground as flat, structures as ideal.
/// Nothing here serves to build an antenna or to judge exposure near one; for those, the local
/// codes and licensed practice rule.
///
/// Method. Every pattern is a product: current on a half-wave dipole (sinusoidal), equal dipoles in
/// columns and rows half a design wavelength apart (array factor), a reflecting screen a quarter of
/// a design wavelength behind (image), flat ground (image, or Fresnel reflection of both
/// polarisations). Gain is 4 pi times the intensity over the power fed: that radiated over the
/// hemisphere, plus, over real ground, the flux of the downgoing waves that the ground keeps.
/// Losses in wires and feeders and the induced (near-field) ground loss are not counted. Source:
/// antenna textbooks, e.g. C. A. Balanis, Antenna Theory (from memory: dipole 4.5, image
/// theory 4.7, array factor 6). The type notation of curtains follows Rec. ITU-R BS.705 (from
/// memory).
///
/// Limits. A screen that lets through is a thin resistive sheet (reflection -rho, transmission
/// 1 - rho), so the pattern and its slope are continuous through the plane of the screen. Over
/// perfect ground a horizontal antenna radiates nothing at elevation 0; the tables fill nulls in.
/// Real gains: within 1 to 2 dB on the main lobe, 5 dB and more on side lobes [own].
namespace farhear::antenna {

/// What kind of antenna. The numbers are the codes of the Python face.
enum class Kind : std::uint8_t {
    kIsotropic = 0,  // 0 dBi everywhere: no ground, a convention
    kCurtain = 1,    // columns x rows of horizontal half-wave dipoles, with or without a screen
    kCrossed = 2,    // two horizontal dipoles crossed and fed in quadrature, averaged over azimuth
    kMonopole = 3,   // vertical quarter wave on the ground
    kLogPeriodic = 4,  // a proxy: a smooth lobe of given width over ground
    kTypical = 5       // a proxy: what is usual where nothing is known
};

/// Description of one antenna. Fields that its kind does not use are ignored.
struct Antenna {
    Kind kind;
    double columns;        // dipoles per row, 1 .. 16 (whole) [curtain]
    double rows;           // dipoles above each other, 1 .. 16 (whole) [curtain, crossed]
    double height_wl;      // lowest row above ground, in design wavelengths, 0.05 .. 5
    double slew_deg;       // azimuth of maximum less azimuth of the normal, -60 .. 60 [curtain]
    double design_mhz;     // where the dipoles are half a wave long; freq/design is 0.5 .. 2
    double front_back_db;  // of the screen at the design frequency, or of the lobe: 0 (none) .. 60
    double width_deg;      // half-power width, 10 .. 360 [log-periodic, typical]
    double peak_dbi;       // on the beam, at the best elevation [typical]
    double
        high_angle_share;  // of a low dipole's elevation profile in the mixture, 0 .. 1 [typical]
    double permittivity;   // of the ground, relative, 1 .. 100
    double conductivity_s_m;  // of the ground; infinite: perfect ground
};

/// Elevations of a table: 0, 2, .. 90 degrees.
inline constexpr std::size_t kElevations = 46;
inline constexpr double kElevation_step_deg = 2.0;
/// What the logarithm of a perfect null is replaced with. [dBi]
inline constexpr double kLeast_dbi = -200.0;

/// One antenna at one frequency, its normalisation done. Making one costs a quadrature over the
/// hemisphere; using it is cheap. Immutable, so threads may share it.
class Pattern {
  public:
    /// @throws InputError naming field, value and range; on columns or rows that are not whole; on
    /// a slew with one column.
    Pattern(const Antenna& antenna, double freq_mhz);

    /// Gain towards a ray. [dBi]
    ///
    /// Continuous in both angles and, through the constructor, in frequency and description.
    /// @param off_beam_deg  azimuth of the ray less azimuth of maximum radiation, clockwise
    ///                      positive, any number of turns; ignored by kinds without direction
    /// @param elevation_deg 0 .. 90
    /// @return gain, not below kLeast_dbi; NaN in gives NaN.
    [[nodiscard]] double gain_dbi(double off_beam_deg, double elevation_deg) const noexcept;

    /// Gains at elevations 0, 2, .. 90 in one azimuth, nulls filled in: the gain as a ratio becomes
    /// (1 - q) g + q g_peak with q = 10^(-floor_db/10), so the peak stays, nothing is lower than
    /// `floor_db` below it, and there is no kink. [dBi] Scattering, unequal currents and rough
    /// ground do fill nulls; how far is an assumption [own].
    void table(double off_beam_deg, double floor_db,
               std::span<double, kElevations> out_dbi) const noexcept;

    /// Greatest gain, and its elevation. [dBi] [deg]
    [[nodiscard]] double peak_dbi() const noexcept;
    [[nodiscard]] double peak_elevation_deg() const noexcept { return peak_elevation_deg_; }
    /// Progressive phase of the columns, as the sine of a direction: 0 without slew. It is solved
    /// for, so that the maximum of the whole pattern, not of the array factor alone, lies at the
    /// slew (at no more than 60 degrees of elevation). Two columns reach 30 degrees, three and four
    /// 45 (at the design frequency); beyond, another lobe is greater. Where the slew costs more
    /// than 3 dB of array factor the phase is held, and the lobe falls short of it.
    [[nodiscard]] double taper() const noexcept { return taper_; }

  private:
    /// What depends on elevation alone.
    struct Row {
        double sin;
        double cos;
        double horizontal;       // |field|^2 of the rows and their images, horizontally polarised
        double vertical;         // the same, vertically polarised
        double horizontal_lost;  // flux of this pair of polarisations kept by the ground
        double vertical_lost;
    };
    /// Intensity up and, at the mirrored elevation, into the ground, in units of the pattern.
    struct Intensity {
        double up;
        double lost;
    };
    [[nodiscard]] Row row_at(double elevation_rad) const noexcept;
    [[nodiscard]] Row row_from_sine(double sin, double cos) const noexcept;
    [[nodiscard]] Intensity intensity(const Row& row, double azimuth_rad) const noexcept;
    [[nodiscard]] Intensity curtain(const Row& row, double azimuth_rad) const noexcept;
    [[nodiscard]] Intensity crossed(const Row& row) const noexcept;
    [[nodiscard]] Intensity lobe(const Row& row, double azimuth_rad) const noexcept;
    [[nodiscard]] double typical(const Row& row, double azimuth_rad) const noexcept;
    [[nodiscard]] double elevation_of_most(double azimuth_rad) const noexcept;
    void steer() noexcept;
    void normalise(double peak) noexcept;
    [[nodiscard]] double azimuth_rad(double off_beam_deg) const noexcept;

    Kind kind_ = Kind::kIsotropic;
    int columns_ = 1;
    int rows_ = 1;
    double ratio_ = 1.0;      // operating over design frequency
    double height_wl_ = 0.0;  // in operating wavelengths
    double slew_rad_ = 0.0;
    double taper_ = 0.0;
    double through_ = 1.0;    // transmission of the screen, 1 - rho
    double floor_ = 1.0;      // the lobe's level behind, as a power ratio
    double sharpness_ = 0.0;  // of the lobe
    double width_rad_ = 0.0;
    double high_angle_ = 0.0;  // share of the high-angle profile [typical]
    bool perfect_ground_ = true;
    std::complex<double> permittivity_;
    double scale_ = 1.0;  // gain per unit of intensity
    double peak_ = 1.0;   // greatest gain as a ratio
    double peak_elevation_deg_ = 0.0;
    std::array<Row, kElevations> grid_{};
};

/// Descriptions of antennas as columns of equal length.
struct AntennaColumns {
    std::span<const std::int64_t> kind;
    std::span<const double> columns;
    std::span<const double> rows;
    std::span<const double> height_wl;
    std::span<const double> slew_deg;
    std::span<const double> design_mhz;
    std::span<const double> front_back_db;
    std::span<const double> width_deg;
    std::span<const double> peak_dbi;
    std::span<const double> high_angle_share;
    std::span<const double> permittivity;
    std::span<const double> conductivity_s_m;
};

/// Gains, one per element. Equal shapes are normalised once in a call. A NaN in frequency, azimuth
/// or elevation gives NaN. [dBi]
/// @throws InputError naming argument, index, value and range.
void gain_dbi(const AntennaColumns& antennas, std::span<const double> freq_mhz,
              std::span<const double> off_beam_deg, std::span<const double> elevation_deg,
              std::span<double> out_dbi);

/// Tables, kElevations per element: see Pattern::table; and the greatest gain of each antenna in
/// any direction. [dBi]
/// @throws InputError naming argument, index, value and range.
void elevation_table(const AntennaColumns& antennas, std::span<const double> freq_mhz,
                     std::span<const double> off_beam_deg, double floor_db,
                     std::span<double> out_dbi, std::span<double> out_peak_dbi);

/// Greatest gain [dBi] and its elevation [deg], one per element.
/// @throws InputError naming argument, index, value and range.
void peak(const AntennaColumns& antennas, std::span<const double> freq_mhz,
          std::span<double> out_dbi, std::span<double> out_elevation_deg);

}  // namespace farhear::antenna
