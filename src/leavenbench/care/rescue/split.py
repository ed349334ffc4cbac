"""The one cheapest test that would tell the two leading suspects apart: the same jar fed two ways.

Both halves come from the same seed, at the same time, and differ in one thing. What the culture's round strays is in
both, so that a difference is known far better than a level (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from ...records.collection import Collection
from ..flour import flour_stock
from ..habits import TAKEN_OF_OLD_JAR, feed_ratios, last_jars, targets_g
from ..steps import CannotPlan, Wish, plan_steps
from .case import Case
from .practice import Practice
from .suspects import NOTHING, WORTH_A_WORD

#: A difference is seen that is missed by one in five, and seen by chance by one in twenty: normal quantiles.
_SEEN = 1.6449 + 0.8416
#: Feedings in a row that a test may take at most.
_MOST_FEEDINGS = 3
#: Each jar of a test builds up to this share of the culture's usual jar (common practice, no source).
_SMALL = 0.3
#: Suspects that are told by reading one jar twice.
_READ_ONLY = ("probe", "its acid alone")


class _Way(NamedTuple):
    """How a suspect is put to the test: what one jar gets and the other does not, and what both share."""

    one: str
    other: str
    alike: str
    kind: str = "split"


class _Test(NamedTuple):
    """The suspect that is put to the test, the one that it is held against, and how."""

    suspect: pd.Series
    against: pd.Series
    way: _Way


@dataclass(frozen=True)
class Split:
    """A test.

    Attributes
    ----------
    between : tuple of str
        The two suspects that it tells apart.
    one, other : str
        What each jar gets.
    alike : str
        What both share.
    plan : pandas.DataFrame
        The steps of each jar in grams, as from `care.steps.plan_steps`; empty where nothing is fed, or where it
        cannot be planned, and then `note` says why.
    least_seen : pandas.DataFrame
        feedings, and least_seen_pct: the difference that so many feedings in a row would show; empty where nothing
        is fed.
    feedings : int
        How many are enough for the effect that is suspected; three at most, none where nothing is fed.
    outcomes : pandas.DataFrame
        outcome and means.
    note : str
        What else there is to know.
    """

    between: tuple[str, str]
    one: str
    other: str
    alike: str
    plan: pd.DataFrame
    least_seen: pd.DataFrame
    feedings: int
    outcomes: pd.DataFrame
    note: str

    def _repr_html_(self) -> str:
        told = f"<b>{self.between[0]}, or {self.between[1]}?</b><br>One: {self.one}; the other: {self.other}. "
        told += f"Alike: {self.alike}. {self.note}"
        tables = (of for of in (self.plan, self.least_seen, self.outcomes) if len(of))
        return told + "".join(of.to_html(index=False) for of in tables)


def split_feeding(case: Case, collection: Collection, ranked: pd.DataFrame) -> Split:
    """Plan the test that tells the two leading suspects apart.

    Parameters
    ----------
    case : Case
        Of the culture.
    collection : Collection
        The same records.
    ranked : pandas.DataFrame
        As from `suspects.rank_suspects`.

    Returns
    -------
    Split
    """
    test = _chosen(case, collection, ranked)
    between = (str(test.suspect["suspect"]), str(test.against["suspect"]))
    note = ""
    if test.against["share"] < WORTH_A_WORD:
        note = "The records all but decide it: the test only confirms. "
    if test.way.kind == "read":
        outcomes = _outcomes_of_reading(Practice().probe_off_ph)
        note += "Nothing is fed for it: one jar is read twice."
        return Split(between, *test.way[:3], pd.DataFrame(), pd.DataFrame(), 0, outcomes, note)
    feedings = np.arange(1, _MOST_FEEDINGS + 1)
    least = _SEEN * _sd_of_difference(case, feedings, neighbours=test.way.kind == "beside")
    suspected = abs(float(test.suspect["effect"])) if test.suspect["factor"] != NOTHING else float(least[0])
    enough = int(np.argmax(least <= suspected)) + 1 if (least <= suspected).any() else _MOST_FEEDINGS
    if least[-1] > suspected:
        note += f"{_MOST_FEEDINGS} feedings may still miss an effect as small as {_pct(suspected)}. "
    plan, planned = _plan(case, collection, enough)
    return Split(
        between,
        *test.way[:3],
        plan,
        pd.DataFrame({"feedings": feedings, "least_seen_pct": 100.0 * -np.expm1(-least)}),
        enough,
        _outcomes(test, float(least[enough - 1])),
        note + planned,
    )


def _chosen(case: Case, collection: Collection, ranked: pd.DataFrame) -> _Test:
    """Return what is tested: of the two in the lead the first that can be changed in one of two jars.

    Where neither can, a steady neighbour is the other jar. One that is not worth a word is not tested.
    """
    pair = [row for _, row in ranked.head(2).iterrows()]
    pair = pair if len(pair) > 1 else pair * 2
    for tested, against in ((pair[0], pair[1]), (pair[1], pair[0])):
        way = _way(case, collection, tested) if tested["share"] >= WORTH_A_WORD else None
        if way is not None:
            return _Test(tested, against, way)
    tested, against = pair if pair[0]["factor"] != NOTHING else pair[::-1]
    alike = "lot, ratio, room, hour, person and probe"
    return _Test(tested, against, _Way(case.culture, "a steady culture of the same flour", alike, "beside"))


def _way(case: Case, collection: Collection, suspect: pd.Series) -> _Way | None:
    """Return how half a jar can do without a suspect; None where it cannot."""
    factor, level = suspect["factor"], suspect["level"]
    rest = "the same seed, ratio, hour"
    if factor == "lot":
        return _Way(f"fed on lot {level}", f"fed on {_other_lot(case, collection, level)}", f"{rest}, room and probe")
    if factor == "room":
        other = _other(collection, "room", level)
        return _Way(f"stands in {level}", f"stands in {other}", f"{rest} and lot; a thermometer in each dough")
    if factor == "person":
        return _Way(f"fed by {level}", f"fed by {_other(collection, 'person', level)}", f"{rest}, lot and room")
    if factor == "water source":
        return _Way(f"water of {level}", f"water of {_other(collection, 'water_source', level)}", f"{rest} and lot")
    if factor == "vessel kind":
        return _Way(f"in a jar of the kind {level}", "in a jar of the kind used before", f"{rest}, lot and room")
    if factor == "feed ratio":
        return _Way("the ratio of the last round", "its usual ratio", "the same jar, lot, room and hour")
    if factor in _READ_ONLY:
        other = "read with another, both held against buffers first"
        return _Way("read with the usual probe", other, "the same jar, at the same hour", "read")
    return None


def _other(collection: Collection, column: str, level: str) -> str:
    """Return the commonest other level, or words for it."""
    seen = collection["refeeds"][column].dropna()
    others = seen[seen != level].value_counts()
    return str(others.index[0]) if len(others) else f"another {column.replace('_source', '')}"


def _other_lot(case: Case, collection: Collection, lot: str) -> str:
    """Return another lot of the same flour that may be fed: the one before it if there is any left, else what is."""
    flour = collection["flour_lots"].set_index("lot")["flour"].get(lot)
    stock = flour_stock(collection, case.on)
    there = stock[(stock["flour"] == flour) & (stock["lot"] != lot) & stock["usable"].fillna(False)]
    if there.empty:
        return f"another lot of {flour}, which must be got first" if isinstance(flour, str) else "another lot"
    return f"lot {there.sort_values('left_g')['lot'].iloc[-1]}"


def _sd_of_difference(case: Case, feedings: np.ndarray, *, neighbours: bool) -> np.ndarray:
    """Return the sd of the difference of two jars after so many feedings, by the noise of the culture's own refeeds.

    Two halves of one jar share what its round strays; two neighbours do not.
    """
    ground = case.ground
    error = float(ground.values.loc[ground.own, "log_vigour_se"].median())
    single = (error**2 + ground.wander.refeed_sd**2) / feedings
    return np.sqrt(2.0 * (single + (ground.wander.round_sd**2 if neighbours else 0.0)))


def _plan(case: Case, collection: Collection, feedings: int) -> tuple[pd.DataFrame, str]:
    """Return the steps of each jar in grams, or an empty table and why."""
    ratio, jars = feed_ratios(collection).get(case.culture), last_jars(collection)
    target = targets_g(collection).get(case.culture, float("nan"))
    if ratio is None or case.culture not in jars.index or not target > 0.0:
        return pd.DataFrame(), "Ratio and jar are not in the records: take the same seed for both."
    at_hand = float(jars.loc[case.culture, "mass_g"]) * TAKEN_OF_OLD_JAR / 2.0
    try:
        return plan_steps(Wish(ratio, _SMALL * float(target), feedings, at_hand)), "The plan is that of each jar."
    except CannotPlan as why:
        return pd.DataFrame(), str(why)


def _outcomes(test: _Test, least: float) -> pd.DataFrame:
    """Say what each outcome of feeding means."""
    suspect, against = test.suspect["suspect"], test.against["suspect"]
    instead = "rather chance" if test.against["factor"] == NOTHING else f"rather {against}"
    seen = _pct(least)
    rows = [
        (f"only '{test.way.one}' is slower, by {seen} or more", f"{suspect}"),
        (f"both are slow, and differ by less than {seen}", f"not {suspect}; {instead}"),
        ("both are as quick as their baselines", "whatever it was is over, or it was chance: watch the next round"),
        ("the other is the slower one", "chance, or something else: read again, and repeat once"),
    ]
    return pd.DataFrame(rows, columns=["outcome", "means"])


def _outcomes_of_reading(off_ph: float) -> pd.DataFrame:
    """Say what it means when one jar is read twice."""
    rows = [
        (f"the two differ by more than {off_ph:g} pH, and buffers say the usual one is off", "the probe"),
        (f"they agree within {off_ph:g} pH", "its acid alone: check identity before feeding on"),
    ]
    return pd.DataFrame(rows, columns=["outcome", "means"])


def _pct(loss: float) -> str:
    return f"{-100.0 * np.expm1(-loss):.0f} %"
