"""Settings and helpers that hold for every test."""

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from hypothesis import settings

from farhear import cli
from farhear.indices import Indices, load_indices

# The gate draws the same examples on every machine; by hand they are fresh each time.
settings.register_profile("gate", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None)
settings.load_profile("explore")


@pytest.fixture(scope="session")
def invented_record() -> Callable[..., Indices]:
    """Make a daily record of invented fluxes from a first day on, some of the days taken out."""

    def made(first: str, flux: np.ndarray, gone: slice = slice(0, 0)) -> Indices:
        shipped = load_indices().frame
        frame = pd.DataFrame(np.nan, index=range(flux.size), columns=shipped.columns).astype(object)
        frame["date"] = pd.date_range(first, periods=flux.size).astype("datetime64[ns]")
        frame["f107_obs_sfu"] = flux
        frame["status"], frame["source"] = "observed", "invented"
        frame = frame.drop(index=range(flux.size)[gone]).reset_index(drop=True)
        return Indices(frame, shipped.iloc[:0], len(frame), (), "an invented record")

    return made


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    """Call the command line in an empty folder: status, standard output, error output."""
    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        status = cli.main([str(a) for a in arguments])
        captured = capsys.readouterr()
        return status, captured.out, captured.err

    return call
