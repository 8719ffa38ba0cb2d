"""The shipped maps and magnetic field, loaded once, and how they are driven."""

from functools import cache

import numpy as np

from farhear import _core, _data, magnetic


@cache
def maps() -> _core.ionosphere.Maps:
    """Return the CCIR coefficients of all months."""
    fof2 = np.frombuffer(_data.read_bytes("ccir", "ccir_fof2.f64"), dtype="<f8").astype(np.float64)
    m3000 = np.frombuffer(_data.read_bytes("ccir", "ccir_m3000.f64"), dtype="<f8").astype(
        np.float64
    )
    return _core.ionosphere.Maps(fof2, m3000)


def field() -> _core.magnetic.Model:
    """Return the magnetic field model."""
    return magnetic.model()


def drive(
    *, saturate: bool = True, field_year: float | None = None, foe_form: str = "b"
) -> _core.ionosphere.Drive:
    """Return how the maps are driven; see `farhear.ionosphere.characteristics`."""
    if foe_form not in {"a", "b"}:
        raise _core.InputError(f"foe_form = {foe_form!r} is neither 'a' nor 'b'")
    year = np.nan if field_year is None else float(field_year)
    return _core.ionosphere.Drive(
        saturate=bool(saturate), field_year=year, foe_form_a=foe_form == "a"
    )


@cache
def models() -> _core.circuit.Models:
    """Return all that the sky-wave modes rest on."""
    from farhear import losses, sporadic

    return _core.circuit.Models(maps(), field(), sporadic.maps(), losses.land())
