"""How each culture is covered, at a glance; and how warm a store was."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from ...care.backups.cover import MAY_LIVE
from ...care.backups.forms import FORM_WORDS
from ...care.stores import WARN_ABOVE_DEGC, excursions
from ...records.collection import Collection
from .style import DEEP, INK, MIDDLE, PALE, finished, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_YEAR_D = 365.25
#: Marks differ in shape and in lightness, so that they are told apart in grey.
_MARKS: dict[str, dict[str, Any]] = {
    "proven": {"marker": "o", "color": DEEP},
    "unproven": {"marker": "o", "color": "white", "markeredgecolor": INK},
    "doubtful": {"marker": "v", "color": MIDDLE, "markeredgecolor": INK},
    "dead": {"marker": "x", "color": INK, "markeredgewidth": 1.6},
    "used up": {"marker": "_", "color": INK, "markeredgewidth": 1.6},
}


def plot_cover(covered: pd.DataFrame, ranked: pd.DataFrame | None = None, *, ax: Axes | None = None) -> Axes:
    """Draw which forms of each culture there are, and whether they are known to live.

    Parameters
    ----------
    covered : pandas.DataFrame
        As `care.backups.cover` makes it.
    ranked : pandas.DataFrame, optional
        As `care.backups.priority` makes it: then whose cover is most needed stands at the top; otherwise the order
        is that of `covered`.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        One row per culture and one column per form; beside each mark the age of the newest batch [years] and the
        portions left. Cultures that no whole form covers are on a grey ground.
    """
    if ranked is not None:
        covered = covered.set_index("culture").reindex(ranked["culture"]).reset_index()
    ax = ax or new_axes(6.9, 1.6 + 0.19 * len(covered))
    for row, culture in enumerate(covered.to_dict("records")):
        if culture["cover"] in ("none", "partial"):
            ax.axhspan(row - 0.5, row + 0.5, color=PALE, linewidth=0)
        for column, kind in enumerate(FORM_WORDS):
            _draw_form(ax, column, row, {name: culture[f"{kind}_{name}"] for name in ("state", "age_d", "units")})
    for state, look in _MARKS.items():
        ax.plot([], [], linestyle="none", markersize=6, label=state, **look)
    ax.fill_between([], [], color=PALE, linewidth=0, label="no whole form")
    ax.set_yticks(range(len(covered)), covered["culture"])
    ax.set_xticks(range(len(FORM_WORDS)), list(FORM_WORDS.values()))
    ax.set_xlim(-0.3, len(FORM_WORDS) - 0.3)
    ax.set_ylim(max(len(covered), 1) - 0.5, -0.5)
    ax.xaxis.tick_top()
    ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.01), ncols=len(_MARKS) + 1, fontsize=8, frameon=False)
    count = covered["cover"].value_counts()
    told = ", ".join(f"{count[cover]} {cover}" for cover in ("full", "unproven", "partial", "none") if cover in count)
    return finished(
        ax,
        f"Cover of {len(covered)} cultures: {told or 'nobody lives'}",
        "Form (age of the newest [years]; portions)",
        "",
    )


def _draw_form(ax: Axes, column: int, row: int, form: dict[str, Any]) -> None:
    if form["state"] not in _MARKS:
        return
    ax.plot([column], [row], linestyle="none", markersize=6, **_MARKS[form["state"]])
    if form["state"] in MAY_LIVE:
        age = "age not noted" if pd.isna(form["age_d"]) else f"{form['age_d'] / _YEAR_D:.1f} y"
        left = "" if pd.isna(form["units"]) else f"; {form['units']}"
        ax.annotate(age + left, (column, row), xytext=(7, 0), textcoords="offset points", va="center", fontsize=7)


def plot_store_log(collection: Collection, store: str, *, ax: Axes | None = None) -> Axes:
    """Draw how warm a store was, and when it was too warm.

    Parameters
    ----------
    collection : Collection
        Its stores and store_log.
    store : str
        The store.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        The temperature over time, the limit, and a mark at each excursion; of those so long that the store has failed
        the hours and the warmest reading.
    """
    ax = ax or new_axes(6.9, 3.0)
    log = collection["store_log"]
    log = log[log["store"] == store].dropna(subset=["read_at", "temperature_degC"]).sort_values("read_at")
    at = log["read_at"].dt.tz_localize(None)
    ax.plot(at, log["temperature_degC"], color=DEEP, linewidth=0.8, label="temperature")
    limit = _limit(collection, store)
    if limit is not None:
        ax.axhline(limit, color=INK, linestyle="--", linewidth=1.0, label=f"limit, {limit:g} °C")
    warm = excursions(collection)
    warm = warm[warm["store"] == store]
    for number, row in enumerate(warm.to_dict("records")):
        begin, end = row["from_at"].tz_localize(None), row["until_at"].tz_localize(None)
        middle = begin + (end - begin) / 2
        label = "too warm" if number == 0 else "_"
        ax.plot([middle], [row["warmest_degC"]], "v", color=MIDDLE, markeredgecolor=INK, markersize=7, label=label)
        if row["failed"]:
            late = len(at) > 0 and middle > at.min() + (at.max() - at.min()) / 2
            look: Any = {"xytext": (-7 if late else 7, 0), "ha": "right" if late else "left", "va": "center"}
            words = f"{begin:%Y-%m-%d}: {row['hours']:.0f} h, to {row['warmest_degC']:.1f} °C"
            ax.annotate(words, (middle, row["warmest_degC"]), textcoords="offset points", fontsize=8, **look)
    if len(log):
        ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.2), ncols=3, fontsize=8, frameon=False)
    told = f"{len(warm)} time{'' if len(warm) == 1 else 's'} too warm" if len(log) else "nothing is logged"
    return finished(ax, f"{store}: {told}", "Day [date]", "Temperature [°C]")


def _limit(collection: Collection, store: str) -> float | None:
    """Return the store's own limit [degC], else that of its kind; None for a store of which neither is known."""
    known = collection["stores"].set_index("store")
    if store not in known.index:
        return None
    own = known.loc[store, "warn_above_degC"]
    return WARN_ABOVE_DEGC.get(known.loc[store, "kind"]) if pd.isna(own) else float(own)
