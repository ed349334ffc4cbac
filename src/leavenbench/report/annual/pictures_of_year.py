"""The figures of a report: what each draws, from which tables, and what it says in words."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

import pandas as pd

from ...care.year import YearInFigures
from ...care.year.collection import NOT_NOTED
from ...records.settings import Settings
from . import figures
from .pictures import Picture, picture

if TYPE_CHECKING:
    from matplotlib.axes import Axes


class Figure(NamedTuple):
    """A figure in its section, with the tables that every number in it is from."""

    section: str
    tables: tuple[str, ...]
    picture: Picture


class _Plan(NamedTuple):
    name: str
    section: str
    tables: tuple[str, ...]
    alt: Callable[[YearInFigures], str]
    draw: Callable[[YearInFigures, Settings], Axes]
    needs: str = ""


def figures_of(told: YearInFigures, settings: Settings) -> list[Figure]:
    """Draw the figures of a year: those whose first table tells anything.

    Parameters
    ----------
    told : YearInFigures
        The year.
    settings : Settings
        The collection's, for half strength.

    Returns
    -------
    list of Figure
    """
    tables = told.tables()
    drawn = []
    for plan in _PLANS:
        first = tables[plan.tables[0]]
        if tells(first[[plan.needs]] if plan.needs else first):
            draw = partial(plan.draw, told, settings)
            made = picture(plan.name, f"{first.attrs['caption']}.", plan.alt(told), draw, with_png=True)
            drawn.append(Figure(plan.section, plan.tables, made))
    return drawn


def tells(table: pd.DataFrame) -> bool:
    """Tell whether there is anything in a table but noughts, gaps, and what is not noted."""
    numbers = table.select_dtypes("number")
    return not (table.iloc[:, 0] == NOT_NOTED).all() and (
        numbers.empty or bool((numbers.fillna(0) != 0).any(axis=None))
    )


def _counted(table: pd.DataFrame, name: str, number: str = "cultures") -> str:
    """Tell a short table of counts in words."""
    known = table[table[number].fillna(0) > 0]
    return ", ".join(f"{row[name]} {row[number]}" for row in known[[name, number]].to_dict("records")) or "none"


def _alt_places(told: YearInFigures) -> str:
    known = told.places.dropna(subset=["latitude", "longitude"])
    grains = known["grain"].fillna("not noted").value_counts(sort=False).sort_index()
    words = ", ".join(f"{grain} {number}" for grain, number in grains.items())
    return f"Points on a grid of latitude and longitude, one for each of {len(known)} cultures, by grain: {words}."


def _alt_survival(told: YearInFigures) -> str:
    last = told.survival.iloc[-1]
    return (
        f"A line of steps: of the cultures {last['alive_pct']:.0f} % are not lost by the age of {last['age_y']:.1f} "
        f"years, after {told.survival['lost'].sum()} losses in all."
    )


def _alt_months(told: YearInFigures) -> str:
    sums = told.months[["on_time", "late", "early", "first", "not_held"]].sum()
    kinds = ", ".join(f"{number} {name.replace('_', ' ')}" for name, number in sums.items())
    return f"Bars, one for each of {len(told.months)} months: {kinds} rounds over the year."


def _alt_levels(told: YearInFigures) -> str:
    levels = told.vigour["level_pct"].dropna()
    if levels.empty:
        return "Bars of cultures by vigour: none was read."
    low, middle, high = levels.quantile([0.1, 0.5, 0.9])
    return (
        f"Bars of {len(levels)} cultures by vigour: middle {middle:.0f} %, four of five from {low:.0f} to {high:.0f} %."
    )


def _alt_change(told: YearInFigures) -> str:
    verdicts = told.vigour["verdict"].value_counts(sort=False).sort_index()
    counts = ", ".join(f"{number} {verdict}" for verdict, number in verdicts.items())
    named = told.vigour[told.vigour["verdict"].isin(("lower", "higher"))]
    names = ", ".join(f"{row.culture} {row.verdict}" for row in named.itertuples())
    return f"Points, one for each culture, this year's vigour over that of the year before: {counts}. {names}".strip()


def _alt_standings(told: YearInFigures) -> str:
    by_quarter = told.standings.groupby("quarter", sort=False)
    return (
        "Bars by quarter: " + "; ".join(f"{quarter}: {_counted(own, 'standing')}" for quarter, own in by_quarter) + "."
    )


def _alt_cover(told: YearInFigures) -> str:
    began, ended = (_counted(told.cover, "cover", f"when_it_{end}") for end in ("began", "ended"))
    return f"Two bars of living cultures by cover: when the year began {began}; when it ended {ended}."


def _alt_species(told: YearInFigures) -> str:
    return f"Bars of cultures in which each species was found: {_counted(told.species, 'species')}."


_PLANS = (
    _Plan("places", "collection", ("places",), _alt_places, lambda told, _: figures.plot_places(told.places)),
    _Plan("survival", "survival", ("survival", "at_risk"), _alt_survival,
          lambda told, _: figures.plot_survival(told.survival, told.at_risk)),
    _Plan("rounds", "work", ("months",), _alt_months, lambda told, _: figures.plot_kept_rounds(told.months)),
    _Plan("levels", "health", ("vigour",), _alt_levels,
          lambda told, settings: figures.plot_levels(told.vigour, settings.half_strength_pct)),
    _Plan("change", "health", ("vigour",), _alt_change, lambda told, _: figures.plot_change(told.vigour), "change_pct"),
    _Plan("standings", "warnings", ("standings",), _alt_standings,
          lambda told, _: figures.plot_standings(told.standings)),
    _Plan("cover", "net", ("cover",), _alt_cover, lambda told, _: figures.plot_cover_change(told.cover)),
    _Plan("species", "organisms", ("species",), _alt_species, lambda told, _: figures.plot_species(told.species)),
)  # fmt: skip
