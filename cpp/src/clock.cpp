#include "farhear/clock.hpp"

#include <date/date.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <limits>
#include <optional>
#include <utility>

#include "checks.hpp"
#include "vector_math.hpp"

namespace farhear::clock {

namespace {

using detail::Bucket;
using std::chrono::local_seconds;
using std::chrono::seconds;
using std::chrono::sys_seconds;

constexpr std::int64_t kDay_s = 86400;
constexpr auto kFirst_s = static_cast<std::int64_t>(kFirst_unix_s);
constexpr auto kEnd_s = static_cast<std::int64_t>(kEnd_unix_s);
// Wall readings and candidate instants may leave the years by an offset: the table goes on as far.
constexpr std::int64_t kMargin_s = 2 * kDay_s;
// RFC 9636, 3.2: offsets are more than -25 h and less than 26 h.
constexpr std::int64_t kMinOffset_s = -(25 * 3600 - 1);
constexpr std::int64_t kMaxOffset_s = 26 * 3600 - 1;

[[nodiscard]] std::string iso(std::int64_t t_s) {
    return date::format("%FT%T", date::sys_seconds{seconds{t_s}});
}

/// "name", or "name[i]" where there are several.
[[nodiscard]] std::string element(std::string_view name, std::size_t i, std::size_t count) {
    std::string out(name);
    if (count != 1) {
        out.append("[").append(checks::text(i)).append("]");
    }
    return out;
}

// ---------------------------------------------------------------------------------------------
// The rule at the end of the file

/// Day of a year on which a rule acts.
struct RuleDay {
    enum class Form : std::uint8_t { kJulian, kZeroBased, kMonthWeekDay };
    Form form = Form::kZeroBased;
    unsigned month = 0;
    unsigned week = 0;
    unsigned day = 0;
    std::int64_t time_s = 2 * 3600L;  // POSIX: 02:00 unless given
};

struct Rule {
    std::int32_t standard_s = 0;
    std::int32_t summer_s = 0;
    bool has_summer = false;
    RuleDay start;
    RuleDay end;
};

/// Wall seconds at which the rule acts in `year`, on the clock that is in force before.
[[nodiscard]] std::int64_t rule_wall_s(const RuleDay& rule, int year) {
    const date::year y{year};
    date::sys_days day = date::sys_days{y / date::January / 1};
    switch (rule.form) {
        case RuleDay::Form::kJulian:  // 1 .. 365, 29 February is never counted
            day += date::days{rule.day - 1 + ((y.is_leap() && rule.day >= 60) ? 1U : 0U)};
            break;
        case RuleDay::Form::kZeroBased:
            day += date::days{rule.day};
            break;
        case RuleDay::Form::kMonthWeekDay: {
            const date::year_month month = y / date::month{rule.month};
            const date::weekday weekday{rule.day};
            day = rule.week == 5 ? date::sys_days{month / weekday[date::last]}
                                 : date::sys_days{month / weekday[rule.week]};
            break;
        }
    }
    return static_cast<std::int64_t>(day.time_since_epoch().count()) * kDay_s + rule.time_s;
}

// ---------------------------------------------------------------------------------------------
// Reading bytes: every access is checked, every complaint names the byte

class Reader {
  public:
    Reader(std::string_view zone, std::span<const std::byte> bytes) : zone_(zone), bytes_(bytes) {}

    [[noreturn]] void fail(const std::string& what, std::size_t at) const {
        throw InputError("zone data of '" + std::string(zone_) + "': " + what + " at byte " +
                         checks::text(at) + " of " + checks::text(bytes_.size()));
    }
    [[nodiscard]] std::size_t position() const { return position_; }
    [[nodiscard]] std::size_t left() const { return bytes_.size() - position_; }
    void require(std::uint64_t count, const std::string& what) const {
        if (count > left()) {
            fail("data end inside " + what + ", " + checks::text(count) + " bytes needed",
                 position_);
        }
    }
    void skip(std::uint64_t count, const std::string& what) {
        require(count, what);
        position_ += static_cast<std::size_t>(count);
    }
    [[nodiscard]] unsigned char byte(const std::string& what) {
        require(1, what);
        return std::to_integer<unsigned char>(bytes_[position_++]);
    }
    /// Big-endian two's complement of `width` bytes.
    [[nodiscard]] std::int64_t integer(std::size_t width, const std::string& what) {
        require(width, what);
        std::uint64_t value = (std::to_integer<unsigned>(bytes_[position_]) & 0x80U) != 0
                                  ? ~std::uint64_t{0}
                                  : std::uint64_t{0};
        for (std::size_t i = 0; i < width; ++i) {
            value = (value << 8U) | std::to_integer<std::uint64_t>(bytes_[position_++]);
        }
        return std::bit_cast<std::int64_t>(value);
    }
    [[nodiscard]] std::uint64_t count(const std::string& what) {
        return static_cast<std::uint64_t>(integer(4, what)) & 0xFFFFFFFFU;
    }
    [[nodiscard]] char peek() const {
        return left() == 0 ? '\0' : std::to_integer<char>(bytes_[position_]);
    }
    [[nodiscard]] bool take(char c) {
        if (left() == 0 || peek() != c) {
            return false;
        }
        ++position_;
        return true;
    }

  private:
    std::string_view zone_;
    std::span<const std::byte> bytes_;
    std::size_t position_ = 0;
};

struct Header {
    unsigned char version = 0;
    std::uint64_t ut_indicators = 0;
    std::uint64_t standard_indicators = 0;
    std::uint64_t leaps = 0;
    std::uint64_t times = 0;
    std::uint64_t types = 0;
    std::uint64_t characters = 0;

    /// Length of the block that follows; cannot overflow, the counts have 32 bits.
    [[nodiscard]] std::uint64_t block_length(std::uint64_t time_width) const {
        return times * time_width + times + types * 6 + characters + leaps * (time_width + 4) +
               standard_indicators + ut_indicators;
    }
};

[[nodiscard]] Header read_header(Reader& in) {
    const std::size_t begin = in.position();
    for (const char c : std::string_view{"TZif"}) {
        in.require(1, "the header");
        if (!in.take(c)) {
            in.fail("no 'TZif' header", begin);
        }
    }
    Header header;
    const std::size_t at_version = in.position();
    header.version = in.byte("the header");
    if (header.version != 0 && (header.version < '2' || header.version > '4')) {
        in.fail("format version is not 1 to 4", at_version);
    }
    in.skip(15, "the header");
    const std::size_t at_counts = in.position();
    header.ut_indicators = in.count("the header");
    header.standard_indicators = in.count("the header");
    header.leaps = in.count("the header");
    header.times = in.count("the header");
    header.types = in.count("the header");
    header.characters = in.count("the header");
    if (header.types == 0) {
        in.fail("no local time type", at_counts + 16);
    }
    if (header.types > 256) {
        in.fail("more than 256 local time types", at_counts + 16);
    }
    if (header.characters == 0) {
        in.fail("no time zone designation", at_counts + 20);
    }
    if (header.ut_indicators != 0 && header.ut_indicators != header.types) {
        in.fail("count of UT indicators is neither 0 nor the count of types", at_counts);
    }
    if (header.standard_indicators != 0 && header.standard_indicators != header.types) {
        in.fail("count of standard-time indicators is neither 0 nor the count of types",
                at_counts + 4);
    }
    return header;
}

/// Changes of one data block, as written.
struct Block {
    std::vector<std::int64_t> times_s;
    std::vector<std::size_t> types;
    std::vector<std::int32_t> type_offset_s;
};

[[nodiscard]] Block read_block(Reader& in, const Header& header, std::size_t time_width) {
    in.require(header.block_length(time_width), "the data block");
    if (header.leaps != 0) {
        in.fail("the file counts leap seconds; take the zone file without them", in.position());
    }
    Block block;
    block.times_s.reserve(static_cast<std::size_t>(header.times));
    for (std::uint64_t i = 0; i < header.times; ++i) {
        const std::size_t at = in.position();
        const std::int64_t time_s = in.integer(time_width, "the transition times");
        if (!block.times_s.empty() && time_s <= block.times_s.back()) {
            in.fail("transition times are not in ascending order", at);
        }
        block.times_s.push_back(time_s);
    }
    block.types.reserve(static_cast<std::size_t>(header.times));
    for (std::uint64_t i = 0; i < header.times; ++i) {
        const std::size_t at = in.position();
        const std::size_t type = in.byte("the transition types");
        if (type >= header.types) {
            in.fail("transition type " + checks::text(type) + " does not exist", at);
        }
        block.types.push_back(type);
    }
    for (std::uint64_t i = 0; i < header.types; ++i) {
        const std::size_t at = in.position();
        const std::int64_t offset_s = in.integer(4, "the local time types");
        if (offset_s < kMinOffset_s || offset_s > kMaxOffset_s) {
            in.fail("offset of " + checks::text(offset_s) + " s is not between -25 h and 26 h", at);
        }
        if (in.byte("the local time types") > 1) {
            in.fail("summer-time flag is neither 0 nor 1", at + 4);
        }
        if (in.byte("the local time types") >= header.characters) {
            in.fail("designation lies outside the designations", at + 5);
        }
        block.type_offset_s.push_back(static_cast<std::int32_t>(offset_s));
    }
    in.skip(header.characters - 1, "the designations");
    const std::size_t at_last = in.position();
    if (in.byte("the designations") != 0) {
        in.fail("designations do not end in a zero byte", at_last);
    }
    in.skip(header.standard_indicators + header.ut_indicators, "the indicators");
    return block;
}

[[nodiscard]] constexpr bool is_digit(char c) { return c >= '0' && c <= '9'; }
[[nodiscard]] constexpr bool is_letter(char c) {
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

/// Unsigned number of one to three digits in [low, high].
[[nodiscard]] unsigned rule_number(Reader& in, unsigned low, unsigned high, const char* what) {
    const std::size_t at = in.position();
    unsigned value = 0;
    unsigned digits = 0;
    while (is_digit(in.peek()) && digits < 3) {
        value = value * 10 + static_cast<unsigned>(in.byte(what) - '0');
        ++digits;
    }
    if (digits == 0 || value < low || value > high) {
        in.fail(std::string("rule: ") + what + " is not a number from " + checks::text(low) +
                    " to " + checks::text(high),
                at);
    }
    return value;
}

/// [+|-]hh[:mm[:ss]] in seconds.
[[nodiscard]] std::int64_t rule_time_s(Reader& in, unsigned max_hours) {
    const bool negative = in.take('-');
    if (!negative) {
        (void)in.take('+');
    }
    std::int64_t time_s = 3600 * static_cast<std::int64_t>(rule_number(in, 0, max_hours, "hour"));
    if (in.take(':')) {
        time_s += 60 * static_cast<std::int64_t>(rule_number(in, 0, 59, "minute"));
        if (in.take(':')) {
            time_s += rule_number(in, 0, 59, "second");
        }
    }
    return negative ? -time_s : time_s;
}

void rule_name(Reader& in) {
    const std::size_t at = in.position();
    const bool quoted = in.take('<');
    std::size_t length = 0;
    while (is_letter(in.peek()) ||
           (quoted && (is_digit(in.peek()) || in.peek() == '+' || in.peek() == '-'))) {
        in.skip(1, "the rule");
        ++length;
    }
    if (length < 3 || (quoted && !in.take('>'))) {
        in.fail("rule: a name has three or more letters, or stands in <>", at);
    }
}

[[nodiscard]] RuleDay rule_day(Reader& in) {
    RuleDay day;
    if (in.take('J')) {
        day.form = RuleDay::Form::kJulian;
        day.day = rule_number(in, 1, 365, "day of the year");
    } else if (in.take('M')) {
        day.form = RuleDay::Form::kMonthWeekDay;
        day.month = rule_number(in, 1, 12, "month");
        if (!in.take('.')) {
            in.fail("rule: '.' expected", in.position());
        }
        day.week = rule_number(in, 1, 5, "week");
        if (!in.take('.')) {
            in.fail("rule: '.' expected", in.position());
        }
        day.day = rule_number(in, 0, 6, "weekday");
    } else {
        day.day = rule_number(in, 0, 365, "day of the year");
    }
    if (in.take('/')) {
        day.time_s = rule_time_s(in, 167);
    }
    return day;
}

/// POSIX TZ text up to the closing newline. Hours up to 167 are taken in every version: a version 2
/// file that uses them can mean nothing else.
[[nodiscard]] Rule read_rule(Reader& in) {
    Rule rule;
    const auto offset_s = [&in] {
        const std::size_t at = in.position();
        const std::int64_t value_s = -rule_time_s(in, 24);  // POSIX counts west positive
        if (value_s < kMinOffset_s || value_s > kMaxOffset_s) {
            in.fail("rule: offset is not between -25 h and 26 h", at);
        }
        return static_cast<std::int32_t>(value_s);
    };
    rule_name(in);
    rule.standard_s = offset_s();
    if (in.peek() != '\n') {
        rule.has_summer = true;
        rule_name(in);
        rule.summer_s = rule.standard_s + 3600;
        if (in.peek() != ',') {
            rule.summer_s = offset_s();
        }
        if (!in.take(',')) {
            in.fail("rule: summer time without its start and end", in.position());
        }
        rule.start = rule_day(in);
        if (!in.take(',')) {
            in.fail("rule: ',' expected", in.position());
        }
        rule.end = rule_day(in);
    }
    return rule;
}

// ---------------------------------------------------------------------------------------------
// The index: one entry for each 2^21 s (24.3 days), so that look-up is one load and one comparison

constexpr unsigned kShift = 21;
constexpr std::int64_t kBucket_s = 2'097'152;  // 2^21
constexpr std::int64_t kBias_s = 262'144;      // 2^18: makes every offset positive, below 2^19
constexpr std::int64_t kCrowded = 1'048'576;   // 2^20, above every offset
constexpr std::int64_t kFirstWall_s = kFirst_s - kMargin_s;
constexpr std::int64_t kEndWall_s = kEnd_s + kMargin_s;

/// Build the index of intervals [low[i], high[i]) in which change i takes place, in ascending
/// order. On the UTC axis they are single instants, on the wall axis gaps and repeats. A bucket
/// with two of them, or with one that crosses its border, is marked: it needs the search.
[[nodiscard]] std::vector<Bucket> make_index(std::span<const std::int64_t> low_s,
                                             std::span<const std::int64_t> high_s,
                                             std::span<const std::int32_t> offset_s,
                                             std::int64_t first_s, std::int64_t end_s) {
    std::vector<Bucket> index(static_cast<std::size_t>((end_s - first_s - 1) / kBucket_s) + 1);
    std::size_t below = 0;  // changes wholly before the bucket
    std::int64_t begin_s = first_s;
    for (Bucket& bucket : index) {
        const std::int64_t next_s = begin_s + kBucket_s;
        while (below < low_s.size() && std::max(high_s[below], low_s[below] + 1) <= begin_s) {
            ++below;
        }
        std::size_t touching = 0;
        while (below + touching < low_s.size() && low_s[below + touching] < next_s) {
            ++touching;
        }
        std::int64_t before_s = offset_s[below] + kBias_s;
        std::int64_t after_s = before_s;
        bucket.change_s = next_s;
        if (touching == 1 && low_s[below] >= begin_s && high_s[below] <= next_s) {
            bucket.change_s = low_s[below];
            after_s = offset_s[below + 1] + kBias_s;
        } else if (touching > 0) {
            before_s += kCrowded;
            after_s += kCrowded;
        }
        bucket.biased_s = {static_cast<std::int32_t>(before_s), static_cast<std::int32_t>(after_s)};
        begin_s = next_s;
    }
    return index;
}

/// Whole seconds of x in [first, first + 2^33), downwards, by one subtraction and one truncation.
/// float64 is coarser than the distance that could round up: 0.95 us before a whole second.
[[nodiscard]] FARHEAR_INLINE std::int64_t whole_s(double x, std::int64_t first_s) {
    return static_cast<std::int64_t>(x - static_cast<double>(first_s)) + first_s;
}

/// x drawn into [first, last]; NaN gives first.
[[nodiscard]] FARHEAR_INLINE double clamp(double x, double first, double last) {
    const double low = x > first ? x : first;
    return low < last ? low : last;
}

/// Offset plus kBias_s, plus kCrowded where it is not to be trusted. No branch.
[[nodiscard]] FARHEAR_INLINE std::int64_t biased_s(const Bucket& bucket, std::int64_t at_s) {
    return bucket.biased_s[static_cast<std::size_t>(at_s >= bucket.change_s)];  // NOLINT: 0 or 1
}

[[nodiscard]] FARHEAR_INLINE const Bucket& bucket_of(const Bucket* index, std::int64_t at_s,
                                                     std::int64_t first_s) {
    return index[static_cast<std::uint64_t>(at_s - first_s) >> kShift];
}

[[nodiscard]] bool in_reach(double wall_s) {
    return wall_s >= static_cast<double>(kFirstWall_s) && wall_s < static_cast<double>(kEndWall_s);
}

[[nodiscard]] FARHEAR_INLINE bool in_change(const Bucket& bucket, std::int64_t at_s) {
    const std::int64_t length = std::abs(bucket.biased_s[1] - bucket.biased_s[0]);
    return static_cast<std::uint64_t>(at_s - bucket.change_s) < static_cast<std::uint64_t>(length);
}

constexpr std::size_t kBlock = 1024;  // elements that stay in the first-level cache

/// Whether every instant is there (no NaN) and in [first, end). No branch, so that vectors are made
/// of it.
FARHEAR_CLONES bool all_within(const double* t_unix_s, std::size_t n, double first, double end) {
    std::uint64_t bad = 0;
    for (std::size_t i = 0; i < n; ++i) {
        bad |= static_cast<std::uint64_t>(!(t_unix_s[i] >= first)) |
               static_cast<std::uint64_t>(!(t_unix_s[i] < end));
    }
    return bad == 0;
}

/// Whole seconds, downwards, of served instants plus an offset.
FARHEAR_CLONES void add_offset(const double* t_unix_s, std::size_t n, std::int64_t offset_s,
                               std::int64_t* __restrict wall_s) {
    constexpr double kWhole = 4503599627370496.0;  // 2^52: what is added to it loses its fraction
    constexpr std::uint64_t kBits = 0x4330000000000000;
    const std::int64_t shift_s = kFirst_s + offset_s;
    for (std::size_t i = 0; i < n; ++i) {
        const double since = t_unix_s[i] - kFirst_unix_s;
        const double near = (since + kWhole) - kWhole;
        const double whole = near - (near > since ? 1.0 : 0.0);
        wall_s[i] =
            static_cast<std::int64_t>(std::bit_cast<std::uint64_t>(whole + kWhole) - kBits) +
            shift_s;
    }
}

/// Says whether any element needs a second look: missing, outside the years, in a marked bucket, in
/// a gap or repeat.
FARHEAR_CLONES bool utc_loop(const double* wall_s, std::size_t n, const Bucket* index, double last,
                             double* out) {
    constexpr auto kFirst = static_cast<double>(kFirstWall_s);
    constexpr auto kLast = static_cast<double>(kEndWall_s - 1);
    std::uint64_t moved = 0;
    std::int64_t seen = 0;
    for (std::size_t i = 0; i < n; ++i) {
        const double wall = wall_s[i];
        const double clamped = clamp(wall, kFirst, kLast);
        const std::int64_t at_s = whole_s(clamped, kFirstWall_s);
        const Bucket& bucket = bucket_of(index, at_s, kFirstWall_s);
        const std::int64_t offset = biased_s(bucket, at_s);
        const double t = wall - static_cast<double>(offset - kBias_s);
        moved |= std::bit_cast<std::uint64_t>(clamp(t, kFirst_unix_s, last) - t) |
                 static_cast<std::uint64_t>(in_change(bucket, at_s));
        seen = std::max(seen, offset);
        out[i] = t;
    }
    return moved != 0 || seen >= kCrowded;
}

}  // namespace

// ---------------------------------------------------------------------------------------------
// Zone

Zone::Zone(std::string name, std::span<const std::byte> tzif) : name_(std::move(name)) {
    read(tzif);
    build_index();
}

void Zone::read(std::span<const std::byte> tzif) {
    Reader in(name_, tzif);
    Header header = read_header(in);
    std::optional<Rule> rule;
    Block block;
    if (header.version == 0) {
        block = read_block(in, header, 4);
    } else {
        in.skip(header.block_length(4), "the 32-bit block");
        const std::size_t at = in.position();
        const unsigned char version = header.version;
        header = read_header(in);
        if (header.version != version) {
            in.fail("the two headers differ in version", at + 4);
        }
        block = read_block(in, header, 8);
        in.require(1, "the rule");
        if (!in.take('\n')) {
            in.fail("no newline before the rule", in.position());
        }
        const std::size_t begin = in.position();
        in.require(1, "the rule");
        if (in.peek() != '\n') {
            rule = read_rule(in);
        }
        const auto text = tzif.subspan(begin, in.position() - begin);
        rule_.resize(text.size());
        std::ranges::transform(text, rule_.begin(),
                               [](std::byte b) { return std::to_integer<char>(b); });
        in.require(1, "the rule");
        if (!in.take('\n')) {
            in.fail("rule: unexpected character", in.position());
        }
    }
    if (in.left() != 0) {
        in.fail("more data after the end", in.position());
    }

    // Changes as written. What lies outside the years only sets the first offset.
    offset_.assign(1, block.type_offset_s[0]);
    const auto add = [this](std::int64_t at_s, std::int32_t offset_s) {
        if (at_s < kFirst_s - kMargin_s) {
            offset_[0] = offset_s;
        } else if (at_s < kEnd_s + kMargin_s && offset_s != offset_.back()) {
            at_.push_back(at_s);
            offset_.push_back(offset_s);
        }
    };
    for (std::size_t i = 0; i < block.times_s.size(); ++i) {
        add(block.times_s[i], block.type_offset_s[block.types[i]]);
    }
    if (!rule) {
        end_unix_s_ = 2147483648.0;
        return;
    }
    // Changes by rule, after the last one written. Summer time holds while more starts than ends
    // have passed: so starts and ends that coincide at the turn of the year mean all-year summer
    // time, and overlapping years do no harm.
    const std::int64_t last_s =
        block.times_s.empty() ? std::numeric_limits<std::int64_t>::min() : block.times_s.back();
    if (block.times_s.empty()) {
        offset_[0] = rule->standard_s;
    }
    if (!rule->has_summer) {
        return;
    }
    struct Step {
        std::int64_t at_s;
        int change;
    };
    constexpr int kFirstYear = 1898;
    constexpr int kLastYear = 2102;
    std::vector<Step> steps;
    for (int year = kFirstYear; year <= kLastYear; ++year) {
        steps.push_back({.at_s = rule_wall_s(rule->start, year) - rule->standard_s, .change = 1});
        steps.push_back({.at_s = rule_wall_s(rule->end, year) - rule->summer_s, .change = -1});
    }
    int depth = steps[1].at_s < steps[0].at_s ? 1 : 0;
    std::ranges::sort(steps, {}, &Step::at_s);
    for (std::size_t i = 0; i < steps.size(); ++i) {
        depth += steps[i].change;
        if (i + 1 < steps.size() && steps[i + 1].at_s == steps[i].at_s) {
            continue;
        }
        if (steps[i].at_s > last_s) {
            add(steps[i].at_s, depth > 0 ? rule->summer_s : rule->standard_s);
        }
    }
}

void Zone::build_index() {
    by_utc_ = make_index(at_, at_, offset_, kFirst_s, kEnd_s);
    plain_ = std::ranges::all_of(by_utc_, [](const Bucket& b) { return b.biased_s[0] < kCrowded; });
    std::vector<std::int64_t> low_s(at_.size());
    std::vector<std::int64_t> high_s(at_.size());
    for (std::size_t i = 0; i < at_.size(); ++i) {
        low_s[i] = at_[i] + std::min(offset_[i], offset_[i + 1]);
        high_s[i] = at_[i] + std::max(offset_[i], offset_[i + 1]);
    }
    // Changes closer together than their shifts can swap places on the wall axis. Widen them until
    // they are in order: overlapping ones then share a bucket, which is left to the search.
    for (std::size_t i = at_.size(); i-- > 1;) {
        low_s[i - 1] = std::min(low_s[i - 1], low_s[i]);
        high_s[at_.size() - i] = std::max(high_s[at_.size() - i], high_s[at_.size() - i - 1]);
    }
    by_wall_ = make_index(low_s, high_s, offset_, kFirstWall_s, kEndWall_s);
}

/// Number of changes at or before t: the branchless form of an upper bound.
std::size_t Zone::regime(std::int64_t t_unix_s) const noexcept {
    const std::int64_t* base = at_.data();
    std::size_t length = at_.size();
    while (length > 1) {
        const std::size_t half = length / 2;
        base += base[half - 1] <= t_unix_s ? half : 0;
        length -= half;
    }
    const auto below = static_cast<std::size_t>(base - at_.data());
    return below + ((length == 1 && *base <= t_unix_s) ? 1 : 0);
}

/// Instants that a wall reading may mean.
struct Zone::Candidates {
    int count = 0;
    std::int64_t first_s = 0;
    std::int64_t last_s = 0;
    std::size_t gap = 0;  // the change that skips the reading, if count is 0
};

Zone::Candidates Zone::candidates(std::int64_t wall_s) const noexcept {
    Candidates out;
    const std::size_t begin = regime(wall_s - kMaxOffset_s);
    const std::size_t end = regime(wall_s - kMinOffset_s) + 1;
    for (std::size_t i = begin; i < end; ++i) {
        const std::int64_t t_s = wall_s - offset_[i];
        if ((i == 0 || t_s >= at_[i - 1]) && (i == at_.size() || t_s < at_[i])) {
            out.first_s = out.count == 0 ? t_s : out.first_s;
            out.last_s = t_s;
            ++out.count;
        }
    }
    if (out.count == 0) {  // then some change jumps over the reading
        out.gap = begin;
        while (out.gap + 1 < at_.size() && (wall_s < at_[out.gap] + offset_[out.gap] ||
                                            wall_s >= at_[out.gap] + offset_[out.gap + 1])) {
            ++out.gap;
        }
    }
    return out;
}

double Zone::resolve(double wall_s, Ambiguous ambiguous, Missing missing,
                     const std::string& label) const {
    if (!in_reach(wall_s)) {
        throw InputError(label + " = " + checks::text(wall_s) +
                         " s is outside the years 1900-2100");
    }
    const std::int64_t at_s = whole_s(wall_s, kFirstWall_s);
    const auto say = [&] { return label + " = " + iso(at_s) + " in " + name_; };
    const Candidates found = candidates(at_s);
    std::int64_t t_s = found.first_s;
    if (found.count == 0) {
        const std::size_t gap = found.gap;
        t_s = at_s - offset_[gap];
        if (missing == Missing::kRaise) {
            throw InputError(say() + " does not exist: at " + iso(at_[gap]) +
                             "Z the clock goes from " + iso(at_[gap] + offset_[gap]) + " to " +
                             iso(at_[gap] + offset_[gap + 1]) + "; by the clock before it means " +
                             iso(t_s) + "Z, by the clock after " + iso(at_s - offset_[gap + 1]) +
                             R"(Z; missing="shift" takes the former)");
        }
    } else if (found.count > 1) {
        if (ambiguous == Ambiguous::kRaise) {
            throw InputError(say() + " happens twice: " + iso(found.first_s) + "Z and " +
                             iso(found.last_s) +
                             R"(Z; say which with ambiguous="earlier" or "later")");
        }
        t_s = ambiguous == Ambiguous::kEarlier ? found.first_s : found.last_s;
    }
    const double t = static_cast<double>(t_s) + (wall_s - static_cast<double>(at_s));
    if (t < kFirst_unix_s || t >= end_unix_s_) {
        throw InputError(say() + " is " + iso(t_s) + "Z, outside the span served, " +
                         iso(kFirst_s) + "Z to " + iso(static_cast<std::int64_t>(end_unix_s_)) +
                         "Z");
    }
    return t;
}

void Zone::require_served(std::span<const double> t_unix_s) const {
    for (std::size_t i = 0; i < t_unix_s.size(); ++i) {
        if (t_unix_s[i] < kFirst_unix_s || t_unix_s[i] >= end_unix_s_) {
            throw InputError(element("t_unix_s", i, t_unix_s.size()) + " = " +
                             checks::text(t_unix_s[i]) + " is outside the span served by " + name_ +
                             ", " + iso(kFirst_s) + "Z to " +
                             iso(static_cast<std::int64_t>(end_unix_s_)) + "Z" +
                             (rule_.empty() ? " (its file has no rule for later years)" : ""));
        }
    }
}

bool Zone::within_a_regime(std::span<const double> t_unix_s, std::int64_t* offset_s) const {
    const double first = t_unix_s.front();
    if (!(first >= kFirst_unix_s && first < end_unix_s_)) {
        return false;
    }
    const std::size_t here = regime(static_cast<std::int64_t>(std::floor(first)));
    const double begin_s =
        here == 0 ? kFirst_unix_s : std::max(kFirst_unix_s, static_cast<double>(at_[here - 1]));
    const double end_s =
        here == at_.size() ? end_unix_s_ : std::min(end_unix_s_, static_cast<double>(at_[here]));
    *offset_s = offset_[here];
    const double last = t_unix_s.back();  // in no order, it is elsewhere: leave it at that
    return last >= begin_s && last < end_s &&
           all_within(t_unix_s.data(), t_unix_s.size(), begin_s, end_s);
}

template <typename Put, typename Miss, typename Run>
void Zone::convert(std::span<const double> t_unix_s, const Put& put, const Miss& miss,
                   const Run& run) const {
    const Bucket* index = by_utc_.data();
    for (std::size_t begin = 0; begin < t_unix_s.size(); begin += kBlock) {
        const std::size_t end = std::min(begin + kBlock, t_unix_s.size());
        std::int64_t offset_s = 0;
        if (within_a_regime(t_unix_s.subspan(begin, end - begin), &offset_s)) {
            run(begin, end - begin, offset_s);
            continue;
        }
        if (plain_ && all_within(&t_unix_s[begin], end - begin, kFirst_unix_s, end_unix_s_)) {
#pragma GCC unroll 4
            for (std::size_t i = begin; i < end; ++i) {
                const std::int64_t at_s = whole_s(t_unix_s[i], kFirst_s);
                put(i, at_s, biased_s(bucket_of(index, at_s, kFirst_s), at_s) - kBias_s);
            }
            continue;
        }
        require_served(t_unix_s);
        for (std::size_t i = begin; i < end; ++i) {
            if (std::isnan(t_unix_s[i])) {
                miss(i);
                continue;
            }
            const std::int64_t at_s = whole_s(t_unix_s[i], kFirst_s);
            const std::int64_t biased = biased_s(bucket_of(index, at_s, kFirst_s), at_s);
            put(i, at_s, biased >= kCrowded ? offset_[regime(at_s)] : biased - kBias_s);
        }
    }
}

void Zone::to_local(std::span<const double> t_unix_s, std::span<std::int64_t> wall_s) const {
    checks::same_length("wall_s", wall_s.size(), t_unix_s.size());
    convert(
        t_unix_s,
        [&](std::size_t i, std::int64_t at_s, std::int64_t offset_s) {
            wall_s[i] = at_s + offset_s;
        },
        [&](std::size_t i) { wall_s[i] = kMissingWall_s; },
        [&](std::size_t begin, std::size_t n, std::int64_t offset_s) {
            add_offset(&t_unix_s[begin], n, offset_s, &wall_s[begin]);
        });
}

void Zone::offset_s(std::span<const double> t_unix_s, std::span<double> out_s) const {
    checks::same_length("out_s", out_s.size(), t_unix_s.size());
    convert(
        t_unix_s,
        [&](std::size_t i, std::int64_t, std::int64_t offset_s) {
            out_s[i] = static_cast<double>(offset_s);
        },
        [&](std::size_t i) { out_s[i] = std::numeric_limits<double>::quiet_NaN(); },
        [&](std::size_t begin, std::size_t n, std::int64_t offset_s) {
            std::ranges::fill(out_s.subspan(begin, n), static_cast<double>(offset_s));
        });
}

void Zone::to_utc(std::span<const double> wall_s, Ambiguous ambiguous, Missing missing,
                  std::span<double> out_unix_s) const {
    checks::same_length("out_unix_s", out_unix_s.size(), wall_s.size());
    const double last = std::nextafter(end_unix_s_, 0.0);
    // In blocks, because a season of readings nearly always has a few that are shown twice: only
    // their blocks are gone through again.
    for (std::size_t begin = 0; begin < wall_s.size(); begin += kBlock) {
        const std::size_t end = std::min(begin + kBlock, wall_s.size());
        if (!utc_loop(&wall_s[begin], end - begin, by_wall_.data(), last, &out_unix_s[begin])) {
            continue;
        }
        for (std::size_t i = begin; i < end; ++i) {
            const double wall = wall_s[i];
            if (std::isnan(wall)) {
                out_unix_s[i] = wall;
                continue;
            }
            bool again = !in_reach(wall) || out_unix_s[i] < kFirst_unix_s || out_unix_s[i] > last;
            if (!again) {
                const std::int64_t at_s = whole_s(wall, kFirstWall_s);
                const Bucket& bucket = bucket_of(by_wall_.data(), at_s, kFirstWall_s);
                again = bucket.biased_s[0] >= kCrowded || in_change(bucket, at_s);
            }
            if (again) {
                out_unix_s[i] =
                    resolve(wall, ambiguous, missing, element("wall", i, wall_s.size()));
            }
        }
    }
}

void Zone::first_instant(std::span<const double> wall_s, std::span<double> out_unix_s) const {
    checks::same_length("out_unix_s", out_unix_s.size(), wall_s.size());
    for (std::size_t i = 0; i < wall_s.size(); ++i) {
        const double wall = wall_s[i];
        if (std::isnan(wall)) {
            out_unix_s[i] = wall;
            continue;
        }
        if (!(wall >= static_cast<double>(kFirstWall_s) && wall < static_cast<double>(kEndWall_s) &&
              wall < end_unix_s_ + kDay_s)) {
            throw InputError(element("wall", i, wall_s.size()) + " = " + checks::text(wall) +
                             " s is outside the years 1900-2100");
        }
        const std::int64_t at_s = whole_s(wall, kFirstWall_s);
        const Candidates found = candidates(at_s);
        out_unix_s[i] = found.count == 0 ? static_cast<double>(at_[found.gap])
                                         : static_cast<double>(found.first_s) +
                                               (wall - static_cast<double>(at_s));
    }
}

local_seconds Zone::to_local(sys_seconds t) const {
    const auto t_s = static_cast<double>(t.time_since_epoch().count());
    require_served(std::span<const double>{&t_s, 1});
    return local_seconds{t.time_since_epoch() +
                         seconds{offset_[regime(t.time_since_epoch().count())]}};
}

sys_seconds Zone::to_utc(local_seconds wall, Ambiguous ambiguous, Missing missing) const {
    const auto wall_s = static_cast<double>(wall.time_since_epoch().count());
    return sys_seconds{
        seconds{static_cast<std::int64_t>(resolve(wall_s, ambiguous, missing, "wall"))}};
}

// ---------------------------------------------------------------------------------------------
// Seasons

namespace {

/// 0100 UTC on the last Sunday.
[[nodiscard]] constexpr std::int64_t season_change_s(int year, date::month month) {
    const date::sys_days day{date::year{year} / month / date::Sunday[date::last]};
    return static_cast<std::int64_t>(day.time_since_epoch().count()) * kDay_s + 3600;
}

constexpr auto kSeasons = 2 * std::size_t{kLastSeason_year - kFirstSeason_year + 1};

/// Start of every season, and the end of the last.
[[nodiscard]] constexpr std::array<std::int64_t, kSeasons + 1> season_starts() {
    std::array<std::int64_t, kSeasons + 1> starts{};
    for (std::size_t i = 0; i <= kSeasons; ++i) {
        const int year = kFirstSeason_year + static_cast<int>(i / 2);
        starts[i] = season_change_s(year, i % 2 == 0 ? date::March : date::October);
    }
    return starts;
}

constexpr std::array<std::int64_t, kSeasons + 1> kSeasonStarts_s = season_starts();

[[nodiscard]] std::int64_t count_of(double t_unix_s) {
    const auto* const after =
        std::ranges::upper_bound(kSeasonStarts_s, t_unix_s, {},
                                 [](std::int64_t start_s) { return static_cast<double>(start_s); });
    return after - kSeasonStarts_s.begin() - 1;  // -1: too early, kSeasons: too late
}

[[noreturn]] void refuse_season(const std::string& what) {
    throw InputError(what + " is outside the seasons A50 to B49, " + iso(kSeasonStarts_s.front()) +
                     "Z to " + iso(kSeasonStarts_s.back()) +
                     "Z: two digits stand for the years 1950-2049");
}

}  // namespace

SeasonSpan season_span(Season season) {
    if (season.year < kFirstSeason_year || season.year > kLastSeason_year) {
        refuse_season("year " + checks::text(season.year));
    }
    const auto i = 2 * static_cast<std::size_t>(season.year - kFirstSeason_year) +
                   (season.half == Half::kB ? 1U : 0U);
    return {
        .begin = sys_seconds{seconds{kSeasonStarts_s.at(i)}},
        .end = sys_seconds{seconds{kSeasonStarts_s.at(i + 1)}},
    };
}

Season parse_season(std::string_view name) {
    if (name.size() != 3 || (name[0] != 'A' && name[0] != 'B') || !is_digit(name[1]) ||
        !is_digit(name[2])) {
        throw InputError("season '" + std::string(name) +
                         "' is not A or B and two digits, such as A27 (from the last Sunday of "
                         "March 2027) or B26 (from the last Sunday of October 2026)");
    }
    const int digits = 10 * (name[1] - '0') + (name[2] - '0');
    return {.year = digits >= 50 ? 1900 + digits : 2000 + digits,
            .half = name[0] == 'A' ? Half::kA : Half::kB};
}

Season season_of(sys_seconds t) {
    const std::int64_t t_s = t.time_since_epoch().count();
    const std::int64_t count = count_of(static_cast<double>(t_s));
    if (count < 0 || std::cmp_greater_equal(count, kSeasons)) {
        refuse_season("unix time " + checks::text(t_s) + " s");
    }
    return {.year = kFirstSeason_year + static_cast<int>(count / 2),
            .half = count % 2 == 0 ? Half::kA : Half::kB};
}

void season_count(std::span<const double> t_unix_s, std::span<std::int64_t> out_count) {
    checks::same_length("out_count", out_count.size(), t_unix_s.size());
    for (std::size_t i = 0; i < t_unix_s.size(); ++i) {
        if (std::isnan(t_unix_s[i])) {
            out_count[i] = -1;
            continue;
        }
        const std::int64_t count = count_of(t_unix_s[i]);
        if (count < 0 || std::cmp_greater_equal(count, kSeasons)) {
            refuse_season(element("t_unix_s", i, t_unix_s.size()) + " = " +
                          checks::text(t_unix_s[i]));
        }
        out_count[i] = count;
    }
}

}  // namespace farhear::clock
