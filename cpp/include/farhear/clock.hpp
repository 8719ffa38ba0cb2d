#pragma once
// Civil time: zones, wall clocks, broadcast seasons.
//
// Instants are seconds since 1970-01-01T00:00Z without leap seconds (POSIX), `double t_unix_s` in
// arrays; wall-clock readings are seconds since 1970-01-01T00:00 of the same clock, `wall_s`. In
// scalars the two are different types (sys_seconds, local_seconds), so that mixing them does not
// compile. NaN means missing and passes through every array function.

#include <array>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "farhear/error.hpp"

namespace farhear::clock {

/// First instant served, 1900-01-01T00:00Z, and the first one after the last, 2101-01-01T00:00Z.
inline constexpr double kFirst_unix_s = -2208988800.0;
inline constexpr double kEnd_unix_s = 4133980800.0;
/// What a wall reading means where there is none (an int64 array for numpy: NaT).
inline constexpr std::int64_t kMissingWall_s = INT64_MIN;

/// Which instant a wall reading means that the clock shows twice.
enum class Ambiguous : std::uint8_t { kRaise, kEarlier, kLater };
/// What to do with a wall reading that the clock skips. kShift moves it forward by the length of
/// the gap: 02:30 in a gap from 02:00 to 03:00 is read as 03:30.
enum class Missing : std::uint8_t { kRaise, kShift };

namespace detail {
/// One entry of a zone's direct index: a change, and the offsets before and after it. [s]
struct Bucket {
    std::int64_t change_s = 0;
    std::array<std::int32_t, 2> biased_s = {0, 0};
};
}  // namespace detail

/// One time zone in the years 1900-2100: all its changes of offset in one sorted table, and a
/// direct index on it. Immutable, so one object may be used from many threads.
///
/// Source of the format: RFC 9636 (TZif versions 1 to 4); the text at the end of the file: POSIX.1
/// TZ with the extensions of RFC 9636, 3.3.1 (hours -167 to 167, summer time all year).
///
/// - Versions 2 to 4: the 64-bit block is used. After its last change the rule at the end of the
///   file holds, to the end of 2100. Files with the rule only ("slim") and files with the changes
///   to 2037 written out ("fat") give the same table.
/// - Before the first change type 0 holds (RFC 9636, 3.2).
/// - A file without a rule (version 1, or an empty last line) says nothing after its last change:
///   the last offset is kept to 2038-01-19T03:14:07Z, the end of 32-bit time, and later instants
///   are refused.
/// - Files that count leap seconds ("right/...") are refused.
/// - Instants count to the microsecond: less than 1 us before a whole second may be that second
///   (float64 holds today's instants to 0.24 us).
/// - Changes of name or of the summer-time flag only are dropped: the offset is what counts.
class Zone {
  public:
    /// @param name  for error texts.
    /// @param tzif  the whole file.
    /// @throws InputError on damaged bytes: what is wrong and at which byte. Every count is checked
    ///         against the length before anything is allocated.
    Zone(std::string name, std::span<const std::byte> tzif);

    [[nodiscard]] const std::string& name() const noexcept { return name_; }
    /// The rule at the end of the file, e.g. "EET-2EEST,M3.5.0/3,M10.5.0/4"; empty if none.
    [[nodiscard]] const std::string& rule() const noexcept { return rule_; }
    /// Instants at which the offset changes, sorted. [s] They reach two days beyond the years.
    [[nodiscard]] std::span<const std::int64_t> changes_unix_s() const noexcept { return at_; }
    /// Offsets, east positive: one more than changes, element i holds before change i. [s]
    [[nodiscard]] std::span<const std::int32_t> offsets_s() const noexcept { return offset_; }

    /// @throws InputError outside the years 1900-2100.
    [[nodiscard]] std::chrono::local_seconds to_local(std::chrono::sys_seconds t) const;
    /// @throws InputError on a reading that is skipped or shown twice, by the two policies, or
    ///         outside the years 1900-2100.
    [[nodiscard]] std::chrono::sys_seconds to_utc(std::chrono::local_seconds wall,
                                                  Ambiguous ambiguous = Ambiguous::kRaise,
                                                  Missing missing = Missing::kRaise) const;

    /// Offset of local time from UTC, east positive. [s] NaN gives NaN.
    /// @throws InputError on unequal lengths, and on an instant outside 1900-2100 (names it).
    void offset_s(std::span<const double> t_unix_s, std::span<double> out_s) const;
    /// Wall readings in whole seconds (a fraction is dropped, downwards). NaN gives kMissingWall_s.
    /// @throws InputError as offset_s.
    void to_local(std::span<const double> t_unix_s, std::span<std::int64_t> wall_s) const;
    /// Instants of wall readings; fractions of a second are kept. NaN gives NaN.
    /// @throws InputError as the scalar form: names index, reading, zone and both instants.
    void to_utc(std::span<const double> wall_s, Ambiguous ambiguous, Missing missing,
                std::span<double> out_unix_s) const;
    /// First instant at which the wall clock shows `wall_s` or later: the reading itself, the
    /// earlier of two, or the end of the gap it falls into. Midnights give the bounds of days.
    /// NaN gives NaN. @throws InputError on unequal lengths or beyond the years 1900-2100, where
    /// 2101-01-01T00:00Z itself and up to 26 h around the ends are allowed.
    void first_instant(std::span<const double> wall_s, std::span<double> out_unix_s) const;

  private:
    struct Candidates;

    void read(std::span<const std::byte> tzif);
    void build_index();
    [[nodiscard]] std::size_t regime(std::int64_t t_unix_s) const noexcept;
    [[nodiscard]] Candidates candidates(std::int64_t wall_s) const noexcept;
    [[nodiscard]] double resolve(double wall_s, Ambiguous ambiguous, Missing missing,
                                 const std::string& label) const;
    /// Offset of every instant: put(i, at_s, offset_s), or miss(i) for NaN.
    template <typename Put, typename Miss, typename Run>
    void convert(std::span<const double> t_unix_s, const Put& put, const Miss& miss,
                 const Run& run) const;
    /// Whether all instants lie between the same two changes of the clock; gives their offset.
    [[nodiscard]] bool within_a_regime(std::span<const double> t_unix_s,
                                       std::int64_t* offset_s) const;
    void require_served(std::span<const double> t_unix_s) const;

    std::string name_;
    std::string rule_;
    std::vector<std::int64_t> at_;
    std::vector<std::int32_t> offset_;
    std::vector<detail::Bucket> by_utc_;
    bool plain_ = false;  // no bucket of by_utc_ holds more than one change
    std::vector<detail::Bucket> by_wall_;
    double end_unix_s_ = kEnd_unix_s;
};

/// Broadcast seasons. A runs from the last Sunday of March, 0100 UTC, to the last Sunday of
/// October, 0100 UTC; B is the rest and bears the year in which it starts (January 2027 is in B26).
/// Source: ITU Radio Regulations, Article 12, as used since 1999; applied to all years here.
/// Two digits stand for 1950-2049, so the first season is A50 and the last B49 (to March 2050).
enum class Half : std::uint8_t { kA, kB };
struct Season {
    int year;
    Half half;
    friend bool operator==(const Season&, const Season&) = default;
};
struct SeasonSpan {
    std::chrono::sys_seconds begin;
    std::chrono::sys_seconds end;  ///< first instant of the next season
};
inline constexpr int kFirstSeason_year = 1950;
inline constexpr int kLastSeason_year = 2049;

/// @throws InputError outside A1950 .. B2049.
[[nodiscard]] SeasonSpan season_span(Season season);
/// "A27", "B26". @throws InputError saying what is allowed.
[[nodiscard]] Season parse_season(std::string_view name);
/// @throws InputError outside the seasons A1950 .. B2049.
[[nodiscard]] Season season_of(std::chrono::sys_seconds t);
/// Seasons counted from A1950 = 0, B1950 = 1, A1951 = 2 ...; NaN gives -1.
/// @throws InputError on unequal lengths and on an instant outside the seasons (names it).
void season_count(std::span<const double> t_unix_s, std::span<std::int64_t> out_count);

}  // namespace farhear::clock
