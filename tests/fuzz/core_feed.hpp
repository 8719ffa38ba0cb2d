#pragma once
// What the fuzz targets of the core share. A target turns bytes into arguments, calls the core, and
// throws Broken where an answer goes against the header. A refusal (InputError) is a good answer.

#include <array>
#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <initializer_list>
#include <limits>
#include <span>
#include <stdexcept>
#include <string>
#include <vector>

#include "farhear/error.hpp"

namespace farhear::fuzz {

using Bytes = std::span<const std::uint8_t>;

/// An answer that the header rules out.
class Broken : public std::logic_error {
  public:
    using std::logic_error::logic_error;
};

inline void require(bool holds, const char* what) {
    if (!holds) {
        throw Broken(what);
    }
}

/// Numbers out of bytes; zeros when there are none left.
class Feed {
  public:
    explicit Feed(Bytes bytes) : bytes_(bytes) {}

    [[nodiscard]] bool empty() const { return at_ == bytes_.size(); }
    [[nodiscard]] std::uint8_t byte() { return empty() ? std::uint8_t{0} : bytes_[at_++]; }
    [[nodiscard]] bool flag() { return (byte() & 1U) != 0; }
    [[nodiscard]] std::size_t below(std::size_t count) { return byte() % count; }
    [[nodiscard]] std::uint64_t bits(std::size_t width) {
        std::uint64_t out = 0;
        for (std::size_t i = 0; i < width; ++i) {
            out = (out << 8U) | byte();
        }
        return out;
    }

    /// A number, three times of four within [low, high]; else an end of it, a special one, or any.
    [[nodiscard]] double number(double low, double high) {
        constexpr auto kInf = std::numeric_limits<double>::infinity();
        const std::uint8_t kind = byte();
        if (kind < 192) {
            return low + (high - low) * (static_cast<double>(bits(4)) / 4294967295.0);
        }
        const std::array<double, 14> special = {low,
                                                high,
                                                0.5 * (low + high),
                                                std::nextafter(low, -kInf),
                                                std::nextafter(high, kInf),
                                                std::numeric_limits<double>::quiet_NaN(),
                                                kInf,
                                                -kInf,
                                                0.0,
                                                -0.0,
                                                std::numeric_limits<double>::denorm_min(),
                                                -std::numeric_limits<double>::min(),
                                                std::numeric_limits<double>::max(),
                                                std::numeric_limits<double>::lowest()};
        const std::size_t which = kind - 192U;
        const double out = which < 2 * special.size() ? special[which % special.size()]
                                                      : std::bit_cast<double>(bits(8));
        within_ = within_ && out >= low && out <= high;
        return out;
    }
    [[nodiscard]] std::vector<double> numbers(std::size_t count, double low, double high) {
        std::vector<double> out(count);
        for (double& value : out) {
            value = number(low, high);
        }
        return out;
    }
    /// Whether every number so far was within its range.
    [[nodiscard]] bool within() const { return within_; }

  private:
    Bytes bytes_;
    std::size_t at_ = 0;
    bool within_ = true;
};

/// Whether a call is refused. Numbers within their ranges must not be.
template <typename Call>
[[nodiscard]] bool refused(const Call& call) {
    try {
        call();
    } catch (const InputError&) {
        return true;
    }
    return false;
}

inline void require_finite(std::span<const double> values, const char* what) {
    for (const double value : values) {
        require(std::isfinite(value), what);
    }
}
/// NaN passes.
inline void require_range(std::span<const double> values, double low, double high,
                          const char* what) {
    for (const double value : values) {
        require(!(value < low || value > high), what);
    }
}

/// Gives the bytes to the part of a target that the first of them picks.
inline void one_of(std::initializer_list<void (*)(Feed)> parts, Bytes bytes) {
    if (!bytes.empty()) {
        parts.begin()[bytes[0] % parts.size()](Feed(bytes.subspan(1)));  // NOLINT: within
    }
}

/// The targets, each in core_<name>.cpp.
void clock(Bytes bytes);
void columns(Bytes bytes);
void rays(Bytes bytes);
void sky(Bytes bytes);
void sun(Bytes bytes);
void zone(Bytes bytes);

}  // namespace farhear::fuzz
