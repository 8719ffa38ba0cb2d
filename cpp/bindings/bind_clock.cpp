#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/clock.hpp"

namespace farhear::bind {

void bind_clock(py::module_& m) { m.doc() = "clock"; }

}  // namespace farhear::bind
