"""Where the cultures come from: points on a grid of degrees, without any map to download."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from ...figures.style import DEEP, INK, MIDDLE, PALE, finished, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Grains are told apart by shape and lightness, over and over.
_MARKS: tuple[dict[str, Any], ...] = tuple(
    {"marker": marker, "color": shade, "markeredgecolor": INK}
    for shade in (DEEP, "white", MIDDLE, PALE)
    for marker in ("o", "s", "^", "D", "v", "P")
)
#: The picture is never narrower than so many degrees, nor taller than the earth.
_LEAST_DEG, _MARGIN = 4.0, 0.08


def plot_places(places: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw where living cultures come from, by the grain that they are kept on.

    Parameters
    ----------
    places : pandas.DataFrame
        The columns of ``RESULTS["year_places"]``: culture, latitude [deg], longitude [deg], grain.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Longitude against latitude, in proportion at the middle latitude. Several cultures of one place stand on each
        other; their number stands beside. Outlines of land are not drawn: none are at hand without a download.
    """
    ax = ax or new_axes(6.9, 4.2)
    known = places.dropna(subset=["latitude", "longitude"])
    by_grain = known.assign(grain=known["grain"].fillna("not noted")).groupby("grain", sort=True)
    for number, (grain, own) in enumerate(by_grain):
        look = _MARKS[number % len(_MARKS)]
        ax.plot(
            own["longitude"], own["latitude"], linestyle="none", markersize=6, label=f"{grain} ({len(own)})", **look
        )
    for (north, east), own in known.groupby(["latitude", "longitude"]):
        if len(own) > 1:
            ax.annotate(str(len(own)), (east, north), xytext=(5, 4), textcoords="offset points", fontsize=8)
    if len(known):
        _frame(ax, known)
        ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=5, fontsize=8, frameon=False)
    ax.grid(color=PALE, linewidth=0.6)
    ax.set_axisbelow(True)
    title = f"Where {len(known)} of {len(places)} living cultures come from"
    return finished(ax, title, "Longitude [° east]", "Latitude [° north]")


def _frame(ax: Axes, known: pd.DataFrame) -> None:
    for name, limit, put in (("longitude", 180.0, ax.set_xlim), ("latitude", 90.0, ax.set_ylim)):
        low, high = known[name].min(), known[name].max()
        half = (0.5 + _MARGIN) * max(high - low, _LEAST_DEG)
        put(max(0.5 * (low + high) - half, -limit), min(0.5 * (low + high) + half, limit))
    middle = np.radians(known["latitude"].mean())
    ax.set_aspect(1.0 / max(float(np.cos(middle)), 0.2))
