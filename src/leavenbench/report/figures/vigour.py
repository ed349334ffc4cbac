"""Vigour over the rounds, with what happened marked."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from ...records.collection import Collection
from ...records.living import history_numbers
from ...records.settings import Settings
from ...vigour.causes import Causes
from ...watch.alert import Z80
from ...watch.forecast import two_years
from ...watch.levels import round_levels
from .style import DEEP, INK, MIDDLE, PALE, STEP_MARKS, finished, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Events that follow each other so closely are named at different heights [share of the axes].
_CLOSE, _HEIGHT, _LOWER, _HEIGHTS = pd.Timedelta(days=60), 0.98, 0.24, 4


def plot_vigour(
    collection: Collection,
    vigour: pd.DataFrame,
    culture: str,
    *,
    causes: Causes | None = None,
    listed: pd.DataFrame | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw the vigour of one culture over its rounds.

    Parameters
    ----------
    collection : Collection
        The records, for events and the half-strength line.
    vigour : pandas.DataFrame
        The vigour table.
    culture : str
        Which culture.
    causes : Causes, optional
        The causes that the shelf shared: refeeds that met one are marked.
    listed : pandas.DataFrame, optional
        The watch list: where it forecasts half strength, a fan leads there, an 80 % interval wide.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Each refeed as a point, its shape telling the step; each round as a line with its 80 % band; baseline and
        half strength as lines; events as marks with their names; shared causes as a bar at the foot, named; the
        forecast as a fan.
    """
    ax = ax or new_axes()
    own = vigour[vigour["culture"] == culture]
    known = own[own["vigour_pct_own"].notna()]
    levels = round_levels(vigour, history_numbers(collection))
    levels = levels[levels["culture"] == culture]
    top = 1.25 * max(float(100.0 * np.exp(levels["level"].max())), 100.0) if len(levels) else 125.0
    _draw_refeeds(ax, known, top)
    for number, (_, one) in enumerate(levels.groupby("history")):
        _draw_rounds(ax, one, "" if number else "round")
    half = collection.settings.half_strength_pct
    ax.axhline(100.0, color=INK, linewidth=0.8)
    ax.axhline(half, color=MIDDLE, linewidth=1.2, linestyle="--")
    ax.annotate(f"{half:g} %", (1.0, half), xycoords=("axes fraction", "data"), fontsize=8, va="center", color=MIDDLE)
    _mark_events(ax, collection["events"], culture)
    if causes is not None:
        _mark_causes(ax, known, causes)
    if listed is not None and len(levels):
        _draw_fan(ax, levels.iloc[-1], listed[listed["culture"] == culture], collection.settings)
    ax.set_ylim(0.0, top)
    if len(known):
        ax.legend(loc="upper left", bbox_to_anchor=(0.0, -0.2), ncols=6, fontsize=8, frameon=False)
    title = f"{culture}: vigour, {len(known)} refeeds in {levels['round'].nunique()} rounds{_period(known)}; band 80 %"
    return finished(ax, title, "Date of feeding", "Vigour [% of its own baseline]")


def _draw_refeeds(ax: Axes, known: pd.DataFrame, top: float) -> None:
    """Draw every refeed; one that is far off the scale stands at its edge, so that it does not flatten the rest."""
    for step, points in known.groupby("step"):
        mark = STEP_MARKS[(int(step) - 1) % len(STEP_MARKS)]
        style: dict[str, Any] = {"marker": mark, "linestyle": "", "color": INK, "markerfacecolor": "white"}
        shown = points["vigour_pct_own"].clip(upper=top)
        ax.plot(_days(points["fed_at"]), shown, **style, markersize=4, alpha=0.6, label=f"step {step}", clip_on=False)
    beyond = int((known["vigour_pct_own"] > top).sum())
    if beyond:
        told = f"{beyond} off the scale, at the edge"
        ax.annotate(told, (0.99, 0.94), xycoords="axes fraction", fontsize=7.5, ha="right", va="top")


def _period(known: pd.DataFrame) -> str:
    return f", {known['fed_at'].min():%Y-%m} to {known['fed_at'].max():%Y-%m}" if len(known) else ""


def _draw_rounds(ax: Axes, rounds: pd.DataFrame, label: str) -> None:
    when = _days(rounds["fed_at"])
    low, high = (100.0 * np.exp(rounds["level"] + side * Z80 * rounds["level_se"]) for side in (-1.0, 1.0))
    ax.fill_between(when, low, high, color=PALE, zorder=0)
    ax.plot(when, 100.0 * np.exp(rounds["level"]), color=DEEP, linewidth=1.8, label=label or None)


def _draw_fan(ax: Axes, last: pd.Series, listed: pd.DataFrame, settings: Settings) -> None:
    """Draw from the last round to where half strength is reached, at either end of the interval and in the middle."""
    if listed.empty or pd.isna(listed["rounds_left_low"].iloc[0]):
        return
    row, cap = listed.iloc[0], two_years(settings.round_days)
    begins, today = last["fed_at"].tz_localize(None), row["as_of"]
    level, half = 100.0 * float(np.exp(last["level"])), settings.half_strength_pct
    if level <= half or row["rounds_left_low"] >= cap:
        return
    soon, middle, late = (
        today + pd.Timedelta(days=float(row[f"rounds_left{side}"]) * settings.round_days)
        for side in ("_low", "", "_high")
    )
    # not within two years: the far side of the fan is no loss at all
    far = [(late, level), (late, half)] if row["rounds_left_high"] >= cap else [(late, half)]
    corners = [(begins, level), (soon, half), *reversed(far)]
    ax.fill(*zip(*corners, strict=True), color=MIDDLE, alpha=0.25, linewidth=0, label="forecast, 80 %")
    if row["rounds_left"] < cap:
        ax.plot([begins, middle], [level, half], color=MIDDLE, linewidth=1.4, linestyle="-.")
    ax.axvline(today, color=INK, linewidth=0.6, linestyle=(0, (1, 3)))


def _mark_events(ax: Axes, events: pd.DataFrame, culture: str) -> None:
    own = events[events["culture"] == culture].sort_values("happened_on", kind="stable")
    close = own["happened_on"].diff() < _CLOSE
    own = own.assign(height=_HEIGHT - _LOWER * (close.groupby((~close).cumsum()).cumcount() % _HEIGHTS))
    for event in own.to_dict("records"):
        ax.axvline(event["happened_on"], color=INK, linewidth=0.8, linestyle=":")
        place: dict[str, Any] = {
            "xycoords": ("data", "axes fraction"),
            "rotation": 90,
            "fontsize": 8,
            "ha": "right",
            "va": "top",
        }
        ax.annotate(str(event["kind"]), (event["happened_on"], event["height"]), **place)


def _mark_causes(ax: Axes, known: pd.DataFrame, causes: Causes) -> None:
    """Mark at the foot when the culture met causes that the shelf shared; they are out of the vigour shown."""
    met = causes.met.merge(known[["refeed", "fed_at"]], on="refeed")
    for number, (cause, of_cause) in enumerate(met.groupby("cause", sort=False)):
        when = _days(of_cause["fed_at"])
        height = 0.02 + 0.05 * (number % 3)
        place: dict[str, Any] = {"transform": ax.get_xaxis_transform(), "color": INK, "solid_capstyle": "butt"}
        ax.plot([when.min(), when.max() + pd.Timedelta(days=6)], [height, height], linewidth=3.0, **place)
        told: dict[str, Any] = {"xycoords": ("data", "axes fraction"), "fontsize": 7, "va": "center"}
        ax.annotate(f" {cause}", (when.max() + pd.Timedelta(days=6), height), **told)


def _days(moments: pd.Series) -> pd.Series:
    return moments.dt.tz_localize(None)
