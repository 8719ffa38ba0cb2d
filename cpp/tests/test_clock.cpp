#include <doctest/doctest.h>

#include <array>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <limits>
#include <string>
#include <type_traits>
#include <utility>
#include <vector>

#include "farhear/clock.hpp"

using namespace farhear;
using namespace farhear::clock;
using std::chrono::local_seconds;
using std::chrono::seconds;
using std::chrono::sys_seconds;

// Local and UTC time must not mix: this is the commonest bug of a listener's log.
static_assert(!std::is_convertible_v<local_seconds, sys_seconds>);
static_assert(!std::is_convertible_v<sys_seconds, local_seconds>);
template <typename Time>
concept Localizable = requires(const Zone& zone, Time t) { zone.to_local(t); };
static_assert(Localizable<sys_seconds>);
static_assert(!Localizable<local_seconds>);

namespace {

void put(std::string& out, std::int64_t value, int width) {
    for (int i = width - 1; i >= 0; --i) {
        out.push_back(static_cast<char>((static_cast<std::uint64_t>(value) >> (8 * i)) & 0xFFU));
    }
}

struct Type {
    std::int32_t offset_s;
    bool summer;
};
using Changes = std::vector<std::pair<std::int64_t, int>>;

/// A TZif file as RFC 9636 lays it out.
std::string tzif(const std::string& rule, const std::vector<Type>& types = {{0, false}},
                 const Changes& changes = {}, char version = '3') {
    const auto header = [&](std::size_t times, std::size_t kinds) {
        std::string h = "TZif";
        h.push_back(version);
        h.append(15, '\0');
        put(h, 0, 4);
        put(h, 0, 4);
        put(h, 0, 4);
        put(h, static_cast<std::int64_t>(times), 4);
        put(h, static_cast<std::int64_t>(kinds), 4);
        put(h, 4, 4);
        return h;
    };
    const auto block = [&](int width) {
        std::string b;
        for (const auto& change : changes) {
            put(b, change.first, width);
        }
        for (const auto& change : changes) {
            put(b, change.second, 1);
        }
        for (const Type& type : types) {
            put(b, type.offset_s, 4);
            put(b, type.summer ? 1 : 0, 1);
            put(b, 0, 1);
        }
        return b + std::string("XXX\0", 4);
    };
    if (version == '\0') {
        return header(changes.size(), types.size()) + block(4);
    }
    const std::string first = header(0, 1);
    std::string empty;
    put(empty, 0, 4);
    put(empty, 0, 2);
    return first + empty + std::string("XXX\0", 4) + header(changes.size(), types.size()) +
           block(8) + "\n" + rule + "\n";
}

Zone make(const std::string& bytes) {
    return {"Test/Zone", std::as_bytes(std::span<const char>{bytes.data(), bytes.size()})};
}
Zone by_rule(const std::string& rule) { return make(tzif(rule)); }

std::int64_t offset_at(const Zone& zone, std::chrono::sys_days day, std::int64_t time_s = 0) {
    const double t = static_cast<double>(sys_seconds{day}.time_since_epoch().count() + time_s);
    std::array<double, 1> out{};
    zone.offset_s(std::array{t}, out);
    return static_cast<std::int64_t>(out[0]);
}

constexpr std::chrono::sys_days ymd(int y, unsigned m, unsigned d) {
    return std::chrono::sys_days{std::chrono::year{y} / static_cast<int>(m) / static_cast<int>(d)};
}

std::string complaint(const std::string& bytes) {
    try {
        (void)make(bytes);
    } catch (const InputError& error) {
        return error.what();
    }
    return "";
}

bool has(const std::string& text, const std::string& part) {
    return text.find(part) != std::string::npos;
}

}  // namespace

// The forms of the rule: POSIX.1-2017, 8.3 "TZ"; extensions and the examples marked *: RFC 9636,
// 3.3.1 and appendix B. Expected instants worked out by hand from those definitions.

TEST_CASE("rule without summer time, quoted names, sign is west positive") {
    CHECK(offset_at(by_rule("<+05>-5"), ymd(2026, 1, 1)) == 5 * 3600);
    CHECK(offset_at(by_rule("<-0330>3:30"), ymd(2100, 12, 31)) == -(3 * 3600 + 1800));
    CHECK(offset_at(by_rule("ABC-12:34:56"), ymd(1900, 1, 1)) == 12 * 3600 + 34 * 60 + 56);
    CHECK(by_rule("UTC0").changes_unix_s().empty());
}

TEST_CASE("weekday rule, default time 02:00, default shift of one hour") {
    const Zone zone = by_rule("MST7MDT,M3.2.0,M11.1.0");
    // 2026: second Sunday of March is the 8th, first Sunday of November is the 1st
    CHECK(offset_at(zone, ymd(2026, 3, 8), 9 * 3600 - 1) == -7 * 3600);
    CHECK(offset_at(zone, ymd(2026, 3, 8), 9 * 3600) == -6 * 3600);
    CHECK(offset_at(zone, ymd(2026, 11, 1), 8 * 3600 - 1) == -6 * 3600);
    CHECK(offset_at(zone, ymd(2026, 11, 1), 8 * 3600) == -7 * 3600);
    CHECK(offset_at(zone, ymd(2100, 7, 1)) == -6 * 3600);
}

TEST_CASE("southern summer time runs over the new year, and is on at the start of 1900") {
    const Zone zone = by_rule("<+10>-10<+11>,M10.1.0,M4.1.0/3");
    CHECK(offset_at(zone, ymd(1900, 1, 1)) == 11 * 3600);
    CHECK(offset_at(zone, ymd(1900, 7, 1)) == 10 * 3600);
    CHECK(offset_at(zone, ymd(2100, 12, 31)) == 11 * 3600);
}

TEST_CASE("Jn never counts 29 February, n does") {
    const Zone julian = by_rule("AAA0BBB,J60/0,J365/0");  // J60 = 1 March in every year
    CHECK(offset_at(julian, ymd(2024, 2, 29), 86399) == 0);
    CHECK(offset_at(julian, ymd(2024, 3, 1)) == 3600);
    CHECK(offset_at(julian, ymd(2023, 2, 28), 86399) == 0);
    CHECK(offset_at(julian, ymd(2023, 3, 1)) == 3600);
    CHECK(offset_at(julian, ymd(2024, 12, 30), 22 * 3600) == 3600);  // J365 = 31 December
    CHECK(offset_at(julian, ymd(2024, 12, 31), 0) == 0);
    const Zone zero_based = by_rule("AAA0BBB,59/0,364/0");  // day 59 = 29 February or 1 March
    CHECK(offset_at(zero_based, ymd(2024, 2, 29)) == 3600);
    CHECK(offset_at(zero_based, ymd(2023, 2, 28), 86399) == 0);
    CHECK(offset_at(zero_based, ymd(2023, 3, 1)) == 3600);
    const Zone first_day = by_rule("AAA0BBB,J1/0,J59/0");
    CHECK(offset_at(first_day, ymd(2024, 1, 1)) == 3600);
}

TEST_CASE("hours from -167 to 167") {
    // * Greenland's rule of RFC 9636: the Saturday before the last Sunday of March, 22:00
    const Zone zone = by_rule("<-03>3<-02>,M3.5.0/-2,M10.5.0/-1");
    CHECK(offset_at(zone, ymd(2026, 3, 29), 3600 - 1) == -3 * 3600);
    CHECK(offset_at(zone, ymd(2026, 3, 29), 3600) == -2 * 3600);
    // 167 h after the start of Sunday 2026-03-29 is Saturday 2026-04-04, 23:00
    const Zone late = by_rule("AAA0BBB,M3.5.0/167,M10.5.0");
    CHECK(offset_at(late, ymd(2026, 4, 4), 23 * 3600 - 1) == 0);
    CHECK(offset_at(late, ymd(2026, 4, 4), 23 * 3600) == 3600);
}

TEST_CASE("summer time all year is one offset without changes") {
    // * RFC 9636, 3.3.1 gives both forms
    for (const char* rule : {"EST5EDT,0/0,J365/25", "XXX3EDT4,0/0,J365/23"}) {
        const Zone zone = by_rule(rule);
        CAPTURE(rule);
        for (int year = 1900; year <= 2100; ++year) {
            REQUIRE(offset_at(zone, ymd(year, 1, 1)) == -4 * 3600);
            REQUIRE(offset_at(zone, ymd(year, 12, 31), 86399) == -4 * 3600);
        }
        CHECK(zone.changes_unix_s().empty());
    }
}

TEST_CASE("negative summer time: the winter is the exception") {
    const Zone zone = by_rule("IST-1GMT0,M10.5.0,M3.5.0/1");
    CHECK(offset_at(zone, ymd(2026, 1, 1)) == 0);
    CHECK(offset_at(zone, ymd(2026, 3, 29), 3600 - 1) == 0);
    CHECK(offset_at(zone, ymd(2026, 3, 29), 3600) == 3600);
    CHECK(offset_at(zone, ymd(2026, 10, 25), 3600) == 0);
}

TEST_CASE("damaged rules are refused with the byte") {
    for (const char* rule : {"AB0",
                             "<A",
                             "<AB>0",
                             "<ABCDE0",
                             "ABC",
                             "ABC25",
                             "ABC0DEF",
                             "ABC0DEF,",
                             "ABC0DEF,M3.2.0",
                             "ABC0DEF,M13.1.0,M3.1.0",
                             "ABC0DEF,M3.6.0,M10.1.0",
                             "ABC0DEF,M3.1.7,M10.1.0",
                             "ABC0DEF,J0,J5",
                             "ABC0DEF,J366,J5",
                             "ABC0DEF,366,5",
                             "ABC0DEF,M3.1.0/168,M10.1.0",
                             "ABC0DEF,M3.1.0/2:60,M10.1.0",
                             "ABC0DEF,M3.1.0,M10.1.0x",
                             "ABC0DEF,M3.1,M10.1.0",
                             "ABC0\nABC0",
                             "ABC0 ",
                             ":Europe/London",
                             "ABC-24DEF-26,M3.1.0,M10.1.0"}) {
        CAPTURE(rule);
        const std::string text = complaint(tzif(rule));
        CHECK(has(text, "Test/Zone"));
        CHECK(has(text, "at byte"));
    }
}

TEST_CASE("counts are checked before anything is allocated") {
    const std::string bytes = tzif("UTC0");
    const std::size_t second = 44 + 10;  // header and a 32-bit block of one type
    for (const std::size_t field : {20U, 24U, 28U, 32U, 36U, 40U}) {
        for (const std::size_t header : {std::size_t{0}, second}) {
            std::string bomb = bytes;
            bomb.replace(header + field, 4, "\xFF\xFF\xFF\xFF");
            CAPTURE(field);
            CHECK_FALSE(complaint(bomb).empty());
        }
    }
    CHECK(has(complaint(""), "data end inside the header"));
    CHECK(has(complaint("TZif9" + std::string(60, '\0')), "version"));
    CHECK(has(complaint(bytes + "x"), "more data"));
    std::string leaps = bytes;
    leaps.replace(second + 28, 4, std::string("\0\0\0\1", 4));
    leaps.insert(second + 44 + 10, 12, '\0');
    CHECK(has(complaint(leaps), "leap seconds"));
}

TEST_CASE("damaged blocks") {
    const std::vector<Type> types{{0, false}, {3600, true}};
    CHECK(has(complaint(tzif("UTC0", types, {{100, 1}, {100, 0}})), "ascending"));
    CHECK(has(complaint(tzif("UTC0", types, {{100, 2}})), "does not exist"));
    CHECK(has(complaint(tzif("UTC0", {{90000, false}, {-90000, false}})), "-25 h"));
    CHECK(complaint(tzif("UTC0", {{93599, false}})).empty());
}

TEST_CASE("without a rule the file says nothing after 2038-01-19") {
    for (const std::string& bytes :
         {tzif("", {{3600, false}}), tzif("", {{3600, false}}, {}, '\0')}) {
        const Zone zone = make(bytes);
        CHECK(offset_at(zone, ymd(2038, 1, 19), 3 * 3600 + 14 * 60 + 7) == 3600);
        CHECK_THROWS_AS((void)offset_at(zone, ymd(2038, 1, 19), 3 * 3600 + 14 * 60 + 8),
                        InputError);
    }
}

TEST_CASE("changes far outside the years are harmless") {
    constexpr std::int64_t kFar = std::numeric_limits<std::int64_t>::min();
    const Zone zone = make(tzif("AAA-2", {{0, false}, {3600, false}, {7200, false}},
                                {{kFar, 1}, {0, 2}, {-(kFar + 1), 0}}));
    CHECK(offset_at(zone, ymd(1900, 1, 1)) == 3600);
    CHECK(offset_at(zone, ymd(2100, 12, 31), 86399) == 7200);
}

TEST_CASE("changes closer together than their shifts: the search agrees with trying every regime") {
    // Invented and hostile: five changes within an hour, around a bucket border (1900 + k * 2^21 s)
    const std::int64_t border = static_cast<std::int64_t>(kFirst_unix_s) + (1500LL << 21U);
    const std::vector<Type> types{{0, false}, {7200, false}, {-7200, false}, {1800, false}};
    const Changes changes{
        {border - 900, 1}, {border - 600, 2}, {border, 3}, {border + 300, 1}, {border + 1200, 0}};
    const Zone zone = make(tzif("AAA0", types, changes));
    const auto offset = [&](std::int64_t t) {
        std::int64_t found = 0;
        for (const auto& change : changes) {
            if (t >= change.first) {
                found = types[static_cast<std::size_t>(change.second)].offset_s;
            }
        }
        return found;
    };
    for (std::int64_t wall = border - 20000; wall < border + 20000; wall += 100) {
        std::vector<std::int64_t> instants;
        for (const std::int64_t o : {7200, 1800, 0, -7200}) {
            if (offset(wall - o) == o) {
                instants.push_back(wall - o);
            }
        }
        const std::array<double, 1> in{static_cast<double>(wall)};
        std::array<double, 1> out{};
        CAPTURE(wall - border);
        if (instants.empty()) {
            REQUIRE_THROWS_AS(zone.to_utc(in, Ambiguous::kEarlier, Missing::kRaise, out),
                              InputError);
        } else {
            zone.to_utc(in, Ambiguous::kEarlier, Missing::kRaise, out);
            REQUIRE(out[0] == static_cast<double>(instants.front()));
            zone.to_utc(in, Ambiguous::kLater, Missing::kRaise, out);
            REQUIRE(out[0] == static_cast<double>(instants.back()));
        }
        std::array<std::int64_t, 1> local{};
        zone.to_local(in, local);
        REQUIRE(local[0] == wall + offset(wall));
    }
}

TEST_CASE("scalar forms keep the types apart and agree with the spans") {
    const Zone zone = by_rule("MST7MDT,M3.2.0,M11.1.0");
    const sys_seconds t{seconds{1793518200}};
    const local_seconds wall = zone.to_local(t);
    CHECK(wall == local_seconds{seconds{1793518200 - 6 * 3600}});
    CHECK(zone.to_utc(wall, Ambiguous::kEarlier) == t);
    CHECK(zone.to_utc(wall, Ambiguous::kLater) == t + std::chrono::hours{1});
    CHECK_THROWS_AS((void)zone.to_utc(wall), InputError);
    CHECK_THROWS_AS((void)zone.to_local(sys_seconds{seconds{4133980800}}), InputError);
}

TEST_CASE("unequal lengths, NaN and infinity") {
    const Zone zone = by_rule("UTC0");
    std::array<double, 2> two{};
    std::array<std::int64_t, 1> wall{};
    CHECK_THROWS_AS(zone.to_local(two, wall), InputError);
    constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
    zone.to_local(std::array{kNan}, wall);
    CHECK(wall[0] == kMissingWall_s);
    std::array<double, 1> out{};
    zone.to_utc(std::array{kNan}, Ambiguous::kRaise, Missing::kRaise, out);
    CHECK(std::isnan(out[0]));
    zone.offset_s(std::array{kNan}, out);
    CHECK(std::isnan(out[0]));
    zone.first_instant(std::array{kNan}, out);
    CHECK(std::isnan(out[0]));
    for (const double bad : {std::numeric_limits<double>::infinity(),
                             -std::numeric_limits<double>::infinity(), 1e300, -1e300}) {
        CHECK_THROWS_AS(zone.to_local(std::array{bad}, wall), InputError);
        CHECK_THROWS_AS(zone.offset_s(std::array{bad}, out), InputError);
        CHECK_THROWS_AS(zone.to_utc(std::array{bad}, Ambiguous::kEarlier, Missing::kShift, out),
                        InputError);
        CHECK_THROWS_AS(zone.first_instant(std::array{bad}, out), InputError);
    }
}

TEST_CASE("seasons") {
    // last Sundays of 2026 and 2027: any calendar
    const SeasonSpan b26 = season_span({2026, Half::kB});
    CHECK(b26.begin == ymd(2026, 10, 25) + std::chrono::hours{1});
    CHECK(b26.end == ymd(2027, 3, 28) + std::chrono::hours{1});
    CHECK(season_of(b26.begin) == Season{2026, Half::kB});
    CHECK(season_of(b26.begin - seconds{1}) == Season{2026, Half::kA});
    CHECK(parse_season("A50") == Season{1950, Half::kA});
    CHECK(parse_season("B49") == Season{2049, Half::kB});
    for (const char* bad : {"", "A", "A2", "C26", "a26", "A026", "2026", "A-1", "A26 "}) {
        CHECK_THROWS_AS((void)parse_season(bad), InputError);
    }
    CHECK_THROWS_AS((void)season_span({1949, Half::kB}), InputError);
    CHECK_THROWS_AS((void)season_of(season_span({2049, Half::kB}).end), InputError);
}
