"""One curve: readings, fit and band, and what a baker reads off it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from ...curves import Known, Trace, signals, trace_signal
from ...records.collection import Collection
from .style import DEEP, INK, PALE, finished, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: How often the band holds the whole curve.
_LEVEL = 0.95
#: A band wider than the picture runs out of it: the axes leave it this share of what readings and curve take up.
_ROOM = 0.25
#: Readings as open circles, as far as circles can be told apart; those of a logger as dots under the curve.
_MOST_CIRCLES = 60
_READ: Any = {
    "marker": "o", "color": INK, "markerfacecolor": "white", "markersize": 4.5, "linestyle": "", "zorder": 3,
}  # fmt: skip
_LOGGED: Any = {
    "marker": ".",
    "color": "#9a9a9a",
    "markersize": 5,
    "markeredgewidth": 0.0,
    "linestyle": "",
    "zorder": 1,
}
_TOLD_BY_HISTORY = {"extent": "extent", "max_rate": "steepest slope", "lag_h": "lag"}
_Y_LABEL = {"rise": "Rise over the start [%]", "acid": "pH"}


def plot_curve(
    collection: Collection, refeed: str, signal: str = "rise", *, known: Known | None = None, ax: Axes | None = None
) -> Axes:
    """Draw the activity curve of one refeed.

    Parameters
    ----------
    collection : Collection
        The records.
    refeed : str
        Which refeed.
    signal : str
        rise or acid.
    known : Known, optional
        What the shelf knows, from `curves.known_of`: without it a refeed that was read too seldom is not helped, as
        it is in the curves table.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Readings as open circles, one set aside crossed out; the fit as a line, in a band that holds the whole curve in
        95 of 100 cases; the ripe window as a bar at the foot.

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
    hours, values = (read.loc[~read["high_mark"], name].to_numpy() for name in ("elapsed_h", "value"))
    found = trace_signal(read, *(known or ()))
    draw_trace(ax, hours, values, found, signal)
    ax.legend(loc="best", fontsize=8, frameon=False)
    told = f"{title}\n{found.readings} readings, {found.status}" + (f", {found.model}" if found.model else "")
    told += _borrowed(found)
    return finished(ax, told, "Time since feeding [h]", _Y_LABEL[signal])


def draw_trace(ax: Axes, hours: np.ndarray, values: np.ndarray, found: Trace, signal: str) -> None:
    """Draw readings, fit, band and ripe window; a rise in % of its start."""

    def shown(level: ArrayLike) -> np.ndarray:
        return as_drawn(level, values, found, signal)

    ax.plot(hours, shown(values), label="readings", **(_READ if len(values) <= _MOST_CIRCLES else _LOGGED))
    aside = np.reshape(found.set_aside, (-1, 2))
    if len(aside):
        ax.plot(aside[:, 0], shown(aside[:, 1]), "x", color=INK, markersize=8, label="set aside as misread", zorder=4)
    if found.high_mark is not None:
        mark = float(shown(found.high_mark))
        ax.axhline(mark, color=INK, linestyle=(0, (6, 3)), linewidth=0.9, label="smear line")
    if found.choice is None or found.until_h == 0.0:
        _leave_room(ax, signal)
        return
    fine = np.linspace(0.0, found.until_h, 300)  # no further than the readings behind the fit
    level, (low, high) = found.level(fine), found.band(fine, _LEVEL)
    known = bool(np.isfinite(low).all())
    says = "fitted curve" if known else "fitted curve, error unknown"
    ax.plot(fine, shown(level), color=DEEP, linewidth=1.8, label=says)
    if known:
        _draw_band(ax, fine, shown(low), shown(high))
    ripe = [found.traits[name].value for name in ("ripe_from_h", "ripe_until_h") if name in found.traits]
    if len(ripe) == 2 and np.isfinite(ripe).all():
        ax.axvspan(ripe[0], ripe[1], ymax=0.03, color=INK, label="ripe", linewidth=0)


def as_drawn(level: ArrayLike, values: np.ndarray, found: Trace, signal: str) -> np.ndarray:
    """Return levels in the unit read as they are drawn: a rise in % over the start of the trace, a pH as it is."""
    if signal != "rise":
        return np.asarray(level)
    return 100.0 * (np.asarray(level) / _start(values, found) - 1.0)


def _borrowed(found: Trace) -> str:
    """Say what share of each trait comes from the culture's earlier refeeds."""
    shares = {name: found.traits[name].prior_share for name in _TOLD_BY_HISTORY if name in found.traits}
    said = [f"{_TOLD_BY_HISTORY[name]} {100 * share:.0f} %" for name, share in shares.items() if share > 0.0]
    return f"\nfrom its earlier refeeds: {', '.join(said)}" if said else ""


def _draw_band(ax: Axes, hours: np.ndarray, low: np.ndarray, high: np.ndarray) -> None:
    """Draw a band behind all else, and only so far that the readings still fill the picture."""
    from matplotlib.collections import PolyCollection

    edge = np.concatenate((np.column_stack((hours, low)), np.column_stack((hours, high))[::-1]))
    says = f"{100 * _LEVEL:.0f} % band for the whole curve"
    band = PolyCollection([edge], facecolor=PALE, edgecolor=INK, linewidth=0.3, zorder=0, label=says)
    ax.add_collection(band, autolim=False)
    bottom, top = ax.dataLim.intervaly
    room = _ROOM * (top - bottom)
    ax.update_datalim(np.column_stack((edge[:, 0], np.clip(edge[:, 1], bottom - room, top + room))))
    ax.autoscale_view()


def _start(values: np.ndarray, found: Trace) -> float:
    """Return the level that a rise is measured from: as fitted, else the first reading."""
    line = found.traits["start_height_mm"].value if "start_height_mm" in found.traits else np.nan
    return next(float(level) for level in (found.start, line, values[0]) if np.isfinite(level) and level > 0.0)


def _leave_room(ax: Axes, signal: str) -> None:
    """Keep a jar in which nothing happened from looking busy: noise does not fill the axes."""
    low, high = ax.get_ylim()
    ax.set_ylim((min(low, -20.0), max(high, 100.0)) if signal == "rise" else (min(low, 3.5), max(high, 6.5)))
