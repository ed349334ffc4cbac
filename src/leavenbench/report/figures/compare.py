"""Cultures side by side: means and differences, whole curves, the answer to temperature, the map."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from ...compare.letters import shared_letters
from ...compare.map import CultureMap
from ...compare.whole_curves import hours_of_difference
from ...temperature import Cardinal, relative_rate
from .style import DEEP, INK, MIDDLE, PALE, STEP_MARKS, finished, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_QUANTITY = {"rise": "Rise over the start [%]", "acid": "pH"}
_CARDINAL = {"lowest_degC": "stops below", "optimum_degC": "optimum", "highest_degC": "stops above"}
#: Length of the arrow at an open end [degC].
_ARROW_DEGC = 2.5
_DASHES = ("-", "--", "-.", ":")
_SHADES = (DEEP, MIDDLE, INK, "#7a7a7a")


def plot_differences(means: pd.DataFrame, pairs: pd.DataFrame | None = None, *, ax: Axes | None = None) -> Axes:
    """Draw the estimated means of one trait with their intervals, the highest on top.

    Parameters
    ----------
    means : pandas.DataFrame
        As from `compare.differences.means`, of one trait.
    pairs : pandas.DataFrame, optional
        As from `compare.differences.pairs`: groups without a letter in common differ.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    order = means.sort_values("mean", kind="stable", ignore_index=True)
    ax = ax or new_axes(6.3, 1.2 + 0.22 * max(len(order), 4))
    rows = np.arange(len(order))
    ax.hlines(rows, order["low"], order["high"], color=DEEP, linewidth=2.0)
    ax.plot(order["mean"], rows, "o", color=INK, markersize=5)
    ax.set_yticks(rows, [f"{row.group} ({row.refeeds})" for row in order.itertuples()])
    ax.set_ylim(-0.7, len(order) - 0.3)
    trait, unit, by = (str(order[name].iloc[0]) for name in ("trait", "unit", "by"))
    title = f"{trait} by {by}: estimated means, 95 % intervals"
    if pairs is not None:
        letters = shared_letters(means, pairs)
        for row, group in zip(rows, order["group"], strict=True):
            ax.annotate(letters[group], (1.01, row), xycoords=("axes fraction", "data"), va="center", fontsize=8)
        adjusted = ", ".join(sorted(pairs["adjusted_by"].dropna().unique()))
        title += f"\nno letter in common: they differ; adjusted: {adjusted}"
    name = trait.partition(" ")[2].removesuffix("_h").replace("_", " ") or trait
    return finished(ax, title, f"{name.capitalize()} [{unit}]", f"{by.capitalize()} (refeeds)")


def plot_pooled_curves(pooled: pd.DataFrame, signal: str = "rise", *, ax: Axes | None = None) -> Axes:
    """Draw the mean curves of cultures with their bands.

    Parameters
    ----------
    pooled : pandas.DataFrame
        As from `compare.whole_curves.pooled_curve`, one culture below the other; four at most stay legible.
    signal : str
        rise or acid.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = ax or new_axes()
    for number, (culture, own) in enumerate(pooled.groupby("culture", sort=False)):
        shade, dash = _SHADES[number % len(_SHADES)], _DASHES[number % len(_DASHES)]
        ax.fill_between(own["elapsed_h"], own["low"], own["high"], color=shade, alpha=0.15, linewidth=0)
        for end in ("low", "high"):
            ax.plot(own["elapsed_h"], own[end], color=shade, linestyle=dash, linewidth=0.5)
        label = f"{culture}, {own['refeeds'].iloc[0]} refeeds"
        ax.plot(own["elapsed_h"], own["value"], color=shade, linestyle=dash, linewidth=1.8, label=label)
    ax.legend(loc="best", fontsize=8, frameon=False)
    title = f"Mean curves with {pooled['level_pct'].iloc[0]:g} % bands, each for its whole curve"
    return finished(ax, title, "Time since feeding, at the reference temperature [h]", _QUANTITY[signal])


def plot_curve_difference(difference: pd.DataFrame, signal: str = "rise", *, ax: Axes | None = None) -> Axes:
    """Draw how far one culture's curve lies above another's, and the hours at which they differ.

    Parameters
    ----------
    difference : pandas.DataFrame
        As from `compare.whole_curves.curve_difference`.
    signal : str
        rise or acid.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax = ax or new_axes()
    hours, first = difference["elapsed_h"], difference.iloc[0]
    level = f"{first['level_pct']:g} % band for the whole difference"
    ax.fill_between(hours, difference["low"], difference["high"], color=PALE, linewidth=0, label=level)
    ax.plot(hours, difference["difference"], color=DEEP, linewidth=1.8, label="difference of the mean curves")
    ax.axhline(0.0, color=INK, linewidth=0.8)
    stretches = hours_of_difference(difference)
    for place, (begin, end) in enumerate(stretches):
        foot: dict[str, Any] = {"transform": ax.get_xaxis_transform(), "color": INK, "linewidth": 3.0}
        ax.plot([begin, end], [0.02, 0.02], **foot, label="" if place else "they differ")
    ax.legend(loc="best", fontsize=8, frameon=False)
    said = ", ".join(f"{begin:g} to {end:g} h" for begin, end in stretches)
    title = f"{first['culture']} less {first['other']}: {first['refeeds']} and {first['other_refeeds']} refeeds, "
    title += f"{first['days_shared']} days shared\n{'they differ at ' + said if said else 'no difference shown'}"
    quantity = {"rise": "Difference of rise [percentage points]", "acid": "Difference of pH"}[signal]
    return finished(ax, title, "Time since feeding, at the reference temperature [h]", quantity)


def plot_temperature(rates: pd.DataFrame, response: pd.DataFrame, culture: str, *, ax: Axes | None = None) -> Axes:
    """Draw how the steepest slope of a culture depends on temperature.

    Parameters
    ----------
    rates : pandas.DataFrame
        As from `compare.temperature.rates_by_temperature`.
    response : pandas.DataFrame
        As from `compare.temperature.temperature_response`.
    culture : str
        Which.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Points are refeeds; the fitted curve is drawn where nothing is left open; bars at the foot are the intervals
        of the cardinal temperatures, an arrow where one is open.
    """
    ax = ax or new_axes()
    own, row = rates[rates["culture"] == culture], response.set_index("culture").loc[culture]
    ax.plot(own["temperature_degC"], own["rate"], "o", color=INK, markerfacecolor="white", label="refeeds", zorder=3)
    cardinal = [row[name] for name in _CARDINAL]
    top = 1.15 * max(float(own["rate"].max()), 1e-9)
    if np.isfinite([*cardinal, row["optimal_rate"]]).all():
        degC = np.linspace(cardinal[0] - 1.0, cardinal[2] + 1.0, 400)
        ax.plot(degC, row["optimal_rate"] * relative_rate(degC, Cardinal(*cardinal)), color=DEEP, label="fitted model")
        top = max(top, 1.1 * float(row["optimal_rate"]))
    for place, (name, what) in enumerate(_CARDINAL.items()):
        _draw_interval(ax, row, name, what, -top * (0.09 + 0.09 * place))
    named = [row[f"{name}_{end}"] for name in _CARDINAL for end in ("low", "high")]
    reached = np.array([*own["temperature_degC"], *(end for end in named if np.isfinite(end))], float)
    room = 0.3 * np.ptp(reached) + 1.0
    ax.set_xlim(reached.min() - room, reached.max() + 0.4 * room + _ARROW_DEGC)
    ax.set_ylim(-0.36 * top, top)
    ax.set_yticks([tick for tick in ax.get_yticks() if 0.0 <= tick <= top])
    ax.axhline(0.0, color=INK, linewidth=0.6)
    ax.legend(loc="upper left", fontsize=8, frameon=False)
    unit, signal = ("%/h", "rise") if row["signal"] == "rise" else ("pH/h", "souring")
    title = f"{culture}: {row['refeeds']} refeeds at {row['temperatures']} temperatures; bars are 95 % intervals"
    return finished(ax, title, "Temperature of the dough [degC]", f"Steepest slope of {signal} [{unit}]")


def _draw_interval(ax: Axes, row: pd.Series, name: str, what: str, height: float) -> None:
    """Draw the interval of a cardinal temperature; an open end is an arrow."""
    low, high = row[f"{name}_low"], row[f"{name}_high"]
    ends = [end for end in (low, high) if np.isfinite(end)]
    if not ends:
        return
    if len(ends) == 2:
        ax.plot([low, high], [height, height], color=MIDDLE, linewidth=3.0, solid_capstyle="butt")
        ax.plot([row[name]] if np.isfinite(row[name]) else [], [height] if np.isfinite(row[name]) else [], "|",
                color=INK, markersize=9)  # fmt: skip
    else:
        way = _ARROW_DEGC if np.isfinite(low) else -_ARROW_DEGC
        arrow: dict[str, Any] = {"arrowstyle": "->", "color": MIDDLE, "linewidth": 2.0}
        ax.annotate("", (ends[0] + way, height), (ends[0], height), arrowprops=arrow)
        ax.plot([ends[0]], [height], "|", color=MIDDLE, markersize=9)
        what += ", at least" if way > 0.0 else ", at most"
        what += f" {ends[0]:.1f} degC"
    left = len(ends) == 2 or np.isfinite(low)
    ax.annotate(what, (min(ends), height), (-6 if left else 6, 0), fontsize=7.5, textcoords="offset points",
                ha="right" if left else "left", va="center")  # fmt: skip


def plot_map(made: CultureMap, *, ax: Axes | None = None) -> Axes:
    """Draw the map of cultures along its first two axes, with the traits that go with them.

    Parameters
    ----------
    made : CultureMap
        As from `compare.map.culture_map`.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Groups differ in the shape of their points and say how firm they are; arrows show how each trait goes with
        the axes, the longer the more. Where names would overlap, those further out are shown.
    """
    ax = ax or new_axes(7.2, 5.0)
    groups = list(made.places.groupby("cluster"))
    for number, (group, own) in enumerate(groups):
        said = f"group {group}: {own['verdict'].iloc[0]} ({own['stability'].iloc[0]:.2f})" if len(groups) > 1 else ""
        mark: dict[str, Any] = {"marker": STEP_MARKS[number % len(STEP_MARKS)], "linestyle": "", "color": INK}
        face = ("white", INK, PALE)[number % 3]
        ax.plot(own["axis_1"], own["axis_2"], **mark, markerfacecolor=face, markersize=6, label=said)
    taken: list[Any] = []
    _draw_traits(ax, made.loadings.iloc[:, :2], taken)
    _name_cultures(ax, made.places, taken)
    ax.axhline(0.0, color=PALE, linewidth=0.8, zorder=0)
    ax.axvline(0.0, color=PALE, linewidth=0.8, zorder=0)
    if len(groups) > 1:
        ax.legend(loc="upper left", bbox_to_anchor=(0.0, -0.17), ncols=2, fontsize=8, frameon=False)
    share = made.axes.set_index("axis")["share_pct"]
    labels = [f"Axis {one} ({share[one]:.0f} % of the variance) [sd of a trait]" for one in share.index[:2]]
    first, *more = made.words.split("; ")
    title = "\n".join((f"Map of cultures by activity: {first}", *more[:1]))
    return finished(ax, title, *(labels or ["Axis 1", "Axis 2"]))


def _draw_traits(ax: Axes, loadings: pd.DataFrame, taken: list[Any]) -> None:
    """Draw how traits go with the axes, as long as the picture has room for."""
    if loadings.shape[1] < 2 or loadings.empty:
        return
    ends, along = np.array([ax.get_xlim(), ax.get_ylim()]), loadings.to_numpy()
    with np.errstate(divide="ignore", invalid="ignore"):
        room = np.where(along > 0.0, ends[:, 1], ends[:, 0]) / along
    arrow: dict[str, Any] = {"arrowstyle": "->", "color": MIDDLE, "linewidth": 0.9}
    for trait, tip in zip(loadings.index, 0.85 * room[np.isfinite(room)].min() * along, strict=True):
        ax.annotate("", tuple(tip), (0.0, 0.0), arrowprops=arrow)
        _named(ax, str(trait).replace("_", " "), tip, [(3, 3), (3, -8), (3, 14), (3, -19)], taken, MIDDLE)


def _name_cultures(ax: Axes, places: pd.DataFrame, taken: list[Any]) -> None:
    """Name the cultures, those furthest out first, where there is room."""
    out = np.hypot(places["axis_1"], places["axis_2"]).sort_values(ascending=False)
    for row in places.loc[out.index].itertuples():
        _named(ax, str(row.culture), np.array([row.axis_1, row.axis_2]), [(5, 3), (5, -9)], taken, INK)


def _named(
    ax: Axes, name: str, place: np.ndarray, offsets: list[tuple[int, int]], taken: list[Any], color: str
) -> None:
    """Write a name where it overlaps none of those written before, or not at all."""
    said = ax.annotate(name, tuple(place), offsets[0], textcoords="offset points", fontsize=7, color=color)
    for offset in offsets:
        said.set_position(offset)
        box = said.get_window_extent()
        if not any(box.overlaps(other) for other in taken):
            taken.append(box)
            return
    said.remove()
