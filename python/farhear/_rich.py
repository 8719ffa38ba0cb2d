"""How results look in a notebook: a title, a few facts, some rows, what they rest on.

All text is escaped: what a log or a schedule says is shown, never run.
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    from farhear.tables import Table

__all__ = ["panel", "table_panel"]

_MOST_ROWS = 10
_MOST_CHARACTERS = 300


def panel(
    title: str,
    facts: Mapping[str, Any],
    frame: pd.DataFrame | None = None,
    notes: Iterable[str] = (),
) -> str:
    """Return HTML of a result; of a long table the first rows, the others counted."""
    parts = [f"<p><strong>{_text(title)}</strong></p>"]
    said = "<br>".join(f"{_text(name)}: {_text(value)}" for name, value in facts.items())
    if said:
        parts.append(f"<p>{said}</p>")
    if frame is not None and len(frame):
        parts.append(_table(frame.head(_MOST_ROWS)))
        if len(frame) > _MOST_ROWS:
            parts.append(f"<p>and {len(frame) - _MOST_ROWS} rows more</p>")
    parts += [f"<p><small>{_text(note)}</small></p>" for note in notes]
    return f"<div>{''.join(parts)}</div>"


def table_panel(title: str, table: Table, columns: list[str]) -> str:
    """Return HTML of what a reader gave back: nothing that was refused or doubted is hidden."""
    facts = {
        "read": f"{table.rows_read} rows of {table.source}",
        "accepted": len(table.frame),
        "refused": table.rows_rejected,
        "doubts": len(table.warnings),
    }
    notes = [
        f"refused: line {row}, {column} = {value}: {reason}"
        for row, column, value, reason in table.rejects.head(3).itertuples(index=False)
    ]
    frame = table.frame
    some = [name for name in columns if name in frame and frame[name].astype(str).ne("").any()]
    return panel(title, facts, frame[some], notes)


def _table(frame: pd.DataFrame) -> str:
    head = "".join(f'<th scope="col">{_text(name)}</th>' for name in frame.columns)
    rows = "".join(
        f"<tr>{''.join(f'<td>{_text(value)}</td>' for value in row)}</tr>"
        for row in frame.itertuples(index=False)
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _text(value: Any) -> str:
    if isinstance(value, float):
        value = "" if pd.isna(value) else f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"
    elif isinstance(value, pd.Timestamp):
        value = f"{value:%Y-%m-%d %H:%M}"
    elif value is None or value is pd.NaT:
        value = ""
    words = str(value)
    if len(words) > _MOST_CHARACTERS:
        words = words[:_MOST_CHARACTERS] + "\u2026"
    return html.escape(words)
