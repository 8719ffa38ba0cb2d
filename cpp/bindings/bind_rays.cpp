#include <pybind11/stl.h>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/rays.hpp"

namespace farhear::bind {

void bind_rays(py::module_& m) {
    m.def("placeholder", [] { return 0; });
}

}  // namespace farhear::bind
