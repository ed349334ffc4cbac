"""The page that tells a demo's truths: who lives there, what happens to whom, which mistakes were typed."""

from __future__ import annotations

from textwrap import wrap

import pandas as pd

from ..noise import Noise
from ..shelf import Simulated
from .fates import MISHAPS, PROBES
from .household import BLENDS, TITLE
from .sentences import tell_cause, tell_story

_INTRODUCTION = """\
# {title}

An invented collection of living sourdough cultures: {cultures} jars, {years}. The house, the valley, the mills, the
people, the cultures and every number in these files are made up, with a known truth, which this page tells. The
analysis is not tuned to it.

Two keepers refresh half of the shelf every month, so each culture about every sixty days, in three feedings on
consecutive days and up to five when a jar does not pass. They keep their records as people do: text files, a year
with semicolons and decimal commas (2022, with its readings in a spreadsheet of centimetres and degrees Fahrenheit),
one workbook of small sheets, and the files of a logger that stood on {logged} refeeds of the last year. In the loft a
thermometer is stuck into the dough at every look; in the bakehouse only the wall's is read, at feeding. The books end
with the last feeding, on {end:%d %B %Y}.

Made by

    python -m leavenbench.simulate data_demo --seed {seed} --truth data_demo/README.md

which refuses a folder that holds anything. Nothing but this page gives the truth away.
"""

_CHANCE = """\
## The chance around the stories

- Every culture's vigour wanders from round to round with an sd of its own, {low:g} to {high:g} %, as an AR(1)
  series with coefficient {carry:g}.
- On top of it come each refeed (sd {first:g}, {second:g} and {third:g} % at steps 1, 2 and from 3; its souring alone
  {alone:g} % more), the handling of the day ({day:g} %), the flour lot ({lot:g} %), and how warm the room is, by
  season, weather and hour. The cardinal temperatures of each culture's yeast and bacteria lie up to {cardinal:g} degC
  from those in leavenbench/temperature.py.
- Vigour is the steepest slope at 25 degC against the culture's own. What acts are the cells that live at feeding: lag,
  peak and extent follow from them.
- {rounds:g} % of rounds were not held, and {slips:g} % of refeeds never reached the log.
- The ruler is good to {ruler:g} mm, the pH to {ph:g} and the thermometer to {degC:g} degC. {misread} readings were
  misread: a height by one or two marks of 10 mm, a pH by half a unit.
- Doughs rise and sour by forms of the simulator's own, which are not among the curves that are fitted.
"""


def truth_page(demo: Simulated, seed: int) -> str:
    """Return the page of a demo, in Markdown.

    Parameters
    ----------
    demo : Simulated
        As from `demo.simulate_demo`.
    seed : int
        The seed it was made with.

    Returns
    -------
    str
        The page.
    """
    fed_at = demo.truth["refeeds"]["fed_at"]
    introduction = _INTRODUCTION.format(
        title=TITLE,
        cultures=len(demo.truth["cultures"]),
        years=f"{fed_at.min():%Y} to {fed_at.max():%Y}",
        logged=len(demo.truth["logged"]),
        end=fed_at.max(),
        seed=seed,
    )
    return "\n".join([introduction, _stories(demo), _shared(demo), _chance(demo), _faults(demo.truth["typing_faults"])])


def _stories(demo: Simulated) -> str:
    """Tell what happens to whom; whoever is not named is steady."""
    cultures = demo.truth["cultures"].set_index("culture")
    shelf = demo.tables["cultures"].set_index("culture")
    events = demo.tables["events"].set_index("culture")
    lines = ["## The stories", "", "| culture | flour | what happens |", "|---|---|---|"]
    told = cultures.loc[cultures["story"] != "steady"].sort_values("onset_on", kind="stable")
    for name, story in told.iterrows():
        own = events.loc[events.index == name].set_index("kind")["happened_on"]
        lines.append(f"| {name} | {shelf.at[name, 'flour']} | {tell_story(story, own)} |")
    only_sour = shelf.index[shelf["leading_signal"] == "acid"].tolist()
    for name in only_sour:
        lines.append(f"| {name} | {shelf.at[name, 'flour']} | well, but hardly rises: it only sours |")
    others = [name for name in cultures.index if name not in (*told.index, *only_sour)]
    blends = [f"{name} on {' and '.join(_share(*one) for one in flours.items())}" for name, flours in BLENDS.items()]
    lines += ["", *wrap(f"{len(others)} cultures are steady: {', '.join(others)}.", 118)]
    return "\n".join([*lines, "", *wrap(f"Fed on blends: {'; '.join(blends)}.", 118), ""])


def _share(flour: str, share: float) -> str:
    return f"{100.0 * share:g} % {flour}"


def _shared(demo: Simulated) -> str:
    """Tell what befell many jars at once."""
    drifting = [probe for probe in PROBES if probe.drifts_from]
    told = [tell_cause(demo, cause) for cause in (*MISHAPS, *drifting)]
    lines = [line for one in told for line in wrap(f"- {one}", 118, subsequent_indent="  ")]
    return "\n".join(["## What befell many jars at once", "", *lines, ""])


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
        cardinal=noise.cardinal_off_degC,
        alone=100.0 * noise.acid_alone_sd,
        day=100.0 * noise.day_sd,
        lot=100.0 * noise.lot_sd,
        rounds=100.0 * noise.rounds_missing,
        slips=100.0 * noise.refeeds_missing,
        ruler=noise.ruler_sd_mm,
        ph=noise.ph_sd,
        degC=noise.thermometer_sd_degC,
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
