"""What a season brings along as a Dataset: `season.farhear.plot.hours()`, `season.farhear.weeks()`.

Imported by whatever makes or reads a season, so that it is there when a season is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import xarray as xr

if TYPE_CHECKING:
    import pandas as pd

    from farhear.charts.pictures import SeasonPictures

__all__ = ["SeasonAccessor"]


class SeasonAccessor:
    """Charts and tables of a season."""

    def __init__(self, season: xr.Dataset) -> None:
        self._season = season

    @property
    def plot(self) -> SeasonPictures:
        """Charts: `hours(band)`, `dusk()`."""
        from farhear.charts.pictures import SeasonPictures

        return SeasonPictures(self._season)

    def weeks(self) -> pd.DataFrame:
        """Each band by ISO week; see :func:`farhear.season.band_weeks`."""
        from farhear.season import band_weeks

        return band_weeks(self._season)

    def summary(self) -> pd.DataFrame:
        """Each band over the season; see :func:`farhear.season.summary`."""
        from farhear.season import summary

        return summary(self._season)


_register: Any = xr.register_dataset_accessor  # has no types
_register("farhear")(SeasonAccessor)
