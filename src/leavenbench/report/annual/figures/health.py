"""How strong the cultures are: their levels in a year, and each against itself in the year before."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from ....care.year.captioned import count_of
from ...figures.style import DEEP, INK, MIDDLE, PALE, finished, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Width of a bar [%]; a level off the scale stands in the bar at its edge.
_BAR, _SCALE = 10.0, (0.0, 160.0)
#: How each verdict is drawn.
_VERDICTS = {
    "lower": ("v", MIDDLE),
    "higher": ("^", DEEP),
    "cannot tell": ("o", "white"),
}
#: On which side of its point a culture is named: away from those that did not change.
_NAMED_AT: dict[str, tuple[int, Any]] = {"lower": (6, "left"), "higher": (-6, "right")}


def plot_levels(vigour: pd.DataFrame, half_strength_pct: float, *, ax: Axes | None = None) -> Axes:
    """Draw how the levels of the living cultures are spread.

    Parameters
    ----------
    vigour : pandas.DataFrame
        The columns of ``RESULTS["year_vigour"]``.
    half_strength_pct : float
        The vigour [%] that counts as half strength.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Cultures by their level at the year's last round; baseline and half strength as lines.
    """
    from matplotlib.ticker import MaxNLocator

    ax = ax or new_axes(6.9, 3.0)
    levels = vigour["level_pct"].dropna()
    edges = np.arange(_SCALE[0], _SCALE[1] + _BAR, _BAR)
    shown = levels.clip(_SCALE[0], _SCALE[1] - 1e-9)
    ax.hist(shown, bins=list(edges), facecolor=PALE, edgecolor=INK, linewidth=0.6)
    ax.axvline(100.0, color=INK, linewidth=1.0, label="its own baseline")
    half = f"half strength, {half_strength_pct:g} %"
    ax.axvline(half_strength_pct, color=MIDDLE, linewidth=1.4, linestyle="--", label=half)
    ax.set_xlim(*_SCALE)
    ax.yaxis.set_major_locator(MaxNLocator(integer=True))
    ax.legend(loc="upper left", fontsize=8, frameon=False)
    middle = f", middle {levels.median():.0f} %" if len(levels) else ""
    title = f"Vigour at the last round of the year: {count_of(len(levels), 'culture')}{middle}"
    return finished(ax, title, "Vigour, shared causes out [% of its own baseline]", "Cultures")


def plot_change(vigour: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw each culture's year against its year before.

    Parameters
    ----------
    vigour : pandas.DataFrame
        The columns of ``RESULTS["year_vigour"]``.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A point per culture read in both years; those whose change is not chance have a shape of their own, and a name.
    """
    ax = ax or new_axes(6.9, 4.0)
    both = vigour.dropna(subset=["year_pct", "year_before_pct"])
    for verdict, (marker, shade) in _VERDICTS.items():
        own = both[both["verdict"] == verdict]
        look: dict[str, Any] = {
            "marker": marker,
            "color": shade,
            "markeredgecolor": INK,
            "linestyle": "none",
            "markersize": 6,
        }
        ax.plot(own["year_before_pct"], own["year_pct"], label=f"{verdict} ({len(own)})", **look)
    for row in both[both["verdict"].isin(_NAMED_AT)].to_dict("records"):
        place, (away, ha) = (row["year_before_pct"], row["year_pct"]), _NAMED_AT[row["verdict"]]
        ax.annotate(row["culture"], place, xytext=(away, 0), textcoords="offset points", ha=ha, va="center", fontsize=8)
    if len(both):
        ends = [both[["year_pct", "year_before_pct"]].min().min(), both[["year_pct", "year_before_pct"]].max().max()]
        ax.plot(ends, ends, color=INK, linewidth=0.8, label="as the year before")
        ax.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize=8, frameon=False)
    title = f"{count_of(len(both), 'culture')} against the year before"
    return finished(ax, title, "Vigour the year before [%]", "Vigour in the year [%]")
