#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/magnetic.hpp"

namespace farhear::bind {

void bind_magnetic(py::module_& m) { m.doc() = "magnetic"; }

}  // namespace farhear::bind
