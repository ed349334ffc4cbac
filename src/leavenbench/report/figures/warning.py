"""How the warning comes about, and how far it can be trusted."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from ...watch.charts import charts_of
from ...watch.outlook import Outlook
from .style import DEEP, INK, MIDDLE, PALE, finished, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: How each method is drawn: dash, shade, width.
_LINES = {
    "oracle": (":", INK, 1.4),
    "leavenbench": ("-", DEEP, 2.2),
    "EWMA .2": ("--", MIDDLE, 1.4),
    "CUSUM .5": ("-.", MIDDLE, 1.4),
}


def plot_evidence(seen: Outlook, culture: str, *, ax: Axes | None = None) -> Axes:
    """Draw the evidence of decline of one culture over its rounds, with the control charts that auditors know.

    Parameters
    ----------
    seen : Outlook
        From `leavenbench.watch.watch_list.outlook_of`.
    culture : str
        Which culture.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Evidence, EWMA and CUSUM, each against its own limit, so that 1 is the limit of all three; the first round at
        or beyond it is marked.
    """
    ax = ax or new_axes()
    own = (seen.levels["culture"] == culture).to_numpy()
    last = int(np.flatnonzero(own).max(initial=-1))
    if last < 0:
        return finished(ax, f"{culture}: no rounds with sound readings", "Date of feeding", "Evidence over its limit")
    rows = np.arange(seen.series.first[last], last + 1)
    when = seen.levels["fed_at"].iloc[rows].dt.tz_localize(None)
    noise = np.sqrt(seen.scatter.sd[rows] ** 2 + seen.series.variance[rows])
    charts = charts_of(seen.levels.iloc[rows], noise, _RUN_LENGTH)
    decline = np.where(np.isfinite(seen.evidence.decline[rows]), seen.evidence.decline[rows], np.nan)
    told = {
        "leavenbench": 1.0 + (decline - seen.threshold[rows]) / _SCALE,
        "EWMA .2": (charts["ewma"] / charts["ewma_limit"]).to_numpy(),
        "CUSUM .5": (charts["cusum"] / charts["cusum_limit"]).to_numpy(),
    }
    for name, values in told.items():
        dash, shade, width = _LINES[name]
        ax.plot(when, np.clip(values, -0.5, 4.0), linestyle=dash, color=shade, linewidth=width, label=name)
        beyond = np.flatnonzero(values >= 1.0)
        if len(beyond):
            ax.plot(when.iloc[beyond[0]], min(values[beyond[0]], 4.0), marker="o", color=shade, markersize=6)
    ax.axhline(1.0, color=INK, linewidth=0.8)
    ax.set_ylim(-0.6, 4.1)
    ax.legend(loc="upper left", fontsize=8)
    title = f"{culture}: evidence of decline, {len(rows)} rounds; the first beyond its limit is marked"
    return finished(ax, title, "Date of feeding", "Evidence over its limit [1]")


#: Log odds that are drawn as one limit's height; and the textbook run length [rounds] at which the charts give as many
#: false alerts as the dial at 1 on simulated shelves, where neighbouring rounds are alike and baselines are short (the
#: CUSUM's limit is then near 11, the EWMA's near 4.5 sd; promised would be one in 500,000 rounds, given is one in 600).
_SCALE, _RUN_LENGTH = 4.0, 500_000.0


def plot_whole_shelf(months: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw how the shelf as a whole moved, month by month.

    Parameters
    ----------
    months : pandas.DataFrame
        From `leavenbench.whole_shelf`.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        The middle of all cultures with its 95 % band; months in which the shelf is said to fall are marked. Nothing
        where there were too few cultures in every month.
    """
    ax = ax or new_axes(height_in=3.0)
    if months.empty:
        return finished(ax, "The whole shelf: too few cultures to say", "Month", "Vigour, middle of all [%]")
    when = pd.to_datetime(months["month"])
    wide = 1.96 * months["vigour_pct_se"]
    ax.fill_between(when, months["vigour_pct"] - wide, months["vigour_pct"] + wide, color=PALE)
    ax.plot(when, months["vigour_pct"], color=DEEP, linewidth=1.8)
    ax.axhline(100.0, color=INK, linewidth=0.8)
    falling = months["falling"].to_numpy(bool)
    ax.plot(when[falling], months.loc[falling, "vigour_pct"], marker="v", linestyle="", color=MIDDLE, label="falling")
    if falling.any():
        ax.legend(loc="lower left", fontsize=8)
    ax.set_ylim(bottom=0.0)
    title = f"The whole shelf: {len(months)} months of {months['cultures'].median():.0f} cultures; band 95 %"
    return finished(ax, title, "Month", "Vigour, middle of all [%]")


def plot_operating_curve(curve: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw how late a decline is seen against how often a healthy culture is called.

    Parameters
    ----------
    curve : pandas.DataFrame
        method, false_alerts [per 100 culture-years] and delay [rounds], one row per point.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A line per method; lower is earlier.
    """
    ax = ax or new_axes()
    for name, points in curve.groupby("method", sort=False):
        dash, shade, width = _LINES[str(name)]
        points = points.sort_values("false_alerts")
        ax.plot(points["false_alerts"], points["delay"], linestyle=dash, color=shade, linewidth=width, label=str(name))
    ax.set_xscale("log")
    ax.set_xticks([0.5, 1.0, 2.0, 5.0, 10.0], ["0.5", "1", "2", "5", "10"])
    ax.minorticks_off()
    ax.set_ylim(bottom=0.0)
    ax.legend(fontsize=8)
    title = "Declines of 3, 5, 8 and 12 % a round: mean delay until they are named"
    return finished(ax, title, "False alerts per 100 healthy culture-years", "Delay [rounds]")
