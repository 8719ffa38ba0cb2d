#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/noise.hpp"

namespace farhear::bind {

void bind_noise(py::module_& m) { m.doc() = "noise"; }

}  // namespace farhear::bind
