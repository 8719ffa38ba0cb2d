"""farhear: what can be heard on the shortwave broadcast bands from here, when, and why not."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from farhear import clock, ionosphere, magnetic, noise, path, reception, skywave, sun
from farhear._core import __version__
from farhear.errors import FarhearError, FarhearWarning, InputError
from farhear.times import UtcTimes, utc

if TYPE_CHECKING:
    from farhear import (
        antenna,
        band,
        charts,
        combined,
        forecast,
        indices,
        lightning,
        listening,
        losses,
        rays,
        rules,
        scoring,
        skill,
        sporadic,
        zone,
    )
    from farhear.folder import write_season
    from farhear.indices import load_indices, read_indices
    from farhear.schedule import Schedule, read_schedule
    from farhear.season import season_study
    from farhear.station import Station, read_station

__all__ = [
    "FarhearError",
    "FarhearWarning",
    "InputError",
    "Schedule",
    "Station",
    "UtcTimes",
    "__version__",
    "antenna",
    "band",
    "charts",
    "clock",
    "combined",
    "forecast",
    "indices",
    "ionosphere",
    "lightning",
    "listening",
    "load_indices",
    "losses",
    "magnetic",
    "noise",
    "path",
    "rays",
    "read_indices",
    "read_schedule",
    "read_station",
    "reception",
    "rules",
    "scoring",
    "season_study",
    "skill",
    "skywave",
    "sporadic",
    "sun",
    "utc",
    "write_season",
    "zone",
]

# What needs pandas, xarray or matplotlib is imported when it is first asked for.
_LATER = {
    "Schedule": "schedule",
    "Station": "station",
    "load_indices": "indices",
    "read_indices": "indices",
    "read_schedule": "schedule",
    "read_station": "station",
    "season_study": "season",
    "write_season": "folder",
}


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'farhear' has no attribute {name!r}")
    if name in _LATER:
        return getattr(import_module(f"farhear.{_LATER[name]}"), name)
    return import_module(f"farhear.{name}")


def __dir__() -> list[str]:
    return sorted(__all__)
