#pragma once

#include <span>
#include <vector>

namespace farhear::magnetic {

/// One field vector in the local geodetic frame of the WGS84 ellipsoid. [nT]
struct Components {
    double north_nt;
    double east_nt;
    double down_nt;
};

/// The geomagnetic main field as spherical harmonics to degree 13, linear between epochs.
///
/// Immutable, so one object serves any number of threads. The coefficients are those of the
/// International Geomagnetic Reference Field: Schmidt semi-normalised, reference radius 6371.2 km.
///
/// The sum itself is exact to rounding: below 0.001 nT against a sum in 40 digits for heights
/// 0 .. 1000 km. The model is not the field: crust and currents add tens to some hundreds of nT.
/// @note longitude is free at the poles: at +-90 deg north and east refer to the meridian given.
/// Source: Alken et al., Earth, Planets and Space 73:49 (2021), equations (1) to (3) (from memory:
/// the form of the sum is common to all generations).
class Model {
  public:
    /// @param epochs_year      ascending, at least two. [decimal year]
    /// @param coefficients_nt  epochs x 195, one epoch after the other; within an epoch g10 g11 h11
    ///                         g20 g21 h21 g22 h22 ... to degree 13 (there is no h of order 0).
    ///                         [nT]
    /// @throws InputError on epochs that do not ascend, a wrong number of coefficients or one that
    /// is
    ///         not finite.
    Model(std::vector<double> epochs_year, std::vector<double> coefficients_nt);

    /// Field at n places at one date.
    /// @param year       first_year() .. last_year(). [decimal year]  NaN gives NaN.
    /// @param lat_deg    geodetic latitude -90 .. 90. [deg]
    /// @param lon_deg    longitude east -360 .. 360. [deg]
    /// @param height_km  above the ellipsoid, -10 .. 10000. [km]
    /// @param north_nt, east_nt, down_nt  results, n each. [nT]  NaN in an element gives NaN there.
    /// @throws InputError on unequal lengths or a value out of range (names the first). A year
    ///         outside the epochs is an error: the field is not extrapolated.
    void components(double year, std::span<const double> lat_deg, std::span<const double> lon_deg,
                    std::span<const double> height_km, std::span<double> north_nt,
                    std::span<double> east_nt, std::span<double> down_nt) const;

    /// The same where every element has a date of its own; runs of equal dates cost nothing extra.
    void components(std::span<const double> year, std::span<const double> lat_deg,
                    std::span<const double> lon_deg, std::span<const double> height_km,
                    std::span<double> north_nt, std::span<double> east_nt,
                    std::span<double> down_nt) const;

    /// The same at one place.
    [[nodiscard]] Components components(double year, double lat_deg, double lon_deg,
                                        double height_km) const;

    /// Latitude in the frame of the tilted dipole (g10, g11, h11 of the date), -90 .. 90. [deg]
    /// Geographic latitude is taken as it is given (no correction for the ellipsoid, as usual).
    [[nodiscard]] double geomagnetic_lat_deg(double year, double lat_deg, double lon_deg) const;
    /// The same over n places.
    void geomagnetic_lat_deg(double year, std::span<const double> lat_deg,
                             std::span<const double> lon_deg,
                             std::span<double> out_geomagnetic_lat_deg) const;

    /// First and last date the model answers for. [decimal year]
    [[nodiscard]] double first_year() const;
    [[nodiscard]] double last_year() const;

  private:
    [[nodiscard]] std::vector<double> at(double year) const;

    std::vector<double> epochs_year_;
    std::vector<double> coefficients_nt_;
};

/// Dip (inclination), positive where the field points down, -90 .. 90. [deg]
[[nodiscard]] double dip_deg(const Components& field) noexcept;

/// Modified dip, the latitude-like coordinate of the maps of foF2: tan(modip) = I / sqrt(cos lat)
/// with the dip I in radians. -90 .. 90. [deg] At the poles the cosine is held at 1e-9, which gives
/// +-90 to 0.002 deg. Source: Rawer's definition as used with the CCIR maps.
[[nodiscard]] double modip_deg(double dip_deg, double lat_deg) noexcept;

/// Electron gyrofrequency of the total field, 2.799249e-5 MHz per nT. [MHz]
/// Source: e / (2 pi m_e) with the CODATA constants.
[[nodiscard]] double gyro_mhz(const Components& field) noexcept;

/// Total intensity. [nT]
[[nodiscard]] double total_nt(const Components& field) noexcept;

/// Dip, modip and gyrofrequency of n vectors already computed; NaN passes through.
/// @throws InputError on unequal lengths.
void derive(std::span<const double> north_nt, std::span<const double> east_nt,
            std::span<const double> down_nt, std::span<const double> lat_deg,
            std::span<double> dip_deg, std::span<double> modip_deg, std::span<double> gyro_mhz);

}  // namespace farhear::magnetic
