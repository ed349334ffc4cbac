"""Plans of measurements: how likely a difference is seen, when a decline is named, at which hours readings teach."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from .style import DEEP, INK, MIDDLE, PALE, STEP_MARKS, finished, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SHADES, _DASHES = (INK, DEEP, MIDDLE), ("-", "--", "-.", ":")
_TRAITS = {
    "max_rate_gain_pct": ("steepest slope", DEEP, "-"),
    "lag_h_gain_pct": ("lag", MIDDLE, "--"),
    "extent_gain_pct": ("extent", INK, ":"),
}


def plot_chance_to_see(
    chances: pd.DataFrame, certainty: float = 80.0, question: str = "different", *, ax: Axes | None = None
) -> Axes:
    """Draw the chance to see a difference, or to show sameness, against the refeeds of each culture.

    Parameters
    ----------
    chances : pandas.DataFrame
        From `compare.planning.chance.chance_to_see`.
    certainty : float
        The chance wished for [%].
    question : str
        different or the same.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A line for each number of refeeds in a round, filled points where cultures are fed on the same days, open ones
        where they are not; bars are 95 % intervals by simulation.
    """
    ax = ax or new_axes()
    name = {"different": "seen", "the same": "same"}[question]
    for (steps, days), plan in chances.groupby(["refeeds_per_round", "days"], sort=True):
        plan = plan.sort_values("refeeds")
        shade, mark = _SHADES[(steps - 1) % 3], STEP_MARKS[(steps - 1) % len(STEP_MARKS)]
        shared = days == "shared"
        look: dict[str, Any] = {"color": shade, "marker": mark, "markersize": 5, "linewidth": 1.4}
        look |= {"markerfacecolor": shade if shared else "white", "linestyle": "-" if shared else "--"}
        chance = plan[f"{name}_pct"]
        ends = np.abs(np.array([chance - plan[f"{name}_low_pct"], plan[f"{name}_high_pct"] - chance]))
        label = f"{steps} a round, {'the same days' if shared else 'days of their own'}"
        ax.errorbar(plan["refeeds"].astype(float), chance, yerr=ends, elinewidth=0.7, label=label, **look)
    ax.axhline(certainty, color=INK, linewidth=0.9)
    ax.annotate(f"{certainty:g} %", (1.0, certainty), xycoords=("axes fraction", "data"), va="bottom", ha="right",
                fontsize=8)  # fmt: skip
    ax.set_ylim(-3.0, 103.0)
    ax.set_xscale("log")
    ticks = [tick for tick in (3, 6, 12, 24, 48, 96) if tick <= chances["refeeds"].max()]
    ax.set_xticks(ticks, [str(tick) for tick in ticks])
    ax.minorticks_off()
    ax.legend(loc="upper left", fontsize=7.5, frameon=False, bbox_to_anchor=(1.0, 1.0))
    first = chances.iloc[0]
    asked = f"a difference of {first['difference']:g} {first['unit']} is seen"
    if question == "the same":
        asked = f"sameness within {first['margin']:g} {first['unit']} is shown, where there is no difference"
    cultures = f"{first['cultures']} cultures" + (", all pairs" if first["cultures"] > 2 else "")
    cultures += f", {first['beside']} more in the model" if first["beside"] else ""
    title = f"{first['trait'].replace('_', ' ')}, {cultures}:\nchance that {asked}"
    return finished(ax, title, "Refeeds of each culture", "Chance [%]")


def plot_rounds_until_named(rounds: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw how many rounds a decline goes on until it is named.

    Parameters
    ----------
    rounds : pandas.DataFrame
        From `watch.named_after.rounds_until_named`.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        By pace, for each number of refeeds in a round, with as many readings as now: points are the middle of the
        declines with its 95 % interval, the tip of the thin line the round by which as many are named as wished.
    """
    ax = ax or new_axes()
    nearest = (rounds["readings_times"] - 1.0).abs().min()
    now = rounds[(rounds["readings_times"] - 1.0).abs() == nearest]
    paces = np.sort(now["pace_pct"].unique())
    several = sorted(now["refeeds_per_round"].unique())
    for number, steps in enumerate(several):
        plan = now[now["refeeds_per_round"] == steps].sort_values("pace_pct")
        at = np.arange(len(paces)) + 0.2 * (number - 0.5 * (len(several) - 1))
        shade = _SHADES[number % 3]
        ax.vlines(at, plan["rounds"], plan["rounds_certain"], color=shade, linewidth=1.0)
        ax.plot(at, plan["rounds_certain"], "_", color=shade, markersize=8)
        ax.vlines(at, plan["rounds_low"], plan["rounds_high"], color=shade, linewidth=4.0, alpha=0.35)
        face = shade if number % 2 == 0 else "white"
        ax.plot(at, plan["rounds"], STEP_MARKS[number % len(STEP_MARKS)], color=shade, markerfacecolor=face,
                label=f"{steps} refeed{'' if steps == 1 else 's'} read in a round")  # fmt: skip
    ax.set_xticks(range(len(paces)), [f"{pace:g}" for pace in paces])
    ax.set_ylim(bottom=0.0)
    ax.legend(loc="upper right", fontsize=8, frameon=False)
    certainty, dial = rounds["certainty_pct"].iloc[0], rounds["false_alerts"].iloc[0]
    title = f"Rounds until a decline is named: half of them, and {certainty:g} % (upper ends)\n"
    title += f"the dial at {dial:g} false alert{'' if dial == 1.0 else 's'} per 100 healthy culture-years"
    return finished(ax, title, "Vigour lost per round [%]", "Rounds of decline")


def plot_gain_of_readings(
    gains: pd.DataFrame, kept_h: Sequence[float] | np.ndarray, best_h: Sequence[float] | np.ndarray = (),
    *, axes: Sequence[Axes] | None = None,
) -> list[Axes]:  # fmt: skip
    """Draw a culture's usual curve, and beneath it how much one more reading would teach at each hour.

    Parameters
    ----------
    gains : pandas.DataFrame
        From `compare.planning.information.gain_of_a_reading`.
    kept_h, best_h : sequence of float
        The hours kept now and the best as many [h], which are marked.
    axes : sequence of two matplotlib.axes.Axes, optional
        Where to draw; new ones when not given.

    Returns
    -------
    list of matplotlib.axes.Axes
    """
    above, beneath = axes or _two_axes()
    hours, first = gains["elapsed_h"], gains.iloc[0]
    rises = first["signal"] == "rise"
    above.fill_between(hours, gains["level_low"], gains["level_high"], color=PALE, linewidth=0,
                       label="eight in ten of its curves")  # fmt: skip
    above.plot(hours, gains["level"], color=DEEP, linewidth=1.8, label="usual curve")
    for at, mark, face, label in (
        (kept_h, "o", INK, f"kept now ({len(kept_h)})"),
        (best_h, "D", "white", f"best ({len(best_h)})"),
    ):
        if len(at):
            level = np.interp(at, hours, gains["level"])
            above.plot(at, level, mark, color=INK, markerfacecolor=face, markersize=5, label=label, zorder=3)
            foot: dict[str, Any] = {"transform": beneath.get_xaxis_transform(), "clip_on": False, "color": INK}
            height = 1.04 if face == INK else 1.12
            beneath.plot(at, [height] * len(at), mark, markerfacecolor=face, markersize=4, **foot)
    above.legend(fontsize=7.5, frameon=False, loc="best")
    for name, (label, shade, dash) in _TRAITS.items():
        beneath.plot(hours, gains[name], color=shade, linestyle=dash, linewidth=1.6, label=label)
    beneath.legend(fontsize=7.5, frameon=False, loc="best")
    beneath.set_ylim(bottom=0.0)
    what = "rise" if rises else "pH"
    title = f"{first['culture']}: {what}, and what one more reading would teach"
    finished(above, title, "", "Rise over the start [%]" if rises else "pH")
    finished(beneath, "", "Time since feeding [h]", "Error falls by [%]")
    return [above, beneath]


def _two_axes() -> list[Axes]:
    """Return two axes, one above the other, that share their hours."""
    above = new_axes(6.3, 5.2)
    figure = above.figure
    above.remove()
    grid = figure.add_gridspec(2, 1, height_ratios=(1.2, 1.0))
    first = figure.add_subplot(grid[0])
    return [first, figure.add_subplot(grid[1], sharex=first)]
