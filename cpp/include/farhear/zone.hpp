#pragma once
// Which of the caller's regions holds a place. Nothing is shipped: the regions come from the user
// (target zones of schedules) or from another subject (land and sea).

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>

namespace farhear::zone {

/// Regions made of polygons with holes, in plain longitude and latitude.
///
/// Edges are straight in longitude and latitude. That is exact for edges along meridians and
/// parallels; on other edges it differs from a rhumb line (straight on a Mercator chart) by an
/// amount that grows with the edge and its latitude: cut long oblique edges into short ones.
///
/// The antimeridian. An edge that spans more than 180 deg of longitude, but not exactly 360, is
/// taken the short way round, so a ring may cross 180 as 179 -> -179 or as 179 -> 181. An edge of
/// exactly 360 (from -180 to 180 along a parallel) is taken as written, so a cap round a pole is
/// written with corners at -180 and 180 on the parallel and on the pole. A ring that goes round a
/// pole without that does not close and is refused.
///
/// A place on an edge belongs to the region; a place on the edge of a hole too.
class Regions {
  public:
    /// Nested lists by offsets: ring r has the vertices ring_first[r] .. ring_first[r + 1] - 1,
    /// polygon p the rings polygon_first[p] .. (the first is its outline, the others are holes),
    /// region g the polygons region_first[g] .. ; each offset list starts with 0 and ends with the
    /// number of things below it. Rings are closed (last vertex = first) in either direction.
    /// @param lat_deg  in [-90, 90]. [deg]
    /// @param lon_deg  in [-180, 360]. [deg]
    /// @throws InputError naming the ring: on coordinates out of range or not finite, on a ring
    /// with fewer than 4 vertices, not closed, going round a pole, or wider than 360 deg; on
    /// offsets that do not fit.
    Regions(std::span<const double> lat_deg, std::span<const double> lon_deg,
            std::span<const std::int64_t> ring_first, std::span<const std::int64_t> polygon_first,
            std::span<const std::int64_t> region_first);
    ~Regions();
    Regions(Regions&&) noexcept;
    Regions& operator=(Regions&&) noexcept;
    Regions(const Regions&) = delete;
    Regions& operator=(const Regions&) = delete;

    /// Number of regions.
    [[nodiscard]] std::size_t size() const noexcept;

    /// Index of the first region that holds the place, -1 if none does or an argument is NaN.
    /// @throws InputError on a place out of range (latitude +-90, longitude -180 to 360).
    [[nodiscard]] std::int64_t find(double lat_deg, double lon_deg) const;
    /// The same over n places.
    void find(std::span<const double> lat_deg, std::span<const double> lon_deg,
              std::span<std::int64_t> region) const;

    /// Whether region `region` holds the place (regions may overlap). NaN gives false.
    /// @throws InputError as find(), and on an index that is no region.
    [[nodiscard]] bool contains(std::size_t region, double lat_deg, double lon_deg) const;
    /// The same over n places; 1 for yes.
    void contains(std::size_t region, std::span<const double> lat_deg,
                  std::span<const double> lon_deg, std::span<std::uint8_t> inside) const;

  private:
    struct Index;
    std::unique_ptr<const Index> index_;
};

}  // namespace farhear::zone
