// Table of contents of the extension. No arithmetic, no defaults, no user documentation: those are
// in the Python face.

#include <pybind11/pybind11.h>

#include "bindings.hpp"
#include "farhear/error.hpp"

namespace py = pybind11;

PYBIND11_MODULE(_core, m, py::mod_gil_not_used()) {
    m.attr("__version__") = FARHEAR_VERSION;
    m.attr("build") = FARHEAR_BUILD;
    const auto base = py::register_exception<farhear::Error>(m, "FarhearError");
    py::register_exception<farhear::InputError>(m, "InputError",
                                                py::make_tuple(base, py::handle(PyExc_ValueError)));

    auto clock = m.def_submodule("clock");
    farhear::bind::bind_clock(clock);
    auto path = m.def_submodule("path");
    farhear::bind::bind_path(path);
    auto zone = m.def_submodule("zone");
    farhear::bind::bind_zone(zone);
    auto sun = m.def_submodule("sun");
    farhear::bind::bind_sun(sun);
    auto magnetic = m.def_submodule("magnetic");
    farhear::bind::bind_magnetic(magnetic);
    auto ionosphere = m.def_submodule("ionosphere");
    farhear::bind::bind_ionosphere(ionosphere);
    auto noise = m.def_submodule("noise");
    farhear::bind::bind_noise(noise);
    auto losses = m.def_submodule("losses");
    farhear::bind::bind_losses(losses);
    auto antenna = m.def_submodule("antenna");
    farhear::bind::bind_antenna(antenna);
    auto listening = m.def_submodule("listening");
    farhear::bind::bind_listening(listening);
    auto skywave = m.def_submodule("skywave");
    farhear::bind::bind_skywave(skywave);
    auto sporadic = m.def_submodule("sporadic");
    farhear::bind::bind_sporadic(sporadic);
    auto rays = m.def_submodule("rays");
    farhear::bind::bind_rays(rays);
    auto circuit = m.def_submodule("circuit");
    farhear::bind::bind_circuit(circuit);
    auto lightning = m.def_submodule("lightning");
    farhear::bind::bind_lightning(lightning);
    auto reception = m.def_submodule("reception");
    farhear::bind::bind_reception(reception);
}
