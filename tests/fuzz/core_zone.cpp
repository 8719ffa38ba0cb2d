// Polygons with holes, and places looked up in them.

#include <algorithm>

#include "core_feed.hpp"
#include "farhear/zone.hpp"

namespace farhear::fuzz {

void zone(Bytes bytes) {
    Feed feed(bytes);
    std::vector<double> lat;
    std::vector<double> lon;
    std::vector<std::int64_t> rings = {0};
    std::vector<std::int64_t> polygons = {0};
    std::vector<std::int64_t> regions = {0};
    bool holes = false;
    const std::size_t count = 1 + feed.below(5);
    for (std::size_t r = 0; r < count; ++r) {
        const std::size_t begin = lat.size();
        const std::size_t vertices = feed.below(20);
        for (std::size_t i = 0; i < vertices; ++i) {
            // whole degrees make rings that touch, and edges along meridians and parallels
            const bool whole = feed.flag();
            const double y = feed.number(-90.0, 90.0);
            const double x = feed.number(-180.0, 360.0);
            lat.push_back(whole ? std::rint(y) : y);
            lon.push_back(whole ? std::rint(x) : x);
        }
        if (vertices > 0 && feed.byte() < 240) {
            lat.push_back(lat[begin]);
            lon.push_back(lon[begin]);
        }
        rings.push_back(static_cast<std::int64_t>(lat.size()));
        const std::uint8_t kind = feed.byte();
        holes = holes || kind < 64;
        if (kind >= 64 || r + 1 == count) {  // else the next ring is a hole
            polygons.push_back(static_cast<std::int64_t>(rings.size() - 1));
            if (kind >= 128 || r + 1 == count) {
                regions.push_back(static_cast<std::int64_t>(polygons.size() - 1));
            }
        }
    }
    if (feed.byte() > 230) {  // offsets that do not fit
        auto& list = feed.flag() ? rings : feed.flag() ? polygons : regions;
        list[feed.below(list.size())] = static_cast<std::int64_t>(feed.bits(8));
    }
    const bool finite = std::ranges::all_of(lat, [](double v) { return std::abs(v) <= 90.0; }) &&
                        std::ranges::all_of(lon, [](double v) { return v >= -180 && v <= 360; });
    std::vector<double> at_lat = feed.numbers(6, -90.0, 90.0);
    std::vector<double> at_lon = feed.numbers(6, -180.0, 360.0);
    (void)refused([&] {
        const farhear::zone::Regions all(lat, lon, rings, polygons, regions);
        require(finite, "positions out of range are refused");
        require(all.size() == regions.size() - 1, "as many regions as were given");
        for (std::size_t i = 0; i < lat.size() && !holes; ++i) {
            require(all.find(lat[i], lon[i]) >= 0, "a vertex belongs to a region");
        }
        // the vertices and the middles of the edges are the places where it may go wrong
        for (std::size_t i = 0; i < lat.size(); ++i) {
            at_lat.push_back(lat[i]);
            at_lon.push_back(feed.number(-180.0, 360.0));
        }
        for (std::size_t i = 0; i < at_lat.size(); ++i) {
            (void)refused([&] {
                const std::int64_t found = all.find(at_lat[i], at_lon[i]);
                require(found >= -1 && found < static_cast<std::int64_t>(all.size()),
                        "the index of a region");
                std::int64_t many = -2;
                all.find({&at_lat[i], 1}, {&at_lon[i], 1}, {&many, 1});
                require(many == found, "one and many agree");
                std::int64_t first = -1;
                for (std::size_t g = all.size(); g-- > 0;) {
                    first = all.contains(g, at_lat[i], at_lon[i]) ? static_cast<std::int64_t>(g)
                                                                  : first;
                }
                require(first == found, "find is the first that contains");
                // a turn further is the same place, where adding it does not round
                const double turned = at_lon[i] + 360.0;
                if (at_lon[i] < 0.0 && turned - 360.0 == at_lon[i]) {
                    require(all.find(at_lat[i], turned) == found, "a turn further");
                }
            });
        }
    });
}

}  // namespace farhear::fuzz
