#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/ionosphere.hpp"

namespace farhear::bind {

void bind_ionosphere(py::module_& m) { m.doc() = "ionosphere"; }

}  // namespace farhear::bind
