#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/sun.hpp"

namespace farhear::bind {

void bind_sun(py::module_& m) { m.doc() = "sun"; }

}  // namespace farhear::bind
