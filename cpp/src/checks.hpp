#pragma once
// Argument checks shared by the subjects. Private to the core.

#include <cstddef>
#include <span>
#include <sstream>
#include <string>
#include <string_view>

#include "farhear/error.hpp"

namespace farhear::checks {

/// Text of one value, enough digits to recognise it. (<format> is not in gcc 12.)
template <typename Number>
[[nodiscard]] std::string text(Number value) {
    std::ostringstream out;
    out.precision(12);
    out << value;
    return out.str();
}

/// @throws InputError unless `length` equals `expected`.
inline void same_length(std::string_view name, std::size_t length, std::size_t expected) {
    if (length != expected) {
        throw InputError(std::string(name) + " has " + text(length) + " elements, expected " +
                         text(expected));
    }
}

/// @throws InputError naming the first element outside [low, high]. NaN passes: it means missing.
inline void within(std::string_view name, std::span<const double> values, double low, double high) {
    for (std::size_t i = 0; i < values.size(); ++i) {
        if (values[i] < low || values[i] > high) {
            std::string where(name);
            if (values.size() != 1) {
                where.append("[").append(text(i)).append("]");
            }
            throw InputError(where + " = " + text(values[i]) + " is outside [" + text(low) + ", " +
                             text(high) + "]");
        }
    }
}

}  // namespace farhear::checks
