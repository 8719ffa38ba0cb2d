#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/zone.hpp"

namespace farhear::bind {

void bind_zone(py::module_& m) { m.doc() = "zone"; }

}  // namespace farhear::bind
