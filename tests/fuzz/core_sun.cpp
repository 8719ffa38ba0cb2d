// The sun and the great circles, with any numbers.

#include <algorithm>
#include <bit>

#include "core_feed.hpp"
#include "farhear/path.hpp"
#include "farhear/sun.hpp"

namespace farhear::fuzz {

namespace {

constexpr double kFirst_s = -2208988800.0;  // 1900, where the header's promise begins
constexpr double kLast_s = 4133980800.0;    // 2101
constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

bool same_bits(std::span<const double> a, std::span<const double> b) {
    return std::ranges::equal(
        a, b, {}, [](double x) { return std::bit_cast<std::uint64_t>(x); },
        [](double x) { return std::bit_cast<std::uint64_t>(x); });
}

void where(Feed feed) {
    constexpr std::size_t kN = 5;
    const auto t = feed.numbers(kN, kFirst_s, kLast_s);
    const auto lat = feed.numbers(kN, -90.0, 90.0);
    const auto lon = feed.numbers(kN, -180.0, 360.0);
    std::vector<double> zenith(kN);
    std::vector<double> azimuth(kN);
    if (refused([&] { sun::position(t, lat, lon, zenith, azimuth); })) {
        require(!feed.within(), "numbers within their ranges are refused");
        return;
    }
    require_range(zenith, 0.0, 180.0, "a zenith angle");
    require_range(azimuth, 0.0, std::nextafter(360.0, 0.0), "an azimuth");
    for (std::size_t i = 0; i < kN; ++i) {
        if (t[i] >= kFirst_s && t[i] <= kLast_s && !std::isnan(lat[i] + lon[i])) {
            require(std::isfinite(zenith[i]) && std::isfinite(azimuth[i]), "an angle");
        }
    }
    std::vector<double> grid_zenith(kN * kN);
    std::vector<double> grid_azimuth(kN * kN);
    sun::position_grid(t, lat, lon, grid_zenith, grid_azimuth);
    for (std::size_t i = 0; i < kN; ++i) {
        const std::size_t at = i * kN + i;
        require(std::isnan(zenith[i]) ? std::isnan(grid_zenith[at])
                                      : same_bits({&zenith[i], 1}, {&grid_zenith[at], 1}) &&
                                            same_bits({&azimuth[i], 1}, {&grid_azimuth[at], 1}),
                "the grid has the bits of the pairs");
    }
}

void when(Feed feed) {
    const auto t0 = feed.numbers(1, kFirst_s, kLast_s - 3e6);
    const auto lat = feed.numbers(1, -90.0, 90.0);
    const auto lon = feed.numbers(1, -180.0, 360.0);
    const auto zenith = feed.numbers(1, 0.0, 180.0);
    const std::vector<double> t1 = {t0[0] + feed.number(1.0, 32.0 * 86400.0)};
    double rise = -1.0;
    double set = -1.0;
    sun::Occurs state{};
    if (refused(
            [&] { sun::events(t0, t1, lat, lon, zenith, {&rise, 1}, {&set, 1}, {&state, 1}); })) {
        require(!feed.within(), "numbers within their ranges are refused");
        return;
    }
    require(static_cast<unsigned>(state) <= 3, "a state");
    require((state == sun::Occurs::kYes) == !(std::isnan(rise) && std::isnan(set)),
            "a rise, a set or both");
    if (!feed.within()) {
        return;
    }
    const auto zenith_at = [&](double t) {
        double z = 0.0;
        double a = 0.0;
        sun::position({&t, 1}, lat, lon, {&z, 1}, {&a, 1});
        return z;
    };
    for (const double t : {rise, set}) {
        if (!std::isnan(t)) {
            // 1e-3 s, and float64 of a time of this century
            require(t >= t0[0] - 0.01 && t <= t1[0] + 0.01, "an event lies in its window");
            // the sun turns 0.0042 deg in a second at most; near 0 and 180 deg the angle itself
            // changes without bound against its cosine
            const double off = std::abs(zenith_at(t) - zenith[0]);
            require(off < 1e-4 || zenith[0] < 0.1 || zenith[0] > 179.9,
                    "at an event the sun stands at the angle");
        }
    }
    const double middle = zenith_at(0.5 * (t0[0] + t1[0]));
    require(state != sun::Occurs::kAlwaysAbove || middle <= zenith[0] + 0.03, "always above");
    require(state != sun::Occurs::kAlwaysBelow || middle >= zenith[0] - 0.03, "always below");
}

void line(Feed feed) {
    const auto t = feed.numbers(1, kFirst_s, kLast_s);
    const auto zenith = feed.numbers(1, 0.0, 180.0);
    const std::size_t points = 2 + feed.below(40);
    std::vector<double> lat(points, kNan);
    std::vector<double> lon(points, kNan);
    if (refused([&] { sun::terminator(t, zenith, points, lat, lon); })) {
        require(!feed.within(), "numbers within their ranges are refused");
        return;
    }
    require_range(lat, -90.0, 90.0, "a latitude");
    require_range(lon, -180.0, 180.0, "a longitude");
    if (feed.within()) {
        const std::vector<double> same(points, t[0]);
        std::vector<double> there(points);
        std::vector<double> azimuth(points);
        sun::position(same, lat, lon, there, azimuth);
        for (const double z : there) {
            require(std::abs(z - zenith[0]) < 1e-6, "on the line the sun has the angle");
        }
    }
    const double height = feed.number(0.0, 1e5);
    const double screening = feed.number(0.0, 100.0);
    double angle = 0.0;
    if (!refused([&] { angle = sun::zenith_at_height_deg(height, screening); })) {
        require(!(angle < 90.0 || angle > 180.0), "an angle beyond the horizon");
    }
}

void ways(Feed feed) {
    const double lat1 = feed.number(-90.0, 90.0);
    const double lon1 = feed.number(-180.0, 360.0);
    double lat2 = feed.number(-90.0, 90.0);
    double lon2 = feed.number(-180.0, 360.0);
    const std::size_t special = feed.below(6);
    if (special < 2) {  // the same place, or close to the opposite one
        lat2 = special == 0 ? lat1 : -lat1;
        lon2 = special == 0 ? lon1 : lon1 > 180.0 ? lon1 - 180.0 : lon1 + 180.0;
        const double shift = feed.number(-1e-3, 1e-3);
        lat2 = std::abs(lat2 + shift) <= 90.0 ? lat2 + shift : lat2;
    }
    const double fraction = feed.number(-3.0, 3.0);
    const double azimuth = feed.number(-360.0, 360.0);
    const double distance = feed.number(-1e5, 1e5);
    const bool other_way = feed.flag();
    path::Inverse found{};
    if (refused([&] { found = path::inverse(lat1, lon1, lat2, lon2); })) {
        require(!feed.within(), "places within their ranges are refused");
    } else if (std::isnan(lat1 + lon1 + lat2 + lon2)) {
        require(std::isnan(found.distance_km), "NaN passes");
    } else {
        // the longest geodesic of WGS84, pole to pole: 20003.931 km (Karney 2013)
        require(found.distance_km >= 0.0 && found.distance_km < 20003.94, "a distance");
        require_range(std::array{found.azimuth_deg, found.back_azimuth_deg}, 0.0, 360.0,
                      "an azimuth");
        double back = 0.0;
        require(!refused([&] { back = path::inverse(lat2, lon2, lat1, lon1).distance_km; }) &&
                    std::abs(back - found.distance_km) < 1e-6,
                "as far back");
        const auto end = path::direct(lat1, lon1, found.azimuth_deg, found.distance_km);
        // 1e-9 km, by the error the header gives for each
        require(path::inverse(end.lat_deg, end.lon_deg, lat2, lon2).distance_km < 1e-6,
                "there by azimuth and distance");
        double sphere_km = 0.0;
        double sphere_azimuth = 0.0;
        path::sphere({&lat1, 1}, {&lon1, 1}, {&lat2, 1}, {&lon2, 1}, {&sphere_km, 1},
                     {&sphere_azimuth, 1});
        // near the antipode the two surfaces part
        require(std::abs(sphere_km - found.distance_km) <= 0.006 * found.distance_km + 1e-6 ||
                    found.distance_km > 19900.0,
                "the sphere is off by 0.6 % at most");
    }
    path::Point middle{};
    if (!refused(
            [&] { middle = path::sphere_point(lat1, lon1, lat2, lon2, fraction, other_way); })) {
        require_range({&middle.lat_deg, 1}, -90.0, 90.0, "a latitude");
        require_range({&middle.lon_deg, 1}, -180.0, 180.0, "a longitude");
        require(!feed.within() || std::isfinite(middle.lat_deg + middle.lon_deg), "a place");
    }
    path::Point end{};
    if (!refused([&] { end = path::direct(lat1, lon1, azimuth, distance); })) {
        require_range({&end.lat_deg, 1}, -90.0, 90.0, "a latitude");
        require_range({&end.lon_deg, 1}, -180.0, 180.0, "a longitude");
        require(!feed.within() || std::isfinite(end.lat_deg + end.lon_deg), "a place");
    }
}

}  // namespace

void sun(Bytes bytes) { one_of({where, when, line, ways}, bytes); }

}  // namespace farhear::fuzz
