"""farhear: what can be heard on the shortwave broadcast bands from here, when, and why not."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from farhear import clock, ionosphere, magnetic, noise, path, reception, skywave, sun
from farhear._core import __version__
from farhear.errors import FarhearError, FarhearWarning, InputError
from farhear.times import UtcTimes, utc

if TYPE_CHECKING:
    from farhear import (
        adif,
        agreement,
        antenna,
        audit,
        band,
        bundle,
        calibrate,
        cards,
        charts,
        club,
        club_large,
        combined,
        coverage,
        evenings,
        forecast,
        hunch,
        indices,
        layouts,
        lightning,
        listening,
        log,
        losses,
        page,
        predictions,
        privacy,
        questions,
        rays,
        reliability,
        report,
        rules,
        scoring,
        simulate,
        skill,
        sporadic,
        verdicts,
        zone,
    )
    from farhear.evening import Plan, plan
    from farhear.folder import read_season, write_season
    from farhear.identification import identify
    from farhear.indices import load_indices, read_indices
    from farhear.log import Log, append_check, read_log, write_log
    from farhear.questions import Question
    from farhear.schedule import Schedule, read_schedule
    from farhear.season import season_study
    from farhear.sites import read_sites
    from farhear.station import Station, read_station
    from farhear.study import Study
    from farhear.verification import verify

__all__ = [
    "FarhearError",
    "FarhearWarning",
    "InputError",
    "Log",
    "Plan",
    "Question",
    "Schedule",
    "Station",
    "Study",
    "UtcTimes",
    "__version__",
    "adif",
    "agreement",
    "antenna",
    "append_check",
    "audit",
    "band",
    "bundle",
    "calibrate",
    "cards",
    "charts",
    "clock",
    "club",
    "club_large",
    "combined",
    "coverage",
    "evenings",
    "forecast",
    "hunch",
    "identify",
    "indices",
    "ionosphere",
    "layouts",
    "lightning",
    "listening",
    "load_indices",
    "log",
    "losses",
    "magnetic",
    "noise",
    "page",
    "path",
    "plan",
    "predictions",
    "privacy",
    "questions",
    "rays",
    "read_indices",
    "read_log",
    "read_schedule",
    "read_season",
    "read_sites",
    "read_station",
    "reception",
    "reliability",
    "report",
    "rules",
    "scoring",
    "season_study",
    "simulate",
    "skill",
    "skywave",
    "sporadic",
    "sun",
    "utc",
    "verdicts",
    "verify",
    "write_log",
    "write_season",
    "zone",
]

# What needs pandas, xarray or matplotlib is imported when it is first asked for.
_LATER = {
    "Log": "log",
    "Plan": "evening",
    "Question": "questions",
    "Schedule": "schedule",
    "Station": "station",
    "Study": "study",
    "append_check": "log",
    "identify": "identification",
    "load_indices": "indices",
    "plan": "evening",
    "read_indices": "indices",
    "read_log": "log",
    "read_schedule": "schedule",
    "read_season": "folder",
    "read_sites": "sites",
    "read_station": "station",
    "season_study": "season",
    "verify": "verification",
    "write_log": "log",
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
