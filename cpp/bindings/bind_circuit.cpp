#include <pybind11/stl.h>

#include "arrays.hpp"
#include "bindings.hpp"
#include "farhear/circuit.hpp"

namespace farhear::bind {

void bind_circuit(py::module_& m) {
    py::class_<circuit::Models>(m, "Models")
        .def(py::init([](const ionosphere::Maps& maps, const magnetic::Model& field,
                         const sporadic::Maps& es, const losses::Land& land) {
                 return circuit::Models{&maps, &field, &es, &land};
             }),
             py::arg("maps"), py::arg("field"), py::arg("es"), py::arg("land"),
             py::keep_alive<1, 2>(), py::keep_alive<1, 3>(), py::keep_alive<1, 4>(),
             py::keep_alive<1, 5>());
    py::class_<circuit::Options>(m, "Options")
        .def(py::init<>())
        .def_readwrite("f1", &circuit::Options::f1)
        .def_readwrite("focusing", &circuit::Options::focusing)
        .def_readwrite("sporadic_e", &circuit::Options::sporadic_e)
        .def_readwrite("low_angle", &circuit::Options::low_angle)
        .def_readwrite("penetration_db", &circuit::Options::penetration_db)
        .def_readwrite("scatter_db", &circuit::Options::scatter_db)
        .def_readwrite("most_focusing_db", &circuit::Options::most_focusing_db)
        .def_readwrite("auroral", &circuit::Options::auroral)
        .def_readwrite("es_dependence", &circuit::Options::es_dependence)
        .def_readwrite("high_ray", &circuit::Options::high_ray)
        .def_readwrite("absorption_scale", &circuit::Options::absorption_scale)
        .def_readwrite("other_loss_db", &circuit::Options::other_loss_db);
}

}  // namespace farhear::bind
