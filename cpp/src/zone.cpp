#include "farhear/zone.hpp"

#include <algorithm>
#include <boost/geometry/core/cs.hpp>
#include <boost/geometry/geometries/point.hpp>
#include <boost/geometry/strategies/cartesian/point_in_poly_winding.hpp>
#include <cmath>
#include <limits>
#include <utility>
#include <vector>

#include "checks.hpp"

namespace farhear::zone {

namespace {

using Vertex = boost::geometry::model::point<double, 2, boost::geometry::cs::cartesian>;
using Winding = boost::geometry::strategy::within::cartesian_winding<Vertex, Vertex>;

// Boost calls a place within a few ulp of an edge's longitude still on it, and a longitude brought
// into range is rounded.
constexpr double kSlack_deg = 1e-9;

struct Box {
    double west_deg = std::numeric_limits<double>::infinity();
    double east_deg = -std::numeric_limits<double>::infinity();
    double south_deg = std::numeric_limits<double>::infinity();
    double north_deg = -std::numeric_limits<double>::infinity();
};

/// A closed ring on the unrolled plane. Only edges above or below the place decide, so they are
/// listed by strips of longitude.
class Ring {
  public:
    Ring(std::vector<Vertex> vertices, const Box& box) : vertices_(std::move(vertices)), box_(box) {
        const std::size_t edges = vertices_.size() - 1;
        strips_ = std::clamp<std::size_t>(edges / 4, 1, 4096);
        const double width_deg = box_.east_deg - box_.west_deg;
        // a ring without width is one strip; so is one whose strips would be too many for a number
        per_deg_ = width_deg > kSlack_deg ? static_cast<double>(strips_) / width_deg : 0.0;
        first_.assign(strips_ + 1, 0);
        for_each_strip(edges, [this](std::size_t strip, std::size_t) { ++first_[strip + 1]; });
        for (std::size_t s = 0; s < strips_; ++s) {
            first_[s + 1] += first_[s];
        }
        edges_.resize(first_[strips_]);
        std::vector<std::size_t> next(first_.begin(), first_.end() - 1);
        for_each_strip(edges, [this, &next](std::size_t strip, std::size_t edge) {
            edges_[next[strip]++] = edge;
        });
    }

    [[nodiscard]] const Box& box() const noexcept { return box_; }

    /// 1 inside, 0 on an edge, -1 outside.
    [[nodiscard]] int side(double lat_deg, double lon_deg) const {
        if (lon_deg < box_.west_deg || lon_deg > box_.east_deg || lat_deg < box_.south_deg ||
            lat_deg > box_.north_deg) {
            return -1;
        }
        const Vertex place(lon_deg, lat_deg);
        const std::size_t s = strip(lon_deg);
        Winding::state_type state;
        for (std::size_t k = first_[s]; k < first_[s + 1]; ++k) {
            const std::size_t e = edges_[k];
            if (!Winding::apply(place, vertices_[e], vertices_[e + 1], state)) {
                break;  // on the edge
            }
        }
        return Winding::result(state);
    }

  private:
    [[nodiscard]] std::size_t strip(double lon_deg) const {
        const double s = (lon_deg - box_.west_deg) * per_deg_;
        return std::min(static_cast<std::size_t>(s), strips_ - 1);
    }
    template <typename Visit>
    void for_each_strip(std::size_t edges, Visit visit) const {
        for (std::size_t e = 0; e < edges; ++e) {
            const double a = vertices_[e].get<0>();
            const double b = vertices_[e + 1].get<0>();
            const double low = std::max(std::min(a, b) - kSlack_deg, box_.west_deg);
            const double high = std::min(std::max(a, b) + kSlack_deg, box_.east_deg);
            for (std::size_t s = strip(low); s <= strip(high); ++s) {
                visit(s, e);
            }
        }
    }

    std::vector<Vertex> vertices_;
    Box box_;
    std::size_t strips_ = 1;
    double per_deg_ = 0.0;
    std::vector<std::size_t> first_;
    std::vector<std::size_t> edges_;
};

/// lon_deg or its equal by whole turns, the first at or east of `west_deg`.
double east_of(double west_deg, double lon_deg) {
    return lon_deg + 360.0 * std::ceil((west_deg - lon_deg) / 360.0);
}

struct Polygon {
    std::size_t region;
    Ring outline;
    std::vector<Ring> holes;

    [[nodiscard]] bool holds(double lat_deg, double lon_deg) const {
        const Box& box = outline.box();
        if (lat_deg < box.south_deg || lat_deg > box.north_deg) {
            return false;
        }
        // at most two turns fit: both ends of an outline all round the earth
        const double first_deg = east_of(box.west_deg, lon_deg);
        for (int turn = 0; turn < 2; ++turn) {
            const double lon = first_deg + 360.0 * turn;
            if (outline.side(lat_deg, lon) >= 0 &&
                std::ranges::none_of(holes, [=](const Ring& hole) {
                    return hole.side(lat_deg, east_of(hole.box().west_deg, lon)) > 0;
                })) {
                return true;
            }
        }
        return false;
    }
};

[[noreturn]] void refuse(std::size_t ring, const std::string& why) {
    throw InputError(checks::text("ring ", ring, ' ', why));
}

/// Whether low <= value <= high; false for NaN.
bool inside(double value, double low, double high) { return value >= low && value <= high; }

Ring unroll(std::span<const double> lat_deg, std::span<const double> lon_deg, std::size_t ring) {
    const std::size_t n = lat_deg.size();
    if (n < 4) {
        refuse(ring, checks::text("has ", n, " positions, expected at least 4"));
    }
    for (std::size_t i = 0; i < n; ++i) {
        if (!inside(lat_deg[i], -90.0, 90.0)) {
            refuse(ring, checks::text("position ", i, ": latitude ", lat_deg[i],
                                      " is outside [-90, 90]"));
        }
        if (!inside(lon_deg[i], -180.0, 360.0)) {
            refuse(ring, checks::text("position ", i, ": longitude ", lon_deg[i],
                                      " is outside [-180, 360]"));
        }
    }
    if (lat_deg[0] != lat_deg[n - 1] || std::fmod(lon_deg[0] - lon_deg[n - 1], 360.0) != 0.0) {
        refuse(ring, "is not closed: its last position differs from its first");
    }
    std::vector<Vertex> vertices;
    vertices.reserve(n);
    Box box;
    double lon = lon_deg[0];
    for (std::size_t i = 0; i < n; ++i) {
        if (i > 0) {
            const double step = lon_deg[i] - lon_deg[i - 1];
            const bool as_written = std::abs(step) <= 180.0 || std::abs(step) == 360.0;
            // taken from the vertex itself, so that no rounding adds up along the ring
            const double turns = as_written ? std::rint((lon - lon_deg[i - 1]) / 360.0)
                                            : std::rint((lon - lon_deg[i]) / 360.0);
            lon = lon_deg[i] + 360.0 * turns;
        }
        vertices.emplace_back(lon, lat_deg[i]);
        box.west_deg = std::min(box.west_deg, lon);
        box.east_deg = std::max(box.east_deg, lon);
        box.south_deg = std::min(box.south_deg, lat_deg[i]);
        box.north_deg = std::max(box.north_deg, lat_deg[i]);
    }
    if (vertices.front().get<0>() != vertices.back().get<0>()) {
        refuse(ring,
               "goes round a pole; write the cap with corners at longitudes -180 and 180, on the "
               "parallel and on the pole");
    }
    if (box.east_deg - box.west_deg > 360.0) {
        refuse(ring, "is wider than 360 degrees of longitude");
    }
    return {std::move(vertices), box};
}

void check_offsets(const char* name, std::span<const std::int64_t> first, std::size_t below) {
    const bool fits = !first.empty() && first.front() == 0 && std::cmp_equal(first.back(), below) &&
                      std::ranges::is_sorted(first);
    if (!fits) {
        throw InputError(checks::text(name, " must rise from 0 to ", below));
    }
}

// Cells of a coarse grid that list the polygons near them.
constexpr double kCell_deg = 5.0;
constexpr std::size_t kRows = 36;
constexpr std::size_t kColumns = 72;

std::size_t row_of(double lat_deg) {
    const double row = std::floor((lat_deg + 90.0) / kCell_deg);
    return static_cast<std::size_t>(std::clamp(row, 0.0, static_cast<double>(kRows - 1)));
}

void check_places(std::span<const double> lat_deg, std::span<const double> lon_deg,
                  std::size_t out) {
    checks::same_length("lon_deg", lon_deg.size(), lat_deg.size());
    checks::same_length("output", out, lat_deg.size());
    checks::within("lat_deg", lat_deg, -90.0, 90.0);
    checks::within("lon_deg", lon_deg, -180.0, 360.0);
}

}  // namespace

struct Regions::Index {
    std::size_t regions = 0;
    std::vector<Polygon> polygons;
    std::vector<std::vector<std::uint32_t>> cells =
        std::vector<std::vector<std::uint32_t>>(kRows * kColumns);

    void enter(std::uint32_t polygon) {
        const Box& box = polygons[polygon].outline.box();
        const std::size_t north = row_of(box.north_deg);
        const auto column = [](double lon) {
            return static_cast<std::int64_t>(std::floor((lon + 180.0) / kCell_deg));
        };
        const std::int64_t west = column(box.west_deg - kSlack_deg);
        const std::int64_t east = std::min(column(box.east_deg + kSlack_deg),
                                           west + static_cast<std::int64_t>(kColumns) - 1);
        for (std::size_t row = row_of(box.south_deg); row <= north; ++row) {
            for (std::int64_t c = west; c <= east; ++c) {
                constexpr auto kTurn = static_cast<std::int64_t>(kColumns);
                const auto wrapped = static_cast<std::size_t>(((c % kTurn) + kTurn) % kTurn);
                cells[row * kColumns + wrapped].push_back(polygon);
            }
        }
    }

    [[nodiscard]] const std::vector<std::uint32_t>& near(double lat_deg, double lon_deg) const {
        const double c = std::floor((east_of(-180.0, lon_deg) + 180.0) / kCell_deg);
        const auto column = static_cast<std::size_t>(c) % kColumns;
        return cells[row_of(lat_deg) * kColumns + column];
    }

    [[nodiscard]] std::int64_t find(double lat_deg, double lon_deg) const {
        if (!std::isnan(lat_deg + lon_deg)) {
            for (const std::uint32_t p : near(lat_deg, lon_deg)) {
                if (polygons[p].holds(lat_deg, lon_deg)) {
                    return static_cast<std::int64_t>(polygons[p].region);
                }
            }
        }
        return -1;
    }

    [[nodiscard]] bool contains(std::size_t region, double lat_deg, double lon_deg) const {
        if (std::isnan(lat_deg + lon_deg)) {
            return false;
        }
        const auto& candidates = near(lat_deg, lon_deg);
        return std::ranges::any_of(candidates, [&](std::uint32_t p) {
            return polygons[p].region == region && polygons[p].holds(lat_deg, lon_deg);
        });
    }
};

Regions::Regions(std::span<const double> lat_deg, std::span<const double> lon_deg,
                 std::span<const std::int64_t> ring_first,
                 std::span<const std::int64_t> polygon_first,
                 std::span<const std::int64_t> region_first) {
    checks::same_length("lon_deg", lon_deg.size(), lat_deg.size());
    check_offsets("ring_first", ring_first, lat_deg.size());
    check_offsets("polygon_first", polygon_first, ring_first.size() - 1);
    check_offsets("region_first", region_first, polygon_first.size() - 1);
    auto index = std::make_unique<Index>();
    index->regions = region_first.size() - 1;
    const auto ring = [&](std::size_t r) {
        const auto first = static_cast<std::size_t>(ring_first[r]);
        const auto count = static_cast<std::size_t>(ring_first[r + 1]) - first;
        return unroll(lat_deg.subspan(first, count), lon_deg.subspan(first, count), r);
    };
    for (std::size_t g = 0; g + 1 < region_first.size(); ++g) {
        for (auto p = static_cast<std::size_t>(region_first[g]);
             std::cmp_less(p, region_first[g + 1]); ++p) {
            auto r = static_cast<std::size_t>(polygon_first[p]);
            const auto end = static_cast<std::size_t>(polygon_first[p + 1]);
            if (r == end) {
                throw InputError(checks::text("polygon ", p, " has no ring"));
            }
            Polygon polygon{g, ring(r), {}};
            for (++r; r < end; ++r) {
                polygon.holes.push_back(ring(r));
            }
            index->polygons.push_back(std::move(polygon));
            index->enter(static_cast<std::uint32_t>(index->polygons.size() - 1));
        }
    }
    index_ = std::move(index);
}

Regions::~Regions() = default;
Regions::Regions(Regions&&) noexcept = default;
Regions& Regions::operator=(Regions&&) noexcept = default;

std::size_t Regions::size() const noexcept { return index_->regions; }

std::int64_t Regions::find(double lat_deg, double lon_deg) const {
    check_places({&lat_deg, 1}, {&lon_deg, 1}, 1);
    return index_->find(lat_deg, lon_deg);
}

void Regions::find(std::span<const double> lat_deg, std::span<const double> lon_deg,
                   std::span<std::int64_t> region) const {
    check_places(lat_deg, lon_deg, region.size());
    for (std::size_t i = 0; i < lat_deg.size(); ++i) {
        region[i] = index_->find(lat_deg[i], lon_deg[i]);
    }
}

bool Regions::contains(std::size_t region, double lat_deg, double lon_deg) const {
    std::uint8_t inside = 0;
    contains(region, {&lat_deg, 1}, {&lon_deg, 1}, {&inside, 1});
    return inside != 0;
}

void Regions::contains(std::size_t region, std::span<const double> lat_deg,
                       std::span<const double> lon_deg, std::span<std::uint8_t> inside) const {
    check_places(lat_deg, lon_deg, inside.size());
    if (region >= size()) {
        throw InputError(checks::text("region = ", region, " is outside [0, ", size(), ')'));
    }
    for (std::size_t i = 0; i < lat_deg.size(); ++i) {
        inside[i] = index_->contains(region, lat_deg[i], lon_deg[i]) ? 1 : 0;
    }
}

}  // namespace farhear::zone
