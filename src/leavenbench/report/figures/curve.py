"""One curve: readings, fit and band, and what a baker reads off it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...curves import Trace, signals, trace
from ...records.collection import Collection
from .style import DEEP, INK, PALE, finished, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_Z95 = 1.959963984540054
_Y_LABEL = {"rise": "Rise over the start [%]", "acid": "pH"}


def plot_curve(collection: Collection, refeed: str, signal: str = "rise", *, ax: Axes | None = None) -> Axes:
    """Draw the activity curve of one refeed.

    Parameters
    ----------
    collection : Collection
        The records.
    refeed : str
        Which refeed.
    signal : str
        rise or acid.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Readings as open circles, one set aside crossed out; the fit as a line with its pointwise 95 % band; the ripe
        window shaded.

    Raises
    ------
    KeyError
        There is no such refeed.
    """
    fed = collection["refeeds"].set_index("refeed").loc[refeed]
    own = collection["readings"][collection["readings"]["refeed"] == refeed]
    refeeds = collection["refeeds"][collection["refeeds"]["refeed"] == refeed]
    read = signals(own, refeeds, collection["vessels"])
    read = read[read["signal"] == signal]
    ax = ax or new_axes()
    title = f"{fed['culture']}, fed {fed['fed_at']:%d %B %Y}, step {fed['step']}"
    if read.empty:
        ax.text(0.5, 0.5, f"no {_Y_LABEL[signal].split(' ')[0].lower()} was read", ha="center", transform=ax.transAxes)
        return finished(ax, title, "Time since feeding [h]", _Y_LABEL[signal])
    hours, values = read["elapsed_h"].to_numpy(), read["value"].to_numpy()
    found = trace(hours, values, str(read["kind"].iloc[0]))
    draw_trace(ax, hours, values, found, signal)
    ax.legend(loc="best", fontsize=8, frameon=False)
    told = f"{title}\n{found.readings} readings, {found.status}" + (f", {found.model}" if found.model else "")
    return finished(ax, told, "Time since feeding [h]", _Y_LABEL[signal])


def draw_trace(ax: Axes, hours: np.ndarray, values: np.ndarray, found: Trace, signal: str) -> None:
    """Draw readings, fit, band and ripe window; a rise in % of its start."""
    start = _start(values, found) if signal == "rise" else np.nan

    def shown(level: np.ndarray) -> np.ndarray:
        return 100.0 * (np.asarray(level) / start - 1.0) if signal == "rise" else np.asarray(level)

    ax.plot(hours, shown(values), "o", color=INK, markerfacecolor="white", markersize=4.5, label="readings", zorder=3)
    if found.set_aside is not None:
        hour, value = found.set_aside
        ax.plot(hour, shown(np.array(value)), "x", color=INK, markersize=9, label="set aside as misread", zorder=4)
    if found.choice is None:
        _leave_room(ax, signal)
        return
    fine = np.linspace(0.0, found.until_h, 300)  # no further than the readings behind the fit
    level, error = found.level(fine), _Z95 * found.level_se(fine)
    ax.plot(fine, shown(level), color=DEEP, linewidth=1.8, label="fitted curve")
    if np.isfinite(error).all():
        ax.fill_between(fine, shown(level - error), shown(level + error), color=PALE, zorder=0, label="95 % band")
    ripe = [found.traits[name].value for name in ("ripe_from_h", "ripe_until_h") if name in found.traits]
    if len(ripe) == 2 and np.isfinite(ripe).all():
        ax.axvspan(ripe[0], ripe[1], ymax=0.03, color=INK, label="ripe", linewidth=0)


def _start(values: np.ndarray, found: Trace) -> float:
    """Return the level that a rise is measured from: as fitted, else the first reading."""
    line = found.traits["start_height_mm"].value if "start_height_mm" in found.traits else np.nan
    return next(float(level) for level in (found.start, line, values[0]) if np.isfinite(level) and level > 0.0)


def _leave_room(ax: Axes, signal: str) -> None:
    """Keep a jar in which nothing happened from looking busy: noise does not fill the axes."""
    low, high = ax.get_ylim()
    ax.set_ylim((min(low, -20.0), max(high, 100.0)) if signal == "rise" else (min(low, 3.5), max(high, 6.5)))
