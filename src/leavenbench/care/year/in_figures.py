"""The year in figures: all tables of the annual report, and what could not be told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from ...records.collection import Collection
from ...vigour.causes import Causes
from .collection import tell_collection
from .health import tell_health
from .lives import lives
from .net import tell_net
from .organisms import tell_organisms
from .period import Period
from .survival import tell_survival
from .warnings import tell_warnings
from .work import tell_work

#: The sections of a year and their tables, in the order of reading.
SECTIONS: dict[str, tuple[str, ...]] = {
    "collection": ("balance", "movements", "by_grain", "by_country", "ages", "places"),
    "survival": ("survival", "at_risk", "lives", "survival_by_source", "losses"),
    "work": ("months", "rounds", "flour", "gaps", "curves"),
    "health": ("vigour", "vigour_change", "causes"),
    "warnings": ("standings", "watched", "warnings", "score"),
    "net": ("cover", "forms", "form_ages", "sole_flours", "sent", "restorations"),
    "organisms": ("sampled", "species", "diversity"),
}


@dataclass(frozen=True)
class YearInFigures:
    """A year of a collection, as tables; each tells n, period and method in ``attrs["caption"]``.

    Attributes
    ----------
    period : Period
        The year, and how far the records reach into it.
    said : mapping of str to str
        For each of `SECTIONS` a sentence on what is missing; empty where nothing is.
    balance, movements, by_grain, by_country, ages, places : pandas.DataFrame
        The collection: the columns of ``RESULTS["year_balance"]`` and so on.
    survival, at_risk, lives, survival_by_source, losses : pandas.DataFrame
        How long cultures last.
    months, rounds, flour, gaps, curves : pandas.DataFrame
        The work.
    vigour, vigour_change : pandas.DataFrame
        The health, against the year before.
    causes : pandas.DataFrame
        What the shelf shared: the columns of ``RESULTS["shared_causes"]``.
    standings, watched, score : pandas.DataFrame
        What the warning was worth.
    warnings : pandas.DataFrame
        The warnings behind the score: the columns of ``RESULTS["warnings"]``.
    cover, form_ages, sole_flours, restorations : pandas.DataFrame
        The safety net.
    forms, sent : pandas.DataFrame
        Its batches and what went out: the columns of ``RESULTS["backup_forms"]`` and ``RESULTS["sent"]``.
    sampled, species : pandas.DataFrame
        The organisms.
    diversity : pandas.DataFrame
        How many kinds of them: the columns of ``RESULTS["diversity"]``, all cultures together first.
    """

    period: Period
    said: Mapping[str, str]
    balance: pd.DataFrame
    movements: pd.DataFrame
    by_grain: pd.DataFrame
    by_country: pd.DataFrame
    ages: pd.DataFrame
    places: pd.DataFrame
    survival: pd.DataFrame
    at_risk: pd.DataFrame
    lives: pd.DataFrame
    survival_by_source: pd.DataFrame
    losses: pd.DataFrame
    months: pd.DataFrame
    rounds: pd.DataFrame
    flour: pd.DataFrame
    gaps: pd.DataFrame
    curves: pd.DataFrame
    vigour: pd.DataFrame
    vigour_change: pd.DataFrame
    causes: pd.DataFrame
    standings: pd.DataFrame
    watched: pd.DataFrame
    warnings: pd.DataFrame
    score: pd.DataFrame
    cover: pd.DataFrame
    forms: pd.DataFrame
    form_ages: pd.DataFrame
    sole_flours: pd.DataFrame
    sent: pd.DataFrame
    restorations: pd.DataFrame
    sampled: pd.DataFrame
    species: pd.DataFrame
    diversity: pd.DataFrame

    def tables(self) -> dict[str, pd.DataFrame]:
        """Return every table by name, in the order of reading."""
        return {name: getattr(self, name) for names in SECTIONS.values() for name in names}

    def _repr_html_(self) -> str:
        said = "".join(f"<p>{words}</p>" for words in self.said.values() if words)
        return f"<b>{self.period.year}</b>{self.balance.to_html(index=False)}{said}"


def year_in_figures(
    collection: Collection,
    curves: pd.DataFrame,
    vigour: pd.DataFrame,
    history: pd.DataFrame,
    causes: Causes,
    year: int,
) -> YearInFigures:
    r"""Return everything that the report of a year tells.

    Parameters
    ----------
    collection : Collection
        The records, read up to the end of the year.
    curves, vigour : pandas.DataFrame, pandas.DataFrame
        Their curves and vigour tables.
    history : pandas.DataFrame
        How every culture stood at the end of each month, as from `standing_history` or `watch_history` up to the last
        day of the year; the quarters are among them, and the score needs the months between.
    causes : Causes
        The causes that the shelf shared.
    year : int
        The year.

    Returns
    -------
    YearInFigures
        Its tables are empty, and `said` tells so, where nothing is recorded.

    Examples
    --------
    >>> import datetime as dt, leavenbench, pathlib, tempfile
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> _ = (folder / "refeeds.csv").write_text("refeed,culture,fed_at\na,Alba,2025-01-02 08:00\n")
    >>> _ = (folder / "readings.csv").write_text("refeed,elapsed,height\na,0,40\na,3,70\n")
    >>> last = dt.date(2025, 12, 31)
    >>> shelf = leavenbench.read_collection(folder, as_of=last)
    >>> curves = leavenbench.trace_collection(shelf)
    >>> vigour, causes = leavenbench.vigour_of(shelf, curves), leavenbench.causes_of(shelf, curves)
    >>> history = leavenbench.watch_history(shelf, curves, vigour, last)
    >>> told = year_in_figures(shelf, curves, vigour, history, causes, 2025)
    >>> told.months[["month", "rounds", "refeeds", "readings", "first"]].head(1)
         month  rounds  refeeds  readings  first
    0  2025-01       1        1         2      1
    >>> told.said["work"]
    'Months without a refeed: 2025-02 to 2025-12; the last record of the year is of 02 January; no flour was weighed.'
    """
    period = Period.of(collection, year)
    lived = lives(collection)
    parts = {
        "collection": tell_collection(collection, lived, period),
        "survival": tell_survival(collection, lived, period),
        "work": tell_work(collection, curves, lived, period),
        "health": tell_health(collection, vigour, causes, lived, period),
        "warnings": tell_warnings(collection, history, period),
        "net": tell_net(collection, period),
        "organisms": tell_organisms(collection, lived, period),
    }
    said = {section: words for section, (_, words) in parts.items()}
    tables = {name: table for made, _ in parts.values() for name, table in made.items()}
    return YearInFigures(period, said, **tables)
