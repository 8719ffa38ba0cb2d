#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/path.hpp"

namespace farhear::bind {

void bind_path(py::module_& m) { m.doc() = "path"; }

}  // namespace farhear::bind
