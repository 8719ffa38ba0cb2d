#include <doctest/doctest.h>

#include <cstdint>
#include <utility>
#include <vector>

#include "farhear/error.hpp"
#include "farhear/zone.hpp"

using farhear::zone::Regions;

namespace {

Regions one_ring(const std::vector<double>& lat_deg, const std::vector<double>& lon_deg) {
    const std::vector<std::int64_t> vertices{0, static_cast<std::int64_t>(lat_deg.size())};
    const std::vector<std::int64_t> one{0, 1};
    return {lat_deg, lon_deg, vertices, one, one};
}

}  // namespace

TEST_CASE("no regions at all") {
    const std::vector<std::int64_t> none{0};
    const Regions empty({}, {}, none, none, none);
    CHECK(empty.size() == 0);
    CHECK(empty.find(10.0, 10.0) == -1);
}

TEST_CASE("offsets that do not fit are refused") {
    const std::vector<double> lat{0, 0, 1, 1, 0};
    const std::vector<double> lon{0, 1, 1, 0, 0};
    const std::vector<std::int64_t> good{0, 1};
    const std::vector<std::int64_t> vertices{0, 5};
    CHECK_THROWS_AS(Regions(lat, lon, std::vector<std::int64_t>{0, 9}, good, good),
                    farhear::InputError);
    CHECK_THROWS_AS(Regions(lat, lon, std::vector<std::int64_t>{}, good, good),
                    farhear::InputError);
    CHECK_THROWS_AS(Regions(lat, lon, vertices, std::vector<std::int64_t>{0, 0, 1},
                            std::vector<std::int64_t>{0, 2}),
                    farhear::InputError);  // a polygon without a ring
    CHECK(Regions(lat, lon, vertices, good, good).contains(0, 0.5, 0.5));
    CHECK_THROWS_AS((void)Regions(lat, lon, vertices, good, good).contains(1, 0.5, 0.5),
                    farhear::InputError);
}

TEST_CASE("a moved index still answers") {
    Regions first = one_ring({-10, -10, 10, 10, -10}, {170, -170, -170, 170, 170});
    const Regions second = std::move(first);
    CHECK(second.find(0.0, 180.0) == 0);
    CHECK(second.find(0.0, -175.0) == 0);
    CHECK(second.find(0.0, 185.0) == 0);
    CHECK(second.find(0.0, 0.0) == -1);
}

TEST_CASE("a ring round the pole does not close") {
    CHECK_THROWS_AS(one_ring({60, 60, 60, 60, 60}, {-180, -90, 0, 90, 180}), farhear::InputError);
}
