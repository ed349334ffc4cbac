"""The year ahead of a flour: what is left, when it ends, when to write to the mill."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from ...care.flour import Paths
from .style import DEEP, INK, PALE, finished, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: How far ahead is drawn [d].
_SHOWN_D = 365


def plot_flour_year(
    ahead: dict[str, Paths], ends: pd.DataFrame, flour: str, on: dt.date, *, ax: Axes | None = None
) -> Axes:
    """Draw what is left of a flour over the year to come.

    Parameters
    ----------
    ahead : dict of str to Paths
        As `care.flour.flour_ahead` makes it.
    ends : pandas.DataFrame
        As `care.flour.run_out` makes it.
    flour : str
        Which flour.
    on : datetime.date
        The day from which on.
    ax : matplotlib.axes.Axes, optional
        Where to draw.

    Returns
    -------
    matplotlib.axes.Axes
        The line is the middle of what is left and may be fed, the band holds it in eight of ten cases.
    """
    axes = new_axes() if ax is None else ax
    days = pd.date_range(on, periods=_SHOWN_D)
    low, middle, high = np.quantile(ahead[flour].left_g[:, :_SHOWN_D], [0.1, 0.5, 0.9], axis=0) / 1000.0
    axes.fill_between(days, low, high, color=PALE, step="post", label="eight of ten cases")
    axes.step(days, middle, color=DEEP, where="post", label="what is left, the middle")
    row = ends.set_index("flour").loc[flour]
    top = max(float(high.max()), 1e-3)
    for name, words, place in (("write_by", "write to the mill", 0.95), ("out_on", "no round can be fed", 0.75)):
        if pd.notna(row[name]) and days[0] <= row[name] <= days[-1]:
            axes.axvline(row[name], color=INK, linewidth=0.9, linestyle=":" if name == "write_by" else "--")
            axes.annotate(f"{words}\n{row[name]:%Y-%m-%d}", (row[name], place * top), xytext=(4, 0), fontsize=8,
                          textcoords="offset points", va="top")  # fmt: skip
    axes.set_ylim(0.0, 1.08 * top)
    axes.legend(loc="lower left", frameon=False, fontsize=8)
    title = f"{flour}: {row['usable_g'] / 1000:.1f} kg that may be fed\n{row['why']}"
    return finished(axes, title, "Date", "Flour left that may be fed [kg]")
