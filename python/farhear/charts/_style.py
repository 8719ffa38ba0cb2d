"""What the pictures share: type, colours, marks, hatches, and the way into a file.

Made for A5 on its side, for grey print and for eyes that do not tell red from green: series differ
in lightness, dash and mark as well as in hue, and areas in hatching as well as in tone. A file
carries its text in words and the digest of the table that it draws; no date, path or user. The same
picture gives the same bytes on one version of matplotlib.
"""

from __future__ import annotations

import hashlib
import html
import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
from matplotlib import patheffects
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from farhear._files import put
from farhear.errors import InputError

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "A5_IN",
    "DASHES",
    "HATCHES",
    "INK",
    "MARKS",
    "RC",
    "SERIES",
    "digest",
    "export",
    "table_text",
]

A5_IN = (8.27, 5.83)
"""A5 on its side. [inch]"""

INK = "#000000"
FAINT = "#595959"  # notes: 7:1 on white
LAND, COAST, GRID = "#ECE7DA", "#8C8678", "#BDBDBD"
SERIES = ("#000000", "#00507D", "#009E73")
"""Colours of lines; lightness (CIE L*) 0, 32 and 58, so that grey print tells them apart."""
DASHES: tuple[Any, ...] = ("-", (0, (5.0, 1.6)), (0, (1.4, 1.2)))
"""Dash of each line of :data:`SERIES`."""
MARKS = ("o", "s", "^")
"""Mark of each line of :data:`SERIES`."""
WAY = "#D55E00"  # the great circle on a map
TOTAL, GAIN, LOSS = "#3A3A3A", "#4F94C4", "#F2DDB0"
"""Bars of a budget."""
HATCHES = {"total": "", "gain": "", "loss": "////", "night": "////"}

RC: Any = {  # matplotlib types the names one by one
    "font.family": "DejaVu Sans",
    "font.size": 7.0,
    "axes.linewidth": 0.6,
    "axes.titlesize": 9.5,
    "axes.titleweight": "bold",
    "axes.labelsize": 7.5,
    "xtick.labelsize": 7.0,
    "ytick.labelsize": 7.0,
    "svg.hashsalt": "farhear",
    "svg.fonttype": "path",
    "pdf.fonttype": 42,
    "axes.unicode_minus": False,
    "text.parse_math": False,  # a dollar in a name is a dollar
    "path.simplify": True,
    "hatch.linewidth": 0.4,
}

_FORMATS = {".svg": "svg", ".png": "png", ".pdf": "pdf"}


def axes_in(ax: Axes | None, box: tuple[float, float, float, float]) -> Axes:
    """Return the caller's axes, or new ones in `box` of a new A5 figure (parts of its size)."""
    if ax is not None:
        return ax
    figure = Figure(figsize=A5_IN, dpi=300, facecolor="white")
    FigureCanvasAgg(figure)
    return figure.add_axes(box)


def halo(width: float = 2.0) -> list[Any]:
    """Return a white edge that keeps text and lines apart from what lies below. [pt]"""
    return [patheffects.withStroke(linewidth=width, foreground="white")]


def note(axis: Axes, text: str, below: float, left: float = 0.0) -> None:
    """Write lines under a picture: so far below its lower left corner, in parts of its size."""
    axis.text(
        left,
        -below,
        text,
        transform=axis.transAxes,
        va="top",
        fontsize=7.0,
        color=FAINT,
        linespacing=1.35,
    )


def empty(axis: Axes, text: str) -> None:
    """Say in the middle of the axes why there is nothing to see."""
    axis.text(
        0.5,
        0.5,
        text,
        transform=axis.transAxes,
        ha="center",
        va="center",
        fontsize=10.0,
        color=INK,
        bbox={"facecolor": "white", "edgecolor": INK, "linewidth": 0.6, "pad": 5.0},
        zorder=20,
    )


def table_text(data: pd.DataFrame) -> str:
    r"""Return a table as CSV: no index, ten figures, lines that end in \n."""
    return data.to_csv(index=False, float_format="%.10g", lineterminator="\n")


def digest(data: pd.DataFrame) -> str:
    """SHA-256 of :func:`table_text` in UTF-8, 64 hexadecimal figures."""
    return hashlib.sha256(table_text(data).encode()).hexdigest()


def export(drawn: Axes | Figure, path: str | Path, alt: str, data: pd.DataFrame) -> str:
    """Write a picture as SVG, PNG (300 dpi) or PDF, by the ending of the name.

    Parameters
    ----------
    drawn
        Axes or the whole figure; of axes the figure that they stand in.
    path
        File to write; an old one is replaced whole or stays.
    alt
        The picture in words, from the chart's own `..._alt`: title of the SVG, description of the
        PNG, subject of the PDF.
    data
        What is drawn, from the chart's own `..._data`.

    Returns
    -------
    str
        SHA-256 of the table (:func:`digest`), which the file has too: identifier of the SVG,
        Data-SHA-256 of the PNG, keyword of the PDF.

    Raises
    ------
    InputError
        On another ending, an empty text, or axes without a figure.
    OSError
        When the disk does not take it.
    """
    path = Path(path)
    kind = _FORMATS.get(path.suffix.lower())
    if kind is None:
        raise InputError(f"path ends in {path.suffix!r}, expected one of {', '.join(_FORMATS)}")
    if not alt.strip():
        raise InputError("alt is empty; a picture needs its text in words")
    figure = drawn.get_figure(root=True) if isinstance(drawn, Axes) else drawn
    if figure is None:
        raise InputError("drawn has no figure")
    sha256 = digest(data)
    stream = io.BytesIO()
    with mpl.rc_context(RC):
        figure.savefig(stream, format=kind, dpi=300, metadata=_metadata(kind, alt, sha256))
    put(path, _titled(stream.getvalue(), alt) if kind == "svg" else stream.getvalue())
    return sha256


def _metadata(kind: str, alt: str, sha256: str) -> dict[str, Any]:
    """Return what each format has a place for; dates are taken out."""
    if kind == "svg":
        return {
            "Date": None,
            "Creator": "farhear",
            "Description": alt,
            "Identifier": f"sha256:{sha256}",
        }
    if kind == "png":
        return {"Software": "farhear", "Description": alt, "Data-SHA-256": sha256}
    return {
        "Creator": "farhear",
        "Producer": "farhear",
        "CreationDate": None,
        "Subject": alt,
        "Keywords": f"sha256:{sha256}",
    }


def _titled(svg: bytes, alt: str) -> bytes:
    """Make the text in words the title element, which screen readers read."""
    text = svg.decode("utf-8")
    at = text.index(">", text.index("<svg"))
    title = f'{text[:at]} role="img">\n <title>{html.escape(alt)}</title>{text[at + 1 :]}'
    return title.replace("\r\n", "\n").encode()


def grouped(value: float) -> str:
    """Whole number with a comma between thousands."""
    return f"{np.round(value):,.0f}"
