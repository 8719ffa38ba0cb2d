#pragma once
// Argument checks shared by the subjects. Private to the core.

#include <cstddef>
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

}  // namespace farhear::checks
