"""The report of a year as one page: section by section, each number with the table that it is from."""

from __future__ import annotations

from xml.etree.ElementTree import Element

import pandas as pd

from ...care.backups.forms import form_words
from ...care.cautions import DEFER
from ...care.year import SECTIONS, YearInFigures
from ...care.year.captioned import count_of
from ...records.settings import Settings
from ..html_page import add, page_bytes
from .methods import METHODS, settings_words, versions_words, withheld_words
from .page import add_list, add_picture, add_table, heading, new_page
from .pictures_of_year import Figure, tells

#: How each section is headed.
_HEADINGS = {
    "collection": "The collection",
    "survival": "How long cultures last",
    "work": "The work",
    "health": "The health",
    "warnings": "The watch list, and an honest score of it",
    "net": "The safety net",
    "organisms": "The organisms",
}
#: Long tables that are drawn, or told by another; they stand in the folder alone.
_IN_FOLDER_ALONE = ("ages", "places", "survival", "at_risk", "rounds", "forms", "standings")
#: Rows of a table that the page shows.
_MOST_ROWS = 20
#: Columns that a page has no room for; the folder has them.
_LEFT_TO_FOLDER = {
    "vigour": ("rounds_before", "p", "change_pct_se", "level_pct_se", "year_pct", "year_before_pct"),
    "sent": ("terms", "permit", "allergen_label", "allergens", "notice"),
    "months": ("unweighed",),
    "survival_by_source": ("chi_square",),
    "vigour_change": ("change_points_se",),
    "species": ("words",),
    "diversity": ("hill_0", "common_coverage"),
    "watched": ("vigour_low_pct", "vigour_high_pct"),
    "causes": ("effect_pct_se", "odds"),
}
#: Headings where a column's name would leave a reader in the dark.
_HEADED = {
    "lives": {
        "late": "received before the records began",
        "unknown": "day of receipt not noted",
        "median_y": "half are lost by [years]",
        "median_low_y": "low",
        "median_high_y": "high",
    },
    "survival_by_source": {"source": "flour", "expected": "expected, were all alike"},
    "rounds": {"late_d": "days late"},
    "score": {"lead_d": "days ahead", "words": "that is"},
    "watched": {"became": "what became of it", "became_on": "on"},
    "form_ages": {"kind": "form", "age_middle_y": "median age [years]", "age_oldest_y": "oldest [years]"},
    "restorations": {"kind": "form", "age_d": "age [days]", "back": "entered as restored"},
    "diversity": {
        "organisms": "species",
        "coverage": "coverage, 0 to 1",
        "hill_1": "Hill 1: kinds by share",
        "hill_2": "Hill 2: common kinds",
        "hill_0_common": "species at equal coverage",
        "hill_1_common": "Hill 1 at equal coverage",
        "hill_2_common": "Hill 2 at equal coverage",
    },
}
_TOGETHER = "all together"
#: How rounds kept to the calendar, in words.
_KEPT = {
    "on_time": "on time",
    "late": "late",
    "early": "early",
    "first": "the first of a culture",
    "not_held": "due and not held",
}
#: Tables whose kinds are forms of a back-up.
_OF_FORMS = ("form_ages", "restorations")


def year_page(told: YearInFigures, drawn: list[Figure], settings: Settings) -> bytes:
    """Return the report of a year.

    Parameters
    ----------
    told : YearInFigures
        Its tables.
    drawn : list of Figure
        Its figures.
    settings : Settings
        The collection's.

    Returns
    -------
    bytes
        A page that needs nothing beside it.
    """
    year, title = told.period.year, settings.title
    page, main = new_page(f"{title}: the year {year}")
    add(main, "h1", f"{title}: the year {year}")
    reach = told.period.records_until
    until = f" The last record up to its end is of {reach:%d %B %Y}." if pd.notna(reach) else ""
    source = "The words in square brackets name the table that a number is from, in the folder and in tables.xlsx."
    add(main, "p", f"Everything here is from the records as they stood at the end of {year}.{until} {source}")
    add(main, "h2", "In short")
    add_list(main, _in_short(told))
    for section, names in SECTIONS.items():
        add(main, "h2", _HEADINGS[section], id=section)
        if told.said[section]:
            add(main, "p", told.said[section], class_="missing")
        for figure in drawn:
            if figure.section == section:
                add_picture(main, figure.picture, f"[{', '.join(figure.tables)}]")
        tables = told.tables()
        for name in names:
            # of what the section has said to be missing no noughts are shown
            if name not in _IN_FOLDER_ALONE and (tells(tables[name]) or (len(tables[name]) and not told.said[section])):
                pictured = any(name in figure.tables for figure in drawn)
                _add_table(main, name, tables[name], pictured=pictured)
    _add_methods(main, told, settings)
    return page_bytes(page)


def _add_table(main: Element, name: str, table: pd.DataFrame, *, pictured: bool) -> None:
    cut = f"; the first {_MOST_ROWS} of {len(table)} rows" if len(table) > _MOST_ROWS else ""
    columns = [column for column in table.columns if column not in _LEFT_TO_FOLDER.get(name, ())]
    shown = _to_be_read(name, table)[columns].head(_MOST_ROWS)
    caption = f"{'The numbers of the picture' if pictured else table.attrs['caption']}{cut}. [{name}]"
    headed = _HEADED.get(name, {})
    add_table(main, shown, caption, {column: headed.get(column, heading(column)) for column in columns})


def _to_be_read(name: str, table: pd.DataFrame) -> pd.DataFrame:
    """Return a table with what matters most on top, a name for every row, and words for forms."""
    if name == "vigour":
        return table.sort_values("p", kind="stable")
    if name == "diversity":
        return table.assign(culture=table["culture"].fillna(_TOGETHER))
    return table.assign(kind=table["kind"].map(form_words, na_action=None)) if name in _OF_FORMS else table


def _in_short(told: YearInFigures) -> list[str]:
    """Return the few numbers that a reader looks for first."""
    *moved, living = told.balance[["cultures", "what"]].itertuples(index=False)
    words = ", ".join(f"{number} {what}" for number, what in moved[1:])
    lines = [f"{count_of(living.cultures, 'culture')} lived when the year ended; in the year {words}. [balance]"]
    lines.append(_work(told.months.drop(columns="month").sum()))
    levels = told.vigour["level_pct"].dropna()
    if len(levels):
        read = count_of(len(levels), "culture")
        lines.append(f"Vigour at the last round, middle of {read}: {levels.median():.0f} % of its own usual. [vigour]")
    own = told.vigour_change[told.vigour_change["which"] == "own"].dropna(subset="change_points")
    for row in own.to_dict("records"):
        span = f"{row['change_points_low']:+.1f} to {row['change_points_high']:+.1f}"
        told_change = f"{row['change_points']:+.1f} points of vigour (95 % interval {span}): {row['verdict']}"
        lines.append(f"Against the year before: {told_change}. [vigour_change]")
    score = told.score[told.score["warnings"] > 0]
    if len(score):
        words = ", ".join(f"{row.warnings} {row.outcome}" for row in score.itertuples())
        lines.append(f"Of the alerts and misses of the year: {words}. [score]")
    covered = told.cover[told.cover["when_it_ended"] > 0]
    if len(covered):
        words = ", ".join(f"{row.when_it_ended} {row.cover}" for row in covered.itertuples())
        lines.append(f"Back-ups of the living cultures: {words}. [cover]")
    if len(told.species):
        species = told.species
        among = f"in {count_of(int(species['sampled'].max()), 'living culture')} sampled"
        once = f"{int(species['once'].sum())} of them found in one alone"
        lines.append(f"Organisms: {len(species)} species {among}, {once}. [species]")
    return lines


def _work(done: pd.Series) -> str:
    if not done.any():
        return "No refeed was written down, and no round was due. [months]"
    read = f"{count_of(int(done['refeeds']), 'refeed')} and {count_of(int(done['readings']), 'reading')}"
    kept = ", ".join(f"{int(done[name]):,} {words}" for name, words in _KEPT.items() if done[name])
    return f"{count_of(int(done['rounds']), 'round')} with {read}; {kept}. [months]"


def _add_methods(main: Element, told: YearInFigures, settings: Settings) -> None:
    add(main, "h2", "Methods", id="methods", class_="new-page")
    for name, words in METHODS.items():
        add(main, "h3", name)
        add(main, "p", words)
    add(main, "h3", "Settings")
    add_list(main, settings_words(settings))
    add(main, "h3", "What is withheld")
    add_list(main, withheld_words())
    add(main, "h3", "The map")
    add(main, "p", "Points stand on a grid of degrees. Outlines of land are not drawn, since none come with the "
        "package and nothing is downloaded.")  # fmt: skip
    add(main, "h3", "Versions")
    add(main, "p", versions_words())
    add(main, "h3", "All tables")
    contents = [(name, table.attrs["caption"], len(table)) for name, table in told.tables().items()]
    listed = pd.DataFrame(contents, columns=["table", "what it holds", "rows"])
    add_table(main, listed, f"{len(listed)} tables in the folder tables, and in tables.xlsx.")
    add(main, "p", f"Vigour is not identity, and no number here clears food for sale. {DEFER}")
