#pragma once

#include <pybind11/pybind11.h>

namespace farhear::bind {

void bind_clock(pybind11::module_& m);
void bind_path(pybind11::module_& m);
void bind_zone(pybind11::module_& m);
void bind_sun(pybind11::module_& m);
void bind_magnetic(pybind11::module_& m);
void bind_ionosphere(pybind11::module_& m);
void bind_noise(pybind11::module_& m);
void bind_losses(pybind11::module_& m);
void bind_antenna(pybind11::module_& m);
void bind_listening(pybind11::module_& m);
void bind_skywave(pybind11::module_& m);
void bind_sporadic(pybind11::module_& m);
void bind_rays(pybind11::module_& m);
void bind_circuit(pybind11::module_& m);
void bind_lightning(pybind11::module_& m);
void bind_reception(pybind11::module_& m);

}  // namespace farhear::bind
