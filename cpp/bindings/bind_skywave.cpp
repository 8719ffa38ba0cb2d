#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/skywave.hpp"

namespace farhear::bind {

void bind_skywave(py::module_& m) { m.doc() = "skywave"; }

}  // namespace farhear::bind
