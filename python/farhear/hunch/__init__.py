"""Verdicts on hunches, H1 to H8, that hold up.

====  ===========================  ==================================================
H1    :func:`first_at_dusk`        one band opens before another at dusk
H2    :func:`which_first`          which of several bands opens first
H3    :func:`follows_sunset`       the opening follows sunset through the season
H4    :func:`disturbed_nights`     magnetically disturbed nights hurt reception
H5    :func:`season_difference`    one season is better than another on a band
H6    :func:`matches_log`          the likelihood I was shown matches my log
H7    :func:`ears_or_band`         my misses are my ears, not the band
H8    :func:`antenna_change`       a change of antenna changed what I hear
====  ===========================  ==================================================

A rate or an opening from a log is a matter of traps: nights resemble their neighbours and those 27
nights off, so that a test that counts every night as news alarms too often; hours are chosen by the
listener; an opening is never seen, only the checks around it; a check that hears nothing is not a
closed band. So intervals come from leaving out, or drawing, whole nights in a row or whole weeks,
and logs with several setups are never put together.

Questions are written down first (:mod:`farhear.questions`) and put to a log together:

>>> import farhear as fh
>>> import numpy as np
>>> made = fh.simulate.season(np.random.default_rng(1), bands=["31 m", "49 m"],
...     opening_min={"31 m": 40.0, "49 m": 60.0})
>>> asked = fh.Question(hunch="H1", text="Does 31 m open before 49 m?",
...     parameters={"a": "31 m", "b": "49 m"}, written_utc="2020-01-01T00:00Z")
>>> found = fh.hunch.answers([asked], fh.hunch.Evidence.of(made.frame, made.station))
>>> [one.word for one in found.verdicts]
['SUPPORTED']
"""

from farhear.hunch.antennas import antenna_change
from farhear.hunch.asking import Answers, Evidence, answer, answers, explore
from farhear.hunch.conditions import SolarConditions, solar_conditions
from farhear.hunch.dusk import first_at_dusk
from farhear.hunch.ears import ears_or_band
from farhear.hunch.match import matches_log
from farhear.hunch.nights import disturbed_nights
from farhear.hunch.planning import EveningsNeeded, evenings_needed, order_for
from farhear.hunch.seasons import season_difference, winter_or_summer
from farhear.hunch.several import which_first
from farhear.hunch.sizes import decided_needed
from farhear.hunch.sunset import follows_sunset

__all__ = [
    "Answers",
    "EveningsNeeded",
    "Evidence",
    "SolarConditions",
    "answer",
    "answers",
    "antenna_change",
    "decided_needed",
    "disturbed_nights",
    "ears_or_band",
    "evenings_needed",
    "explore",
    "first_at_dusk",
    "follows_sunset",
    "matches_log",
    "order_for",
    "season_difference",
    "solar_conditions",
    "which_first",
    "winter_or_summer",
]
