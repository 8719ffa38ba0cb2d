"""A table of transmitter sites: for schedules that name a site but not its place.

Columns (see :mod:`farhear.tables` for the form of the file)

============ ====== ===============================================================
column       needed meaning
============ ====== ===============================================================
site         yes    name or code; small and capital letters are the same
tx_lat_deg   no     north positive. [deg]
tx_lon_deg   no     east positive, -180 to 180. [deg]
same_as      no     another site of this table that this one is a second name of
============ ====== ===============================================================

A row has either both coordinates or `same_as`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from farhear.layouts import Layout, layout_of, read_cells
from farhear.tables import (
    Column,
    Faults,
    Table,
    near_name,
    number,
    parse_cells,
    plain_name,
    plain_text,
)

__all__ = ["Sites", "read_sites"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sites(Table):
    """Places of sites; second names have the coordinates of the first."""

    _places: Mapping[str, tuple[float, float]]

    def __len__(self) -> int:
        return len(self.frame)

    def place(self, site: str) -> tuple[float, float] | None:
        """Latitude and longitude of a site [deg], None when the table does not have it."""
        return self._places.get(plain_name(site))


def read_sites(
    path: str | Path,
    *,
    columns: Mapping[str, str] | None = None,
    encoding: str | None = None,
    delimiter: str | None = None,
    layout: Layout | str | Path | None = None,
) -> Sites:
    """Read a table of sites.

    Parameters
    ----------
    path
        File of the form described in this module; it is only read.
    columns, encoding, delimiter, layout
        As in :func:`farhear.schedule.read_schedule`.

    Returns
    -------
    Sites
        ``rows_read == len(frame) + number of rejected rows``. Refused are names that stand twice,
        second names of a site that is not there, and those that go round in a circle.

    Raises
    ------
    InputError
        When the file as a whole cannot be understood.
    OSError
        When the file cannot be opened.
    """
    how = layout_of(path, layout).said(columns=columns, encoding=encoding, delimiter=delimiter)
    cells = read_cells(path, layout=how)
    seen: dict[str, int] = {}

    def check_row(values: dict[str, Any], texts: dict[str, str], rejects: Faults, row: int) -> None:
        if not {"site", "tx_lat_deg", "tx_lon_deg", "same_as"} <= values.keys():
            return  # refused already
        first = seen.setdefault(plain_name(values["site"]), row)
        if first != row:
            rejects.add(row, "site", texts["site"], f"stands already in row {first}")
        missing = [values[name] is None for name in ("tx_lat_deg", "tx_lon_deg")]
        if values["same_as"] and not all(missing):
            reason = "a second name has no coordinates of its own"
            rejects.add(row, "same_as", values["same_as"], reason)
        elif not values["same_as"] and any(missing):
            rejects.add(row, "tx_lat_deg", "", "neither both coordinates nor same_as")

    frame, rejects, warnings = parse_cells(cells, _COLUMNS, check_row)
    frame, places = _resolved(frame, rejects)
    return Sites.of(cells, frame, rejects, warnings, _places=places)


_COLUMNS = (
    Column("site", plain_text(80)),
    Column(
        "tx_lat_deg",
        number(-90.0, 90.0, hint="latitude comes before longitude: are the two swapped?"),
        required=False,
        needed=False,
    ),
    Column("tx_lon_deg", number(-180.0, 180.0), required=False, needed=False),
    Column("same_as", plain_text(80), required=False, needed=False, empty=""),
)


def _resolved(
    frame: pd.DataFrame, rejects: Faults
) -> tuple[pd.DataFrame, dict[str, tuple[float, float]]]:
    """Give second names the place of the first; those without an end are refused."""
    rows = {plain_name(row["site"]): row for row in frame.to_dict("records")}
    places: dict[str, tuple[float, float]] = {}
    for name, row in rows.items():
        way = [row["site"]]
        at: dict[Any, Any] | None = row
        while at is not None and at["same_as"]:
            following = rows.get(plain_name(at["same_as"]))
            if following is None:
                hint = near_name(at["same_as"], [one["site"] for one in rows.values()])
                whose = f"{at['same_as']!r}, the same as {at['site']!r}: " if at is not row else ""
                reason = f"{whose}no site of this name, or it was refused{hint}"
                rejects.add(row["row"], "same_as", row["same_as"], reason)
            elif following["site"] in way:
                circle = " -> ".join([*way, following["site"]])
                rejects.add(row["row"], "same_as", row["same_as"], f"goes round: {circle}")
                following = None
            else:
                way.append(following["site"])
            at = following
        if at is not None:
            places[name] = (at["tx_lat_deg"], at["tx_lon_deg"])
    keep = np.array([plain_name(site) in places for site in frame["site"]], dtype=np.bool_)
    out = frame[keep].reset_index(drop=True)
    ends = [places[plain_name(site)] for site in out["site"]]
    return (
        pd.DataFrame(
            {
                "row": out["row"].astype("int64"),
                "site": out["site"].astype("str"),
                "tx_lat_deg": pd.Series([lat for lat, _ in ends], dtype="float64"),
                "tx_lon_deg": pd.Series([lon for _, lon in ends], dtype="float64"),
                "same_as": out["same_as"].astype("str"),
            }
        ),
        places,
    )
