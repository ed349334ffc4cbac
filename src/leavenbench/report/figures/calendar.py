"""The work of the coming year: how many jars are fed on which day."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from .style import DEEP, INK, MIDDLE, PALE, finished, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Groups are told apart by shade and hatch, over and over.
_FIELDS = (
    (DEEP, ""),
    (PALE, ""),
    (MIDDLE, ""),
    ("white", ""),
    (PALE, "///"),
    ("white", "..."),
    (PALE, "xxx"),
    ("white", "----"),
)
#: Letters of a group's name that stand over its rounds.
_NAMED = 12


def plot_calendar(calendar: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw how many jars are fed on each day of the coming year, group by group.

    Parameters
    ----------
    calendar : pandas.DataFrame
        As `care.calendar.round_calendar` lays it out: day, group, step, jars, moved_d.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        One bar per day; groups stand on each other, and each round has the group's name over its first day.
    """
    from matplotlib.ticker import MaxNLocator

    ax = ax or new_axes(7.2, 3.6)
    jars = calendar.pivot_table(index="day", columns="group", values="jars", aggfunc="sum", fill_value=0)
    jars = jars[sorted(jars.columns, key=lambda group: (group == "", group))]
    below = np.zeros(len(jars))
    for number, group in enumerate(jars.columns):
        height = jars[group].to_numpy(float)
        shade, hatch = _FIELDS[number % len(_FIELDS)]
        look: dict[str, Any] = {"facecolor": shade, "hatch": hatch, "edgecolor": INK, "linewidth": 0.4}
        ax.bar(jars.index, height, bottom=below, width=1.0, align="edge", label=group or "no group", **look)
        below += height
    _name_rounds(ax, calendar, pd.Series(below, index=jars.index))
    busiest = f", {below.max():.0f} on the busiest day" if len(jars) else ""
    ax.yaxis.set_major_locator(MaxNLocator(integer=True))
    ax.set_ylim(0.0, 1.4 * max(below.max(initial=0.0), 1.0))
    if len(jars.columns) > 1:
        ax.legend(loc="upper left", bbox_to_anchor=(0.0, -0.2), ncols=6, fontsize=8, frameon=False)
    title = f"The rounds to come: {len(jars)} days of work, {calendar['jars'].sum():,.0f} jars{busiest}"
    return finished(ax, title, "Day of feeding [date]", "Jars to feed in a day")


def _name_rounds(ax: Axes, calendar: pd.DataFrame, top: pd.Series) -> None:
    """Write a group's name over each of its rounds; cultures without a group would only crowd each other."""
    begins = calendar[(calendar["step"] == 1) & (calendar["group"] != "")]
    for day, groups in begins.groupby("day")["group"]:
        words = ", ".join(group if len(group) <= _NAMED else f"{group[: _NAMED - 1]}…" for group in groups)
        ax.annotate(words, (day, float(top[day])), xytext=(3, 3), textcoords="offset points", rotation=90, fontsize=7)
