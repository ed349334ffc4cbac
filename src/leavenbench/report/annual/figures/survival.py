"""How long cultures last: the Kaplan-Meier curve with its band, and how many are under watch at each age."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from ...figures.style import DEEP, INK, PALE, finished, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Numbers at risk that fit under the picture.
_MOST_NUMBERS = 12


def plot_survival(survival: pd.DataFrame, at_risk: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw the share of cultures not lost, over the years since they were received.

    Parameters
    ----------
    survival : pandas.DataFrame
        The columns of ``RESULTS["year_survival"]``.
    at_risk : pandas.DataFrame
        The columns of ``RESULTS["year_at_risk"]``.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        The share as a line of steps in its 95 % band; ticks where a culture went out of sight; numbers under watch at
        the foot.
    """
    ax = ax or new_axes(6.9, 3.6)
    lost = int(survival["lost"].sum())
    if len(survival):
        _draw_steps(ax, survival)
        _draw_at_risk(ax, at_risk)
        ax.legend(loc="upper left", bbox_to_anchor=(0.0, -0.2), ncols=3, fontsize=8, frameon=False)
    ax.set_ylim(-12.0, 104.0)
    title = f"Cultures not lost, by age: {lost} loss{'' if lost == 1 else 'es'}"
    return finished(ax, title, "Time since receipt [years]", "Share not lost [%]")


def _draw_steps(ax: Axes, survival: pd.DataFrame) -> None:
    age = np.concatenate(([0.0], survival["age_y"]))
    share = np.concatenate(([100.0], survival["alive_pct"]))
    # before the first loss there is no band
    low, high = (np.concatenate(([np.nan], survival[f"alive_{side}_pct"])).astype(float) for side in ("low", "high"))
    if np.isfinite(low).any():
        ax.fill_between(age, low, high, step="post", color=PALE, linewidth=0, label="95 % band")
    ax.step(age, share, where="post", color=DEEP, linewidth=1.8, label="share not lost")
    left = survival[survival["left"] > 0]
    ax.plot(
        left["age_y"], left["alive_pct"], "|", color=INK, markersize=7, label="withdrawn, or living at the year's end"
    )


def _draw_at_risk(ax: Axes, at_risk: pd.DataFrame) -> None:
    every = max(1, -(-len(at_risk) // _MOST_NUMBERS))
    for age, number in at_risk[["age_y", "at_risk"]].iloc[::every].itertuples(index=False):
        ax.annotate(str(number), (age, -7.0), ha="center", va="center", fontsize=8, color=INK)
    ax.annotate("under watch", (1.0, -7.0), xycoords=("axes fraction", "data"), ha="left", va="center", fontsize=8)
