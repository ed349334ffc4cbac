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
from ...records.as_of import days_of
from ...records.collection import Collection
from ...records.rounds import STEPPING
from .need import SCATTER, flour_need, round_uses
from .stock import flour_stock

#: How far is looked ahead [d], and how many times it is played through.
_AHEAD_D, _TIMES = 730, 400
#: Rounds that are drawn in each playing, more than fit into the time.
_SHAPE = (_TIMES, 60)
#: Times between rounds that tell how uneven they are, in shares of the usual one: less is a rescue, more a break.
_LEAST, _MOST = 0.3, 3.0
#: The times between the rounds of all other cultures together are worth so many of a culture's own.
_OTHERS_WORTH = 6.0
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


def run_out(
    collection: Collection,
    on: dt.date,
    due: pd.DataFrame | None = None,
    seed: int = 1,
    ahead: dict[str, Paths] | None = None,
) -> pd.DataFrame:
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
    ahead : dict of str to Paths, optional
        What `flour_ahead` made of the same; played anew if not given.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["flour_run_out"]``, the soonest first: the middle of the dates and the ends of their
        80 % interval; `write_by` is the early end less the lead time. Dates beyond two years are missing, and
        `beyond` says so.
    """
    stock, paths = flour_stock(collection, on), flour_ahead(collection, on, due, seed) if ahead is None else ahead
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
    stock = flour_stock(collection, on)
    spilt = _spilt(stock)
    need, rounds = flour_need(collection, on), round_uses(collection, on, SCATTER)
    uses = {flour: np.zeros((_TIMES, _AHEAD_D)) for flour in sorted(need["flour"])}
    next_on = {} if due is None else dict(zip(due["culture"], due["due_on"], strict=True))
    group = collection["cultures"].set_index("culture")["group"]
    gaps, last = _gaps(collection, on)
    gap_d, alike = collection.settings.round_gap_h / 24.0, dict[object, np.ndarray]()
    for culture, flours in need.groupby("culture")["flour"]:
        own = rounds[rounds["culture"] == culture]
        together = group.get(culture, np.nan)
        drawn = alike.setdefault(culture if pd.isna(together) else ("group", together), random.random(_SHAPE))
        others = np.concatenate([seen for name, seen in gaps.items() if name != culture] or [np.zeros(0)])
        between = _again(np.append(gaps[culture], others), _weights(len(gaps[culture]), len(others)), drawn, random)
        planned = next_on.get(culture, last[culture] + pd.Timedelta(days=round(collection.settings.round_days)))
        late = between[:, :1] - np.median(gaps[culture])  # the next round is as late or early as rounds are
        days = np.maximum((planned - pd.Timestamp(on)).days + late, 1.0) + np.cumsum(between, axis=1) - between[:, :1]
        since = (pd.Timestamp(on) - last[culture]).days
        for flour in flours:
            of_rounds = own[own["flour"] == flour].pivot(index="round", columns="day", values="mass_g").fillna(0.0)
            of_rounds = of_rounds.iloc[:-1] if since <= gap_d and len(of_rounds) > 1 else of_rounds
            again = _again(np.arange(len(of_rounds)), np.ones(len(of_rounds)), random.random(_SHAPE), random)
            for day, masses in of_rounds.items():
                _add(uses[flour], days + day, masses.to_numpy()[again])
                if since <= gap_d and day > since:  # the round that has begun goes on
                    _add(uses[flour], np.full((_TIMES, 1), day - since), masses.to_numpy()[again[:, -1:]])
    usable, today = stock[stock["usable"]], pd.Timestamp(on)
    return {
        flour: _played(used * spilt.get(flour, 1.0), usable[usable["flour"] == flour], today)
        for flour, used in uses.items()
    }


def _gaps(collection: Collection, on: dt.date) -> tuple[dict[str, np.ndarray], pd.Series]:
    """Return the days between each culture's rounds, and the day on which its last one began."""
    refeeds, usual = collection["refeeds"], collection.settings.round_days
    refeeds = refeeds[refeeds["purpose"].isin(STEPPING)]
    day = days_of(refeeds["fed_at"])
    first = day[day <= pd.Timestamp(on)].groupby([refeeds["culture"], refeeds["round"]]).min().sort_values()
    begun = {str(culture): of.to_numpy("datetime64[D]").astype(float) for culture, of in first.groupby("culture")}
    gaps = {culture: np.diff(days) for culture, days in begun.items()}
    sound = {name: seen[(seen > _LEAST * usual) & (seen < _MOST * usual)] for name, seen in gaps.items()}
    return {name: np.append(seen, usual) for name, seen in sound.items()}, first.groupby("culture").max()


def _weights(own: int, others: int) -> np.ndarray:
    """Return what each of a culture's own times counts, and each of those of the others."""
    return np.append(np.ones(own), np.full(others, _OTHERS_WORTH / max(others, 1)))


def _again(seen: np.ndarray, weights: np.ndarray, drawn: np.ndarray, random: np.random.Generator) -> np.ndarray:
    """Draw again from what was seen, each with a share that is drawn for every playing; low draws give low values."""
    order = np.argsort(seen, kind="stable")
    shares = random.gamma(weights[order], size=(_TIMES, len(seen)))
    ends = np.cumsum(shares, axis=1) / shares.sum(axis=1, keepdims=True)
    place = np.array([np.searchsorted(end[:-1], draw) for end, draw in zip(ends, drawn, strict=True)])
    return seen[order][place]


def _add(used: np.ndarray, days: np.ndarray, masses: np.ndarray) -> None:
    whole = days.astype(int)
    times, rounds = np.nonzero(whole < _AHEAD_D)
    np.add.at(used, (times, whole[times, rounds]), masses[times, rounds])


def _spilt(stock: pd.DataFrame) -> dict[str, float]:
    """Return by what factor more goes than is fed, flour by flour, as counts tell; never less than 1."""
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
