"""The case of a sluggish starter on one page: its history, its last curves over what is usual, and the suspects."""

from __future__ import annotations

import dataclasses
from textwrap import fill
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from ...care.expected import expected_bands, usual_hours
from ...care.rescue import Case, verdict
from ...curves import signals
from ...records.collection import Collection
from ...vigour.causes import Causes
from ...vigour.warmth import Warmth
from .style import DEEP, INK, MIDDLE, PALE, finished, new_axes
from .vigour import plot_vigour

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LABELS = {"rise": "Rise over the start [%]", "acid": "pH"}
#: Suspects shown, the likeliest; a name is broken after so many letters.
_MOST, _LETTERS = 6, 18
#: Letters in a line of the page's title.
_LINE = 130
#: The hour at which a dough's warmth is told [h].
_WARM_AT_H = 3.0
#: How the last rounds are marked, the latest first.
_ROUNDS: tuple[dict[str, Any], ...] = (
    {"marker": "o", "color": DEEP, "markersize": 5.0, "linewidth": 1.2, "zorder": 4},
    {"marker": "s", "color": MIDDLE, "markerfacecolor": "white", "markersize": 4.0, "linewidth": 0.8, "linestyle": ":"},
)


def plot_case(
    case: Case,
    collection: Collection,
    vigour: pd.DataFrame,
    ranked: pd.DataFrame,
    *,
    causes: Causes | None = None,
) -> Figure:
    """Draw the case of a culture on one page.

    Parameters
    ----------
    case : Case
        Of the culture.
    collection : Collection
        The records, read up to the day of the case.
    vigour : pandas.DataFrame
        The vigour table.
    ranked : pandas.DataFrame
        The suspects, as from `care.rescue.suspects`.
    causes : Causes, optional
        The causes that the shelf shared.

    Returns
    -------
    matplotlib.figure.Figure
        Above, vigour over the rounds with events, shared causes, and its level as it was seen; below, its last two
        rounds over the band of the rounds before it slowed, for rise and for acid, and what is believed of each
        suspect.
    """
    import matplotlib.pyplot as plt

    figure = plt.figure(figsize=(10.0, 7.2), layout="constrained")
    above, below = np.asarray(figure.subfigures(2, 1, height_ratios=[1.1, 1.0]))
    history = above.subplots()
    plot_vigour(collection, vigour, case.culture, causes=causes, ax=history)
    _draw_as_seen(history, case)
    rise, acid, suspects = below.subplots(1, 3)
    plot_last_curves(case, collection, "rise", ax=rise)
    plot_last_curves(case, collection, "acid", ax=acid)
    plot_suspects(ranked, ax=suspects)
    told = fill(f"{case.culture}, as known on {case.on}: {verdict(case, ranked)}", _LINE)
    figure.suptitle(told, x=0.01, ha="left", fontsize=10)
    return figure


def _draw_as_seen(ax: Axes, case: Case) -> None:
    """Add the level as it was seen, shared causes still in, and when it slowed."""
    when = case.rounds["fed_at"].dt.tz_localize(None)
    seen: dict[str, Any] = {
        "color": INK,
        "linewidth": 1.2,
        "linestyle": (0, (4, 2)),
        "label": "as seen, shared causes in",
    }
    ax.plot(when, case.rounds["vigour_pct"], **seen)
    bottom, top = ax.get_ylim()
    ax.set_ylim(bottom, max(top, 1.05 * float(case.rounds["vigour_pct"].max())))
    if case.onset.stands_out:
        ax.axvline(case.onset.on, color=MIDDLE, linewidth=1.6)
        place: dict[str, Any] = {"xycoords": ("data", "axes fraction"), "fontsize": 8, "color": MIDDLE, "ha": "left"}
        ax.annotate(" slow since", (case.onset.on, 0.03), **place)
    ax.legend(loc="upper left", bbox_to_anchor=(0.0, -0.16), ncols=7, fontsize=8, frameon=False)


def plot_last_curves(case: Case, collection: Collection, signal: str = "rise", *, ax: Axes | None = None) -> Axes:
    """Draw a signal of a culture's last two rounds over the band of its rounds before it slowed.

    Parameters
    ----------
    case : Case
        Of the culture.
    collection : Collection
        The records, read up to the day of the case.
    signal : str
        rise or acid.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        The last step that the round has in common with most others; the band holds nine in ten readings of the
        refeeds before, as they would have been in doughs as warm as the last one.
    """
    ax = ax or new_axes(4.0, 3.4)
    step, last = _last_refeeds(case, collection)
    band = _band(case, collection, step, last, signal)
    if len(band):
        low, middle, high = (band[name].to_numpy(float) for name in ("low", "middle", "high"))
        usual = f"usual at {_degC(last['degC'].iloc[0])}, {int(band['refeeds'].max())} refeeds"
        ax.fill_between(band["elapsed_h"], low, high, color=PALE, label=usual)
        ax.plot(band["elapsed_h"], middle, color=INK, linewidth=1.0, linestyle="--")
    for (refeed, day, degC), style in zip(
        last[["refeed", "day", "degC"]].itertuples(index=False), _ROUNDS, strict=False
    ):
        hours, value = _read(collection, refeed, signal)
        if len(hours):
            ax.plot(hours, value, **style, label=f"{day:%Y-%m-%d}, {_degC(degC)}")
    if ax.get_legend_handles_labels()[0]:
        ax.legend(loc="best", frameon=False, fontsize=7.5)
    said = case.signals.set_index("signal").loc[signal, "says"]
    return finished(ax, f"{signal}, step {step}: {said}", "Time since feeding [h]", _LABELS[signal])


def plot_suspects(ranked: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw what is believed of each suspect, the likeliest on top.

    Parameters
    ----------
    ranked : pandas.DataFrame
        As from `care.rescue.suspects`.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Bars, each with its share beside it; a hollow mark tells what was believed before the evidence.
    """
    ax = ax or new_axes(4.0, 3.4)
    shown = ranked.head(_MOST)
    place = np.arange(len(shown))[::-1]
    share = 100.0 * shown["share"].to_numpy(float)
    ax.barh(place, share, color=DEEP, height=0.6)
    before = 100.0 * shown["prior"].to_numpy(float)
    ax.plot(before, place, "D", color=INK, markerfacecolor="white", markersize=5, label="before the evidence")
    for at, value, prior in zip(place, share, before, strict=True):
        ax.annotate(f"{value:.0f} %", (max(value, prior) + 4.0, at), va="center", fontsize=8)
    ax.set_yticks(place, [_broken(name) for name in shown["suspect"]])
    ax.set_xlim(0.0, 118.0)
    ax.set_xticks([0, 25, 50, 75, 100])
    ax.legend(loc="lower right", fontsize=7.5, frameon=False)
    return finished(ax, "The suspects", "What is believed of it [%]", "")


def _broken(name: str) -> str:
    """Break a long name into two lines."""
    if len(name) <= _LETTERS or " " not in name:
        return name
    at = min((place for place, letter in enumerate(name) if letter == " "), key=lambda of: abs(of - len(name) / 2))
    return f"{name[:at]}\n{name[at + 1 :]}"


def _last_refeeds(case: Case, collection: Collection) -> tuple[int, pd.DataFrame]:
    """Return the step that is shown, and the refeeds of the last two rounds at it, the latest first."""
    own = case.ground.values.loc[case.ground.own]
    last = own.loc[own["of_round"] == own["of_round"].iloc[-1], "step"].max()
    step = int(min(last, round(collection.settings.steps_per_round)))
    at_step = own[own["step"] == step].tail(len(_ROUNDS)).iloc[::-1]
    warmth = Warmth.of(collection)
    number = warmth.refeeds.get_indexer(at_step["refeed"])
    degC = np.where(warmth.noted[number], warmth.at(number, np.full(len(number), _WARM_AT_H)), np.nan)
    return step, at_step.assign(day=at_step["fed_at"].dt.tz_localize(None), degC=degC)


def _degC(degC: float) -> str:
    return "unknown warmth" if np.isnan(degC) else f"{degC:.0f} °C"


def _band(case: Case, collection: Collection, step: int, last: pd.DataFrame, signal: str) -> pd.DataFrame:
    """Return the band of the refeeds before the culture slowed, in doughs as warm as the last one."""
    refeeds, readings = collection["refeeds"], collection["readings"]
    before = refeeds[refeeds["fed_at"].dt.tz_localize(None) < case.onset.on]
    tables = {**collection.tables, "refeeds": before, "readings": readings[readings["refeed"].isin(before["refeed"])]}
    known = dataclasses.replace(collection, tables=tables)
    bands = expected_bands(known, [case.culture], step, usual_hours(known, step), float(last["degC"].iloc[0]))
    return bands[bands["signal"] == signal].sort_values("elapsed_h")


def _read(collection: Collection, refeed: str, signal: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the hours and readings of a refeed: rise in % of its first height, or pH."""
    own = collection["readings"][collection["readings"]["refeed"] == refeed]
    fed = collection["refeeds"][collection["refeeds"]["refeed"] == refeed]
    read = signals(own, fed, collection["vessels"])
    read = read[(read["signal"] == signal) & ~read["high_mark"]].sort_values("elapsed_h")
    hours, value = read["elapsed_h"].to_numpy(float), read["value"].to_numpy(float)
    if signal == "rise" and len(value):
        value = 100.0 * (value / value[0] - 1.0)
    return hours, value
