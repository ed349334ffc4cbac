"""What is counted in kinds: the rounds of the months, the standings of the quarters, cover, species."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from ....care.year.captioned import count_of
from ....columns import STANDINGS
from ...figures.style import DEEP, INK, MIDDLE, PALE, finished, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Kinds differ in lightness and hatch, so that they are told apart in grey.
_FIELDS: tuple[tuple[str, str], ...] = (
    (DEEP, ""),
    (MIDDLE, "///"),
    (PALE, ""),
    ("white", "..."),
    ("white", ""),
)
#: Species shown, those in the most cultures.
_MOST_SPECIES = 20


def plot_kept_rounds(months: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw how the rounds of each month kept to the calendar.

    Parameters
    ----------
    months : pandas.DataFrame
        The columns of ``RESULTS["year_months"]``.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        One bar per month: rounds on time, late, early and first ones on each other; those not held are hollow.
    """
    kinds = {"on time": "on_time", "late": "late", "early": "early", "first": "first", "not held": "not_held"}
    counted = pd.DataFrame({words: months[name] for words, name in kinds.items()}).set_axis(months["month"])
    ax = _stacked(counted, ax or new_axes(6.9, 3.2))
    ax.tick_params(axis="x", rotation=45)
    title = f"{int(months['rounds'].sum()):,} rounds begun, {int(months['not_held'].sum()):,} due and not held"
    return finished(ax, title, "Month", "Rounds")


def plot_standings(standings: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw how the living cultures stood at the end of each quarter.

    Parameters
    ----------
    standings : pandas.DataFrame
        The columns of ``RESULTS["year_standings"]``.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        One bar per quarter, the most urgent at the foot.
    """
    counted = standings.pivot_table(index="quarter", columns="standing", values="cultures", aggfunc="sum")
    counted = counted.reindex(columns=STANDINGS.split(", ")).fillna(0)
    ax = _stacked(counted, ax or new_axes(6.9, 3.0))
    return finished(ax, f"How the cultures stood at the end of {len(counted)} quarters", "Quarter", "Living cultures")


def plot_cover_change(cover: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw how the living cultures were covered when the year began and when it ended.

    Parameters
    ----------
    cover : pandas.DataFrame
        The columns of ``RESULTS["year_cover"]``.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Two bars, the best cover at the foot.
    """
    ends = cover.set_index("cover")[["when_it_began", "when_it_ended"]].T
    ends.index = pd.Index(["when it began", "when it ended"])
    ax = _stacked(ends, ax or new_axes(6.9, 2.8))
    return finished(ax, "Back-ups: how the living cultures are covered", "The year", "Living cultures")


def plot_species(species: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw in how many of the cultures sampled each species was found.

    Parameters
    ----------
    species : pandas.DataFrame
        The columns of ``RESULTS["year_species"]``.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        One bar per species, the most common on top; those found in one culture alone are hatched.
    """
    from matplotlib.ticker import MaxNLocator

    shown = species.sort_values("cultures", kind="stable").tail(_MOST_SPECIES)
    ax = ax or new_axes(6.9, 1.2 + 0.22 * max(len(shown), 3))
    once = shown["once"].fillna(False).astype(bool)
    for own, look in ((~once, {"facecolor": PALE}), (once, {"facecolor": "white", "hatch": "///"})):
        told: dict[str, Any] = {**look, "edgecolor": INK, "linewidth": 0.6}
        ax.barh(np.flatnonzero(own), shown.loc[own, "cultures"].astype(float), **told)
    ax.set_yticks(range(len(shown)), shown["species"].tolist())
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    sampled = int(species["sampled"].max()) if len(species) else 0
    title = f"{len(species)} species in {count_of(sampled, 'culture')} sampled; hatched: found in one alone"
    return finished(ax, title, "Cultures in which it was found", "")


def _stacked(counted: pd.DataFrame, ax: Axes) -> Axes:
    """Draw a bar for each row, its kinds on each other; the number stands in a field that has room for it."""
    from matplotlib.ticker import MaxNLocator

    below = np.zeros(len(counted))
    tallest = max(float(counted.sum(axis=1).max()), 1.0) if len(counted) else 1.0
    for number, name in enumerate(counted.columns):
        height = counted[name].to_numpy(float)
        shade, hatch = _FIELDS[number % len(_FIELDS)]
        look: dict[str, Any] = {"facecolor": shade, "hatch": hatch, "edgecolor": INK, "linewidth": 0.6}
        ax.bar(range(len(counted)), height, bottom=below, width=0.7, label=str(name), **look)
        for place, (foot, tall) in enumerate(zip(below, height, strict=True)):
            if tall > 0.06 * tallest:
                ground = {"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": "none"}
                ax.text(place, foot + 0.5 * tall, f"{tall:.0f}", ha="center", va="center", fontsize=7.5, bbox=ground)
        below += height
    ax.set_xticks(range(len(counted)), [str(name) for name in counted.index])
    ax.set_ylim(0.0, 1.06 * tallest)
    ax.yaxis.set_major_locator(MaxNLocator(integer=True))
    if len(counted.columns):
        ax.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize=8, frameon=False, reverse=True)
    return ax
