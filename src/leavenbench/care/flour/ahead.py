"""When each flour runs out or passes its date, and when to write to the mill: played through many times.

Each culture's rounds come at its own dates, as unevenly as they came before (those of a group late or early together),
and each takes what one of its own earlier rounds took. How often each of them would come again is itself unsure, and
is drawn anew for every playing (Bayesian bootstrap: Rubin 1981, Ann Stat 9:130-134, doi 10.1214/aos/1176345338). Lots
are fed in the order of their dates; what passes its date is not fed. What is counted off, spilt, or baked with goes at
the rate at which it went.
"""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import numpy as np
import pandas as pd

from ...columns import RESULTS
from ...records.collection import Collection
from .need import flour_need, round_uses
from .stock import flour_stock

#: How far is looked ahead [d], and how many times it is played through.
_AHEAD_D, _TIMES = 730, 400
#: Rounds that are drawn in each playing, more than fit into the time.
_SHAPE = (_TIMES, 60)
#: Times between rounds that tell how uneven they are, in shares of the usual one: less is a rescue, more a break.
_LEAST, _MOST = 0.3, 3.0
#: Where a flour has no lead time of its own [d] (common practice, no source).
_LEAD_D = 14.0
_LOW, _HIGH = 0.1, 0.9

_RUN_OUT = RESULTS["flour_run_out"]


class Paths(NamedTuple):
    """One flour, played through.

    Attributes
    ----------
    left_g : numpy.ndarray, shape (times, days)
        What is left that may still be fed, at the end of each day [g].
    out_d : numpy.ndarray, shape (times,)
        Day on which a round could not be fed any more; the last day of all where that never was.
    """

    left_g: np.ndarray
    out_d: np.ndarray


def run_out(collection: Collection, on: dt.date, due: pd.DataFrame | None = None, seed: int = 1) -> pd.DataFrame:
    """Return when each flour that the shelf is fed on runs out.

    Parameters
    ----------
    collection : Collection
        The records, up to that day.
    on : datetime.date
        The day.
    due : pandas.DataFrame, optional
        As `rounds.due_list` makes it, for the dates of the next rounds; by the calendar alone if not given.
    seed : int
        Of the chance with which it is played through.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["flour_run_out"]``, the soonest first: the middle of the dates and the ends of their
        80 % interval; `write_by` is the early end less the lead time. Dates beyond two years are missing, and
        `beyond` says so.
    """
    stock, paths = flour_stock(collection, on), flour_ahead(collection, on, due, seed)
    flours, fed_on = collection["flours"].set_index("flour"), flour_need(collection, on)["flour"].value_counts()
    today, rows = pd.Timestamp(on), []
    for flour, path in paths.items():
        low, middle, high = np.quantile(path.out_d, [_LOW, 0.5, _HIGH], method="inverted_cdf")
        lead = float(flours["lead_time_d"].get(flour, np.nan))
        own = stock[stock["flour"] == flour]
        usable = own[own["usable"]]
        rows.append(
            {
                "flour": flour,
                "left_g": float(own["left_g"].clip(lower=0.0).sum()),
                "usable_g": float(usable["left_g"].sum()),
                "good_until": usable["usable_until"].max(),
                "out_on": _day(today, middle),
                "out_low": _day(today, low),
                "out_high": _day(today, high),
                "beyond": bool(low >= _AHEAD_D),
                "lead_time_d": lead,
                "write_by": _day(today, low - (lead if lead >= 0.0 else _LEAD_D) if low < _AHEAD_D else _AHEAD_D),
                "cultures": int(fed_on[flour]),
                "why": _why(path, usable, middle, today),
            }
        )
    table = pd.DataFrame(rows, columns=_RUN_OUT.names)
    return table.sort_values(["out_low", "flour"], kind="stable", ignore_index=True).astype(_RUN_OUT.dtypes())


def flour_ahead(
    collection: Collection, on: dt.date, due: pd.DataFrame | None = None, seed: int = 1
) -> dict[str, Paths]:
    """Play the stock of each flour through the time to come.

    Parameters
    ----------
    collection, on, due, seed
        As for `run_out`.

    Returns
    -------
    dict of str to Paths
        By flour, for every flour that a living culture is fed on.
    """
    random = np.random.default_rng(seed)
    stock, spilt = flour_stock(collection, on), _spilt(collection, on)
    need, rounds = flour_need(collection, on), round_uses(collection, on)
    uses = {flour: np.zeros((_TIMES, _AHEAD_D)) for flour in sorted(need["flour"])}
    next_on = {} if due is None else dict(zip(due["culture"], due["due_on"], strict=True))
    group = collection["cultures"].set_index("culture")["group"]
    begun, alike = _begun(collection, on), dict[object, np.ndarray]()
    for culture, flours in need.groupby("culture")["flour"]:
        own = rounds[rounds["culture"] == culture]
        together = group.get(culture, np.nan)
        drawn = alike.setdefault(culture if pd.isna(together) else ("group", together), random.random(_SHAPE))
        days = _days(
            begun[culture], next_on.get(culture), collection.settings.round_days, pd.Timestamp(on), drawn, random
        )
        for flour in flours:
            of_rounds = own[own["flour"] == flour].pivot(index="round", columns="day", values="mass_g").fillna(0.0)
            order = np.argsort(of_rounds.sum(axis=1).to_numpy(), kind="stable")
            again = _again(order, random.random(_SHAPE), random)
            for day, masses in of_rounds.items():
                _add(uses[flour], days + day, masses.to_numpy()[again])
    usable, today = stock[stock["usable"]], pd.Timestamp(on)
    return {
        flour: _played(used * spilt.get(flour, 1.0), usable[usable["flour"] == flour], today)
        for flour, used in uses.items()
    }


def _begun(collection: Collection, on: dt.date) -> dict[str, np.ndarray]:
    """Return the days on which each culture's rounds began, as days since 1970."""
    refeeds = collection["refeeds"]
    refeeds = refeeds[refeeds["purpose"].isin(("round", "rescue"))]
    day = refeeds["fed_at"].dt.tz_localize(None).dt.normalize()
    first = day[day <= pd.Timestamp(on)].groupby([refeeds["culture"], refeeds["round"]]).min()
    days = first.to_numpy("datetime64[D]").astype(float)
    return {str(culture): np.sort(days[of]) for culture, of in first.groupby("culture").indices.items()}


def _days(
    begun: np.ndarray,
    due_on: pd.Timestamp | None,
    round_days: float,
    today: pd.Timestamp,
    drawn: np.ndarray,
    random: np.random.Generator,
) -> np.ndarray:
    """Return the days on which a culture's rounds begin, counted from today, shape (times, rounds)."""
    gaps = np.diff(begun)
    gaps = np.sort(np.append(gaps[(gaps > _LEAST * round_days) & (gaps < _MOST * round_days)], round_days))
    between = _again(gaps, drawn, random)
    now = float(today.to_datetime64().astype("datetime64[D]").astype(int))
    first = (due_on - today).days if due_on is not None else begun[-1] - now + round_days
    late = between[:, :1] - np.median(gaps)  # the next round is as late or early as rounds are
    return np.maximum(first + late, 1.0) + np.cumsum(between, axis=1) - between[:, :1]


def _again(seen: np.ndarray, drawn: np.ndarray, random: np.random.Generator) -> np.ndarray:
    """Draw again from what was seen, ascending, each with a weight that is drawn for every playing."""
    weights = np.cumsum(random.dirichlet(np.ones(len(seen)), _TIMES), axis=1)
    place = (drawn[:, :, None] > weights[:, None, :-1]).sum(axis=2)
    return seen[place]


def _add(used: np.ndarray, days: np.ndarray, masses: np.ndarray) -> None:
    whole = days.astype(int)
    times, rounds = np.nonzero(whole < _AHEAD_D)
    np.add.at(used, (times, whole[times, rounds]), masses[times, rounds])


def _spilt(collection: Collection, on: dt.date) -> dict[str, float]:
    """Return by what factor more goes than is fed, flour by flour, as counts tell; never less than 1."""
    stock = flour_stock(collection, on)
    counted = stock[stock["last_counted_on"].notna()].groupby("flour")[["used_g", "counted_off_g"]].sum()
    share = counted["counted_off_g"] / counted["used_g"].where(counted["used_g"] > 0.0)
    return {str(flour): 1.0 + max(value, 0.0) for flour, value in share.dropna().items()}


def _played(used: np.ndarray, lots: pd.DataFrame, today: pd.Timestamp) -> Paths:
    """Feed lots in the order of their dates, day by day, in all paths at once."""
    lots = lots.sort_values("usable_until", kind="stable", na_position="last")
    mass = np.tile(lots["left_g"].to_numpy(float), (len(used), 1)).copy()
    ends = (lots["usable_until"] - today).dt.days.fillna(_AHEAD_D + 1).to_numpy(int, copy=True)
    left, out = np.zeros(used.shape), np.full(len(used), _AHEAD_D)
    for day in range(used.shape[1]):
        mass[:, ends < day] = 0.0
        wanted = used[:, day].copy()
        for lot in range(mass.shape[1]):
            taken = np.minimum(mass[:, lot], wanted)
            mass[:, lot] -= taken
            wanted -= taken
        out = np.where((wanted > 1e-6) & (out == _AHEAD_D), day, out)
        left[:, day] = mass.sum(axis=1)
    return Paths(left, out)


def _why(path: Paths, usable: pd.DataFrame, middle: float, today: pd.Timestamp) -> str:
    if usable.empty:
        return "none is left that may be fed"
    if middle >= _AHEAD_D:
        return "lasts two years or longer"
    until = usable["usable_until"].max()
    if pd.notna(until) and (until - today).days <= middle:
        return f"its last lot passes its date on {until:%Y-%m-%d}"
    return "it is fed up"


def _day(today: pd.Timestamp, days: float) -> pd.Timestamp:
    return today + pd.Timedelta(days=int(days)) if days < _AHEAD_D else pd.NaT
