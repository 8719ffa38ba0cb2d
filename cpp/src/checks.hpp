#pragma once
// Argument checks shared by the subjects. Private to the core.

#include <cstddef>
#include <cstdint>
#include <span>
#include <sstream>
#include <string>
#include <string_view>

#include "farhear/error.hpp"

namespace farhear::checks {

/// The parts one after the other, numbers with enough digits to recognise them. (<format> is not in
/// gcc 12, and joining strings with + trips a false -Wrestrict there.)
template <typename... Parts>
[[nodiscard]] std::string text(const Parts&... parts) {
    std::ostringstream out;
    out.precision(12);
    (out << ... << parts);
    return out.str();
}

/// @throws InputError unless `length` equals `expected`.
inline void same_length(std::string_view name, std::size_t length, std::size_t expected) {
    if (length != expected) {
        throw InputError(text(name, " has ", length, " elements, expected ", expected));
    }
}

/// @throws InputError naming the first element outside [low, high]. NaN passes: it means missing.
inline void within(std::string_view name, std::span<const double> values, double low, double high) {
    for (std::size_t i = 0; i < values.size(); ++i) {
        if (values[i] < low || values[i] > high) {
            const std::string index = values.size() == 1 ? "" : text('[', i, ']');
            throw InputError(
                text(name, index, " = ", values[i], " is outside [", low, ", ", high, ']'));
        }
    }
}

/// Instants farther from 1970 than this have no meaning to any model; float64 still tells their
/// tenths of a millisecond. [s]
inline constexpr double kFarthest_s = 1e11;

/// Which row of a first table meets which row of a second: by two index columns, or, with both
/// empty, every row of the first with every row of the second, [first][second].
class Pairs {
  public:
    struct Pair {
        std::size_t first;
        std::size_t second;
    };
    /// @throws InputError on index columns of unequal length or an index outside its table.
    Pairs(std::size_t first_count, std::size_t second_count,
          std::span<const std::int64_t> first_index, std::span<const std::int64_t> second_index)
        : second_count_(second_count), first_(first_index), second_(second_index) {
        same_length("second index", second_index.size(), first_index.size());
        size_ = first_index.empty() ? first_count * second_count : first_index.size();
        const auto in = [](std::int64_t index, std::size_t count) {
            return index >= 0 && static_cast<std::size_t>(index) < count;
        };
        for (std::size_t i = 0; i < first_index.size(); ++i) {
            if (!in(first_index[i], first_count) || !in(second_index[i], second_count)) {
                throw InputError(text("pair ", i, " points outside the tables"));
            }
        }
    }
    [[nodiscard]] std::size_t size() const noexcept { return size_; }
    [[nodiscard]] Pair operator[](std::size_t i) const noexcept {
        if (first_.empty()) {
            return {i / second_count_, i % second_count_};
        }
        return {static_cast<std::size_t>(first_[i]), static_cast<std::size_t>(second_[i])};
    }

  private:
    std::size_t second_count_;
    std::size_t size_ = 0;
    std::span<const std::int64_t> first_;
    std::span<const std::int64_t> second_;
};

}  // namespace farhear::checks
