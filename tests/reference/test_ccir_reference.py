"""The shipped CCIR tables against PyIRI's own reader of its own files (PyIRI 0.1.7, MIT)."""

from pathlib import Path

import numpy as np
import pytest

from farhear._data import read_bytes

PyIRI = pytest.importorskip("PyIRI")
main_library = pytest.importorskip("PyIRI.main_library")


@pytest.fixture(scope="module")
def tables() -> tuple[np.ndarray, np.ndarray]:
    fof2 = np.frombuffer(read_bytes("ccir", "ccir_fof2.f64"), dtype="<f8").reshape(12, 2, 76, 13)
    m3000 = np.frombuffer(read_bytes("ccir", "ccir_m3000.f64"), dtype="<f8").reshape(12, 2, 49, 9)
    return fof2, m3000


@pytest.mark.parametrize("month", range(1, 13))
def test_every_number_equals_the_reader_of_the_source(tables, month):
    coeff_dir = str(Path(PyIRI.__file__).parent / "coefficients")
    fof2, _, m3000, _ = main_library.read_ccir_ursi_coeff(month, coeff_dir)
    # PyIRI: [diurnal, geographic, level], dtype object in places
    assert np.array_equal(tables[0][month - 1], fof2.astype(np.float64).transpose(2, 1, 0))
    assert np.array_equal(tables[1][month - 1], m3000.astype(np.float64).transpose(2, 1, 0))


def test_first_and_last_numbers_as_printed_in_the_source(tables):
    # Source: ccir11.asc (January), first line and last line, fields of 15 characters.
    assert tables[0][0, 0, 0, :4].tolist() == [5.2396593, -0.056523629, -0.018704617, 0.012128915]
    assert tables[1][0, 1, 48, 7:].tolist() == [0.0046230308, 0.00080582756]


def test_months_and_levels_differ(tables):
    fof2, _ = tables
    assert len({fof2[m, level].tobytes() for m in range(12) for level in range(2)}) == 24
    # more sun, higher foF2: the constant term of the global mean, every month
    assert (fof2[:, 1, 0, 0] > fof2[:, 0, 0, 0] + 1.0).all()
