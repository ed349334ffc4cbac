"""Whether the records can answer at all, and which few refeeds would make them.

No calculation mends a design in which two things always come together: what a flour does and what the only culture
kept on it does, a culture and the one day on which it was fed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from ..columns import RESULTS

#: Rounds of a group from which its own ups and downs can be told (common practice, no source).
FEWEST_ROUNDS = 3
#: Cultures of a flour, grain or origin from which what it does can be told from what they are.
FEWEST_CULTURES = 2
_CANNOT, _UNSURE, _NOTE = "cannot answer", "unsure", "note"
#: More names than this are told by their number.
_NAMED = 6


class Row(NamedTuple):
    """A warning, and the groups of which the records can tell nothing."""

    rule: str
    severity: str
    groups: str
    message: str
    remedy: str
    untold: tuple[str, ...] = ()


def can_answer(observed: pd.DataFrame, by: str = "culture") -> pd.DataFrame:
    """Warn of what the refeeds cannot tell.

    Parameters
    ----------
    observed : pandas.DataFrame
        From `observations.observations`.
    by : str
        What is to be compared: culture, flour, grain or origin.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["comparison_warnings"]``, the gravest first; no row where nothing stands in the way.

    Examples
    --------
    >>> rows = {"culture": ["Alba", "Alba", "Brine", "Brine"], "flour": ["rye", "rye", "spelt", "spelt"]}
    >>> observed = pd.DataFrame({**rows, "day": ["a", "b", "a", "b"], "round": [1, 2, 1, 2], "step": 1, "vessel": None})
    >>> can_answer(observed, "flour")[["rule", "severity", "groups"]].values.tolist()
    [['one culture', 'cannot answer', 'rye, spelt'], ['few rounds', 'unsure', 'rye, spelt']]
    """
    groups = sorted(observed[by].astype("str").unique())
    rows: list[Row] = []
    if len(groups) < 2:
        remedy = f"feed and read a second {by}, in {FEWEST_ROUNDS} rounds"
        rows.append(Row("one group", _CANNOT, _listed(groups), f"no second {by} to compare with", remedy))
    else:
        rows += _warnings(observed, by)
    made = RESULTS["comparison_warnings"]
    found = pd.DataFrame([row[: len(made.names)] for row in rows], columns=made.names).astype(made.dtypes())
    grave = found["severity"].map({_CANNOT: 0, _UNSURE: 1, _NOTE: 2})
    return found.iloc[grave.argsort(kind="stable")].reset_index(drop=True)


def answerable(observed: pd.DataFrame, by: str = "culture") -> pd.DataFrame:
    """Return the refeeds without the groups of which `can_answer` says that the records cannot tell.

    Parameters
    ----------
    observed : pandas.DataFrame
        From `observations.observations`.
    by : str
        What is to be compared: culture, flour, grain or origin.

    Returns
    -------
    pandas.DataFrame
        The same columns; without rows where nothing is left to compare.

    Examples
    --------
    >>> rows = {"culture": list("AABBCD"), "flour": ["rye"] * 4 + ["spelt", "oat"], "day": list("ababab")}
    >>> observed = pd.DataFrame({**rows, "round": [1, 2, 1, 2, 1, 1], "step": 1, "vessel": None})
    >>> answerable(observed, "flour")["flour"].tolist(), answerable(observed)["culture"].tolist()
    ([], ['A', 'A', 'B', 'B'])
    """
    while observed[by].nunique() > 1:  # who is left may lean on who was left out
        untold = {group for row in _warnings(observed, by) for group in row.untold}
        if not untold:
            return observed
        observed = observed[~observed[by].astype("str").isin(untold)]
    return observed.iloc[:0]


def _warnings(observed: pd.DataFrame, by: str) -> list[Row]:
    table = observed.assign(group=observed[by].astype("str"))
    rules = (_one_culture, _flour_too, _few_rounds, _one_day, _days_apart, _steps_apart, _own_jar)
    return [row for rule in rules for row in rule(table, by)]


def _one_culture(table: pd.DataFrame, by: str) -> Iterator[Row]:
    """Find groups that rest on a single culture which was never in another group."""
    if by == "culture":
        return
    cultures = table.groupby("group")["culture"].agg(lambda of: sorted(of.unique()))
    moved = table.groupby("culture")["group"].nunique()
    alone = [group for group, of in cultures.items() if len(of) < FEWEST_CULTURES and moved[of[0]] < 2]
    if not alone:
        return
    others = [group for group in cultures.index if group not in alone] or list(cultures.index)
    asked = []
    for group in alone[:_NAMED]:
        own = cultures[group][0]
        from_others = [of for of in others if of != group]
        guest = cultures[from_others[0]][0]
        if by == "origin":
            asked.append(f"a second culture from {group}")
        else:
            asked.append(f"feed {guest} on {group}, and {own} on {from_others[0]}, in two rounds each")
    yield Row(
        "one culture",
        _CANNOT,
        _listed(alone),
        f"each rests on one culture that was never on another {by}: what the {by} does and what the culture is cannot "
        "be told apart",
        "; ".join(asked),
        tuple(alone),
    )


def _flour_too(table: pd.DataFrame, by: str) -> Iterator[Row]:
    """Find out whether cultures that are compared also eat different flours."""
    if by != "culture" or "flour" not in table:
        return
    known = table.dropna(subset="flour")
    parts = _parts(known["culture"], known["flour"])
    if len(parts) < 2:
        return
    flours = [sorted(known.loc[known["culture"].isin(part), "flour"].unique()) for part in parts]
    first, second = parts[0][0], parts[1][0]
    yield Row(
        "flour and culture",
        _UNSURE,
        "; ".join(_listed(part) for part in parts[:_NAMED]),
        f"cultures on {_listed([' and '.join(of) for of in flours])} share no flour: between them a difference may be "
        "the flour's as well as the culture's",
        f"split one feeding in each of two rounds: half of {first} on {flours[1][0]} and half of {second} on "
        f"{flours[0][0]}, beside their own",
    )


def _few_rounds(table: pd.DataFrame, by: str) -> Iterator[Row]:
    """Find groups with too few rounds to tell their own ups and downs."""
    rounds = table.drop_duplicates(["group", "culture", "round"])["group"].value_counts()
    refeeds = table["group"].value_counts()
    few = rounds[rounds < FEWEST_ROUNDS].sort_index()
    for severity, of in ((_CANNOT, few[few < 2]), (_UNSURE, few[few >= 2])):
        if of.empty:
            continue
        have = [f"{group} {count} ({refeeds[group]} refeeds)" for group, count in of.items()]
        want = [f"{FEWEST_ROUNDS - count} of {group}" for group, count in of.items()]
        yield Row(
            "few rounds",
            severity,
            _listed(of.index),
            f"rounds so far: {_listed(have)}; refeeds of one round are alike, and do not stand for further rounds",
            f"further rounds, each read at every step: {_listed(want)}",
            tuple(of.index) if severity == _CANNOT else (),
        )


def _one_day(table: pd.DataFrame, by: str) -> Iterator[Row]:
    """Find groups that were fed on a single day."""
    days = table.groupby("group")["day"].nunique()
    one = sorted(days[days == 1].index)
    if not one:
        return
    other = next((group for group in days.index if group not in one), None)
    beside = f" and {other} with them" if other else ""
    yield Row(
        "one day",
        _CANNOT,
        _listed(one),
        "all refeeds fell on one day: what the day did and what they are cannot be told apart",
        f"feed {_listed(one)}{beside} on two further days",
        tuple(one),
    )


def _days_apart(table: pd.DataFrame, by: str) -> Iterator[Row]:
    """Find groups that were never fed on a day together, not even by way of others."""
    parts = _parts(table["group"], table["day"])
    if len(parts) < 2:
        return
    together = _listed([part[0] for part in parts])
    yield Row(
        "days apart",
        _UNSURE,
        "; ".join(_listed(part) for part in parts[:_NAMED]),
        "they share no day, so that a difference rests on days being alike",
        f"feed {together} on the same day, in two rounds",
    )


def _steps_apart(table: pd.DataFrame, by: str) -> Iterator[Row]:
    """Find groups that were never read at the same step."""
    parts = _parts(table["group"], table["step"].astype("str"))
    if len(parts) < 2:
        return
    steps = [sorted(table.loc[table["group"].isin(part), "step"].astype("str").unique()) for part in parts]
    yield Row(
        "steps apart",
        _CANNOT,
        "; ".join(_listed(part) for part in parts[:_NAMED]),
        f"they were read at steps {' against '.join(', '.join(of) for of in steps)}: steps differ as much as cultures",
        f"read {parts[0][0]} at step {steps[1][0]} and {parts[1][0]} at step {steps[0][0]} in two rounds",
    )


def _own_jar(table: pd.DataFrame, by: str) -> Iterator[Row]:
    """Find out whether every group always stood in jars of its own."""
    known = table.dropna(subset="vessel")
    parts = _parts(known["group"], known["vessel"])
    if len(parts) < 2 or len(parts) < known["group"].nunique():
        return
    yield Row(
        "own jars",
        _NOTE,
        _listed([part[0] for part in parts]),
        "each always stood in jars of its own: a jar that shows more or less goes with what stood in it",
        f"swap the jars of {parts[0][0]} and {parts[1][0]} for two rounds, if their shapes differ",
    )


def _parts(first: pd.Series, second: pd.Series) -> list[list[str]]:
    """Return the values of `first` in parts that share no value of `second`, not even by way of others."""
    if first.empty:
        return []
    one, names = pd.factorize(first, sort=True)
    other, _ = pd.factorize(second)
    shape = (len(names), int(other.max()) + 1)
    met = sparse.csr_array((np.ones(len(one)), (one, other)), shape=shape)
    many, part = connected_components(met @ met.T, directed=False)
    return [[str(name) for name in names[part == number]] for number in range(many)]


def _listed(names: Iterable[object]) -> str:
    words = [str(name) for name in names]
    return ", ".join(words) if len(words) <= _NAMED else f"{', '.join(words[:_NAMED])} and {len(words) - _NAMED} more"
