"""The page that tells a demo's truths: who lives there, what happens to whom, which mistakes were typed."""

from __future__ import annotations

from textwrap import wrap

import pandas as pd

from .house import TITLE
from .noise import Noise
from .shelf import Simulated

_INTRODUCTION = """\
# {title}

An invented collection of living sourdough cultures: {cultures} jars, {years}. The house, the valley, the mills, the
people, the cultures and every number in these files are made up, with a known truth, which this page tells. The
analysis is not tuned to it.

Two keepers refresh half of the shelf every month, so each culture about every sixty days, in three feedings on
consecutive days and up to five when a jar does not pass. One keeps text files (2022, 2024), the other spreadsheets
(2023: semicolons, decimal commas, centimetres), and a logger stood on {logged} refeeds of the last year.

Made by

    python -m leavenbench.simulate data_demo --seed {seed} --truth data_demo/README.md

which refuses a folder that holds anything. Nothing but this page gives the truth away.
"""

_CHANCE = """\
## The chance around the stories

- Every culture's vigour wanders from round to round with an sd of its own, {low:g} to {high:g} %, as an AR(1)
  series with coefficient {carry:g}.
- On top of it come each refeed (sd {first:g}, {second:g} and {third:g} % at steps 1, 2 and from 3), the handling of
  the day ({day:g} %), the flour lot ({lot:g} %), and the room's temperature by season and day (18 to 27 degC).
- {rounds:g} % of rounds were not held, and {slips:g} % of refeeds never reached the log.
- The ruler is good to {ruler:g} mm and the pH to {ph:g}. {misread} readings were misread: a height by one or two
  marks of 10 mm, a pH by half a unit.
- Doughs rise and sour by forms of the simulator's own, which are not among the curves that are fitted.
"""


def truth_page(demo: Simulated, seed: int) -> str:
    """Return the page of a demo, in Markdown.

    Parameters
    ----------
    demo : Simulated
        As from `house.simulate_demo`.
    seed : int
        The seed it was made with.

    Returns
    -------
    str
        The page.
    """
    years = pd.DatetimeIndex(demo.truth["refeeds"]["fed_at"]).year
    introduction = _INTRODUCTION.format(
        title=TITLE,
        cultures=len(demo.truth["cultures"]),
        years=f"{years.min()} to {years.max()}",
        logged=len(demo.truth["logged"]),
        seed=seed,
    )
    return "\n".join([introduction, _stories(demo), _chance(demo), _faults(demo.truth["typing_faults"])])


def _stories(demo: Simulated) -> str:
    """Tell what happens to whom; whoever is not named is steady."""
    cultures = demo.truth["cultures"].set_index("culture")
    flours = demo.tables["cultures"].set_index("culture")["flour"]
    lost = demo.tables["events"].set_index("culture")["happened_on"]
    lines = ["## The stories", "", "| culture | flour | what happens |", "|---|---|---|"]
    told = cultures.loc[cultures["story"] != "steady"].sort_values("onset_on", kind="stable")
    for name, story in told.iterrows():
        lines.append(f"| {name} | {flours[name]} | {_tell(story, lost.get(name))} |")
    only_sour = demo.tables["cultures"].query("leading_signal == 'acid'")["culture"].tolist()
    for name in only_sour:
        lines.append(f"| {name} | {flours[name]} | well, but never rises: it only sours |")
    others = [name for name in cultures.index if name not in (*told.index, *only_sour)]
    lines += ["", *wrap(f"{len(others)} cultures are steady: {', '.join(others)}.", 118), ""]
    return "\n".join(lines)


def _tell(story: pd.Series, lost_on: pd.Timestamp | None) -> str:
    since = f"{story['onset_on']:%d %B %Y} (its round {story['onset_round']})"
    if story["story"] == "ramp":
        return f"loses {story['percent']:g} % a round from {since} on"
    if story["story"] == "step":
        return f"loses {story['percent']:g} % at once on {since} and stays there"
    if story["story"] == "dip":
        return f"loses {story['percent']:g} % at once on {since} and heals by itself in {story['heals_in']} rounds"
    if lost_on is None:
        return f"dead from {since} on, and nobody has noticed: it still stands on the shelf"
    return f"dead from {since} on; entered as lost on {lost_on:%d %B %Y}"


def _chance(demo: Simulated) -> str:
    noise = Noise()
    low, high = (100.0 * sd for sd in noise.round_sd)
    first, second, third = (100.0 * sd for sd in noise.refeed_sd)
    return _CHANCE.format(
        low=low,
        high=high,
        carry=noise.carry_over,
        first=first,
        second=second,
        third=third,
        day=100.0 * noise.day_sd,
        lot=100.0 * noise.lot_sd,
        rounds=100.0 * noise.rounds_missing,
        slips=100.0 * noise.refeeds_missing,
        ruler=noise.ruler_sd_mm,
        ph=noise.ph_sd,
        misread=len(demo.truth["misread"]),
    )


def _faults(faults: pd.DataFrame) -> str:
    """List the mistakes that were typed into the files on purpose."""
    lines = [
        "## The planted typing mistakes",
        "",
        "| mistake | table | refeed | column | right | typed |",
        "|---|---|---|---|---|---|",
    ]
    for fault in faults.itertuples(index=False):
        where = f"{fault.fault} | {fault.table} | {fault.refeed} | {fault.column}"
        lines.append(f"| {where} | {_as_typed(fault.right)} | {_as_typed(fault.typed)} |")
    return "\n".join([*lines, ""])


def _as_typed(value: object) -> str:
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d %H:%M}"
    return value if isinstance(value, str) else f"{value:g}"
