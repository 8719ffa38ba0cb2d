#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/reception.hpp"

namespace farhear::bind {

void bind_reception(py::module_& m) { m.doc() = "reception"; }

}  // namespace farhear::bind
