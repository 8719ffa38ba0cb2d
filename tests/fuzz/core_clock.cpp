// A time zone file, or the rule at its end alone, or the name of a season.

#include <algorithm>
#include <chrono>
#include <string_view>

#include "core_feed.hpp"
#include "farhear/clock.hpp"

namespace farhear::fuzz {

namespace {

/// A file of version 2 with one type at offset 0, no change written out, and this rule.
/// Source of the layout: RFC 9636, 3.1 to 3.3.
std::vector<std::uint8_t> slim_file(std::string_view rule) {
    std::vector<std::uint8_t> out;
    for (int block = 0; block < 2; ++block) {
        for (const char c : std::string_view{"TZif2"}) {
            out.push_back(static_cast<std::uint8_t>(c));
        }
        out.resize(out.size() + 15 + 16);  // reserved, and four counts of 0
        for (const std::uint8_t count : {std::uint8_t{1}, std::uint8_t{4}}) {
            out.insert(out.end(), {0, 0, 0, count});
        }
        out.insert(out.end(), {0, 0, 0, 0, 0, 0, 'U', 'T', 'C', 0});
    }
    out.push_back('\n');
    for (const char c : rule) {
        out.push_back(static_cast<std::uint8_t>(c));
    }
    out.push_back('\n');
    return out;
}

/// Offset at an instant by a plain walk through the table.
std::int32_t offset_at(const clock::Zone& zone, double t_unix_s) {
    const auto changes = zone.changes_unix_s();
    const auto passed = std::ranges::count_if(
        changes, [=](std::int64_t change) { return static_cast<double>(change) <= t_unix_s; });
    return zone.offsets_s()[static_cast<std::size_t>(passed)];
}

void check(const clock::Zone& zone) {
    const auto changes = zone.changes_unix_s();
    const auto offsets = zone.offsets_s();
    require(offsets.size() == changes.size() + 1, "one offset more than changes");
    require(std::ranges::is_sorted(changes, std::less_equal{}), "changes ascend");
    require(std::ranges::all_of(offsets, [](auto s) { return s > -90000 && s < 93600; }),
            "offsets are between -25 h and 26 h (RFC 9636, 3.2)");

    // around some of the changes, and through all the years
    std::vector<double> t;
    const std::size_t step = changes.size() / 8 + 1;
    for (std::size_t i = 0; i < changes.size(); i += step) {
        const auto at = static_cast<double>(changes[i]);
        for (const double off : {-7200.0, -1.0, -0.5, 0.0, 1.0, 3599.0, 3600.0}) {
            t.push_back(at + off);
        }
    }
    for (double at = clock::kFirst_unix_s; at < clock::kEnd_unix_s; at += 4.1e8) {
        t.push_back(at);
    }
    const double last = zone.rule().empty() ? 2147483647.0 : clock::kEnd_unix_s - 1.0;
    std::erase_if(t, [=](double at) { return at < clock::kFirst_unix_s || at > last; });
    t.push_back(std::numeric_limits<double>::quiet_NaN());

    std::vector<double> offset(t.size());
    std::vector<std::int64_t> wall(t.size());
    zone.offset_s(t, offset);
    zone.to_local(t, wall);
    require(std::isnan(offset.back()) && wall.back() == clock::kMissingWall_s, "NaN passes");
    for (std::size_t i = 0; i + 1 < t.size(); ++i) {
        require(offset[i] == offset_at(zone, t[i]), "the index agrees with the table");
        const auto whole = static_cast<std::int64_t>(std::floor(t[i]));
        require(wall[i] == whole + static_cast<std::int64_t>(offset[i]), "wall = instant + offset");
        const std::chrono::sys_seconds instant{std::chrono::seconds{whole}};
        const std::chrono::local_seconds reading{std::chrono::seconds{wall[i]}};
        require(zone.to_local(instant) == reading, "one and many agree");
        // a reading that comes from an instant exists: the instant is the first or the last of
        // those it may mean, or, with three of them, between
        std::int64_t first = 0;
        std::int64_t later = 0;
        const bool gone = refused([&] {
            using clock::Ambiguous;
            first = zone.to_utc(reading, Ambiguous::kEarlier).time_since_epoch().count();
            later = zone.to_utc(reading, Ambiguous::kLater).time_since_epoch().count();
            const auto reading_s = static_cast<double>(wall[i]);
            double one = 0.0;
            zone.to_utc({&reading_s, 1}, Ambiguous::kEarlier, clock::Missing::kRaise, {&one, 1});
            require(one == static_cast<double>(first), "one and many agree, backwards");
            zone.first_instant({&reading_s, 1}, {&one, 1});
            require(one <= static_cast<double>(first), "the first instant is the first");
        });
        // at the ends of the span the other instant may lie outside
        const bool inside = t[i] > clock::kFirst_unix_s + 2e5 && t[i] < last - 2e5;
        require(!gone || !inside, "a wall reading taken from an instant is refused");
        require(gone || (first <= whole && whole <= later), "there and back");
    }
}

}  // namespace

void clock(Bytes bytes) {
    const std::string_view text(reinterpret_cast<const char*>(bytes.data()), bytes.size());
    const std::vector<std::uint8_t> slim =
        text.starts_with("TZif") ? std::vector<std::uint8_t>{} : slim_file(text);
    const auto file = std::as_bytes(slim.empty() ? bytes : Bytes(slim));
    (void)refused([&] { check(clock::Zone("fuzz", file)); });
    (void)refused([&] {
        const auto season = clock::parse_season(text);
        const auto span = clock::season_span(season);
        require(span.begin < span.end && clock::season_of(span.begin) == season,
                "a season holds its beginning");
    });
}

}  // namespace farhear::fuzz
