#pragma once

#include <stdexcept>
#include <string>

namespace farhear {

/// Base of everything farhear throws on purpose.
class Error : public std::runtime_error {
  public:
    using std::runtime_error::runtime_error;
};

/// A value the caller gave is wrong. The text names argument, index, value and allowed range,
/// e.g. "lat1_deg[2] = 95 is outside [-90, 90]".
class InputError : public Error {
  public:
    using Error::Error;
};

}  // namespace farhear
