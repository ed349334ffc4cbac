"""Which cause a shelf shared in a month: the day, the flour lot, the room ..., or that they cannot be told apart.

In each month every level of every factor is tried against none by a score test on what the culture's own past does not
explain, with the variances that are usual for cultures, days, lots and months allowed for. The best is named when it
would come up by chance in one month of fifty among all that were tried; beside it stand those that together with it
hold nine tenths of the odds. What it explains is taken out, and the rest is tried again.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy import sparse
from scipy.linalg import cho_factor, cho_solve
from scipy.special import log_ndtr

from ..columns import RESULTS
from ..records.collection import Collection
from ..records.texts import places_in
from .circumstances import FACTORS
from .index import Weighed, vigour_table, weigh
from .numbered import HISTORY, ROUND, level_numbers
from .shared import FEWEST_CULTURES, Shared

#: Chance of a false name in a month, over all levels tried, and the odds that there must be at least.
_FALSE, _ODDS = 0.02, 10.0
#: Odds that the named and those that cannot be told apart from it hold together.
_TOGETHER = 0.90
#: How large a shared cause usually is, where there is one [log]; one smaller than this is not worth a name: a room
#: whose warmth is known by its wall alone may seem so far off.
_USUAL, _LEAST = 0.2, 0.11
#: What is usual without a cause, where the shelf is too small to tell [log].
_DAY, _LOT, _LEAST_MONTH, _LEAST_OWN = 0.05, 0.04, 0.03, 0.05
#: How much of a deviation is left in the next round; a culture far off its normal stays there.
_CARRIED, _FAR, _FAR_SD = 0.3, 0.24, 0.15
#: A month says something of the shelf from so many cultures on.
_FEWEST = 8
#: A refeed further off what is told of it than so many sd counts as that far off.
_ODD = 3.5
#: An effect is told when it moves by less than this [log] with the odd refeeds held to it.
_SETTLED, _ROUNDS = 1e-3, 30
#: Causes named in one month at most.
_MOST = 4
#: What may be a cause, and where days and lots stand in it.
_MET = ("month", *FACTORS, "lot")
_DAYS, _LOTS = _MET.index("day"), _MET.index("lot")


class Causes(NamedTuple):
    """The causes found, and who met them.

    Attributes
    ----------
    table : pandas.DataFrame
        The columns of ``RESULTS["shared_causes"]``, month after month.
    met : pandas.DataFrame
        refeed and cause (in words), one row per refeed and cause that it met.
    """

    table: pd.DataFrame
    met: pd.DataFrame


def shared_causes(weighed: Weighed) -> Causes:
    """Name the causes that a shelf shared, month by month.

    Parameters
    ----------
    weighed : Weighed
        From `index.weigh`.

    Returns
    -------
    Causes
        Nothing where the shelf is too small to share anything.
    """
    made = RESULTS["shared_causes"]
    rows: list[dict[str, object]] = []
    met: list[pd.DataFrame] = []
    if weighed.shared is not None:
        laid = _Laid.of(weighed.values, weighed.lots, weighed.shared)
        month_sd = _month_sd(weighed.shared)
        for of_month in weighed.values.groupby("month").indices.values():
            if len(pd.unique(laid.culture[of_month])) < _FEWEST:
                continue
            found = _Month.of(laid, of_month, month_sd).named()
            rows += [one.row for one in found]
            met += [one.met for one in found]
    table = pd.DataFrame(rows, columns=made.names).astype(made.dtypes())
    together = pd.concat(met, ignore_index=True) if met else pd.DataFrame(columns=["refeed", "cause"])
    return Causes(table, together.astype("str"))


def vigour_and_causes(collection: Collection, curves: pd.DataFrame) -> tuple[pd.DataFrame, Causes]:
    """Return the vigour of every refeed, as `index.vigour_of` does, and the causes that the shelf shared."""
    weighed = weigh(collection, curves)
    return vigour_table(collection, curves, weighed), shared_causes(weighed)


def causes_of(collection: Collection, curves: pd.DataFrame) -> Causes:
    """Return the causes that a shelf shared, from its records and its curves table."""
    return shared_causes(weigh(collection, curves))


def _unexplained(values: pd.DataFrame, shared: Shared) -> tuple[np.ndarray, np.ndarray]:
    """Return what a culture's normal and its past do not explain of each refeed, and how far it may stray by itself."""
    rounds = values.assign(own=shared.own).groupby(ROUND).agg(own=("own", "first"), at=("fed_at", "min"))
    rounds = rounds.sort_values("at")
    before = rounds.groupby(HISTORY)["own"].shift().fillna(0.0)
    far = before.abs() > _FAR
    told = pd.DataFrame({"carried": before * np.where(far, 1.0, _CARRIED), "far": far})
    joined = values[ROUND].join(told, on=ROUND)
    near = shared.own[np.abs(shared.own) < _FAR]
    usual = max(1.4826 * float(np.median(np.abs(near))) if len(near) else 0.0, _LEAST_OWN)
    rest = values["log_vigour"].to_numpy() - shared.covariates - shared.normal - joined["carried"].to_numpy(dtype=float)
    return rest, np.where(joined["far"].to_numpy(dtype=bool), _FAR_SD, usual)


def _month_sd(shared: Shared) -> float:
    months = shared.effects.loc[shared.effects["factor"] == "month", "effect"]
    return max(1.4826 * float(months.abs().median()) if len(months) else 0.0, _LEAST_MONTH)


class _Found(NamedTuple):
    row: dict[str, object]
    met: pd.DataFrame
    odds: float


class _Laid(NamedTuple):
    """The refeeds of a shelf as numbers: what each met, and which were fed to the same round.

    `levels` has a column for each level of each factor, with 1 where it was met, for a lot with its share of the flour.
    """

    refeed: np.ndarray
    culture: np.ndarray
    of_round: np.ndarray
    own_sd: np.ndarray
    variance: np.ndarray
    rest: np.ndarray
    levels: sparse.csr_matrix
    factor: np.ndarray
    level: np.ndarray

    @classmethod
    def of(cls, values: pd.DataFrame, lots: pd.DataFrame, shared: Shared) -> _Laid:
        rest, own_sd = _unexplained(values, shared)
        every = np.arange(len(values))
        met = [(every, values[factor], 1.0) for factor in _MET[:-1]]
        row = places_in(values["refeed"], lots["refeed"]).to_numpy()
        met.append((row[row >= 0], lots["lot"][row >= 0], lots["share"].to_numpy(dtype=float)[row >= 0]))
        parts, names = [], []
        for rows, levels, share in met:
            number, told = pd.factorize(levels)
            there = number >= 0
            matrix = (np.broadcast_to(share, len(rows))[there], (rows[there], number[there]))
            parts.append(sparse.csr_matrix(matrix, shape=(len(values), len(told))))
            names.append(told.astype(str).to_numpy(dtype=object))
        return cls(
            values["refeed"].to_numpy(dtype=object),
            pd.factorize(values["culture"])[0],
            level_numbers(values, ROUND),
            own_sd,
            values["log_vigour_se"].to_numpy() ** 2 + shared.scatter**2,
            rest,
            sparse.hstack(parts, format="csr"),
            np.repeat(np.arange(len(_MET)), list(map(len, names))),
            np.concatenate(names),
        )

    def met_by(self, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return the levels that some refeeds met, and which they are: factor by factor, as they come."""
        met = self.levels[rows]
        column, first, place = np.unique(met.indices, return_index=True, return_inverse=True)
        who = np.repeat(np.arange(len(rows)), np.diff(met.indptr))
        shares = np.zeros((len(rows), len(column)))
        shares[who, place] = met.data
        factor = self.factor[column]
        order = np.lexsort((np.where(factor == _LOTS, column, who[first]), factor))
        return shares[:, order], column[order]


class _Month(NamedTuple):
    """The refeeds of a month, and all that they might share: one column per level tried."""

    refeed: np.ndarray
    culture: np.ndarray
    rest: np.ndarray
    sd: np.ndarray
    solved: tuple[np.ndarray, bool]
    levels: np.ndarray
    names: list[tuple[str, str]]

    @classmethod
    def of(cls, laid: _Laid, rows: np.ndarray, month_sd: float) -> _Month:
        tried, column = laid.met_by(rows)
        factor, own, same = laid.factor[column], laid.own_sd[rows], laid.of_round[rows]
        day, shares = tried[:, factor == _DAYS], tried[:, factor == _LOTS]
        variance = (same[:, None] == same) * np.outer(own, own) + month_sd**2
        variance += _DAY**2 * day @ day.T + _LOT**2 * shares @ shares.T
        variance[np.diag_indices(len(rows))] += laid.variance[rows]
        sd, solved = np.sqrt(np.diag(variance)), cho_factor(variance)
        culture = laid.culture[rows]
        kept = _tellable(culture, tried)
        names = [(_MET[one], level) for one, level in zip(factor[kept], laid.level[column[kept]], strict=True)]
        return cls(laid.refeed[rows], culture, laid.rest[rows], sd, solved, tried[:, kept], names)

    def named(self) -> list[_Found]:
        """Name causes, the clearest first, each with what the ones before it explain taken out."""
        found: list[_Found] = []
        told = np.zeros((len(self.rest), 0))
        rest = self._held_to(np.zeros(len(self.rest)))
        for _ in range(_MOST):
            effect, variance = self._effects(rest, told)
            score = np.abs(effect) / np.sqrt(variance)
            best = int(np.argmax(score))
            chance = np.log(2.0 * len(score)) + log_ndtr(-score[best])
            if not chance < np.log(_FALSE) or abs(effect[best]) < _LEAST:
                break
            before, told = told, np.column_stack((told, self.levels[:, best]))
            rest = self._settled(told, rest)
            one = self._told(best, *self._effects(rest, before))
            if one.odds < _ODDS:
                break
            found.append(one)
        return found

    def _held_to(self, fit: np.ndarray) -> np.ndarray:
        """Return what is left of each refeed, the odd ones no further off what is told than a few sd."""
        middle = np.median(self.rest - fit)
        return fit + middle + np.clip(self.rest - fit - middle, -_ODD * self.sd, _ODD * self.sd)

    def _settled(self, told: np.ndarray, rest: np.ndarray) -> np.ndarray:
        """Hold the odd refeeds to what is told, again and again, for a large effect lies far off for all who met it."""
        before = np.zeros(told.shape[1])
        for _ in range(_ROUNDS):
            effect = np.linalg.solve(told.T @ cho_solve(self.solved, told), told.T @ cho_solve(self.solved, rest))
            rest = self._held_to(told @ effect)
            if np.abs(effect - before).max() < _SETTLED:
                break
            before = effect
        return rest

    def _effects(self, rest: np.ndarray, told: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return the effect of each level beside those already told, and its variance."""
        solved, weighed = cho_solve(self.solved, self.levels), cho_solve(self.solved, rest)
        size, score = (self.levels * solved).sum(axis=0), self.levels.T @ weighed
        if told.shape[1]:
            of_told = cho_solve(self.solved, told)
            across, inner = self.levels.T @ of_told, np.linalg.inv(told.T @ of_told)
            size = size - ((across @ inner) * across).sum(axis=1)
            score = score - across @ inner @ (told.T @ weighed)
        none = size < 1e-9 * np.maximum((self.levels * solved).sum(axis=0), 1e-12)
        return np.where(none, 0.0, score / np.where(none, 1.0, size)), np.where(
            none, 1.0, 1.0 / np.where(none, 1.0, size)
        )

    def _told(self, best: int, effect: np.ndarray, variance: np.ndarray) -> _Found:
        """Write down the level that is named, with those that cannot be told apart from it."""
        shrunk = _USUAL**2 / (_USUAL**2 + variance)
        log_odds = 0.5 * (np.log(1.0 - shrunk) + effect**2 / variance * shrunk)
        share = np.exp(log_odds - log_odds.max())
        share /= share.sum()
        order = np.argsort(-share, kind="stable")
        enough = order[: int(np.searchsorted(np.cumsum(share[order]), _TOGETHER)) + 1]
        who = self.levels[:, best] > 0.0
        factor, level = self.names[best]
        size = 100.0 * float(np.expm1(effect[best]))
        odds = float(np.exp(min(log_odds[best], 700.0)) / len(log_odds))
        row: dict[str, object] = {
            "month": self.names[0][1],
            "factor": factor,
            "level": level,
            "candidates": ", ".join(" ".join(self.names[place]) for place in enough if place != best),
            "effect_pct": size,
            "effect_pct_se": (100.0 + size) * float(np.sqrt(variance[best])),
            "cultures": len(np.unique(self.culture[who])),
            "refeeds": int(who.sum()),
            "odds": odds,
        }
        either = "".join(f" or {' '.join(self.names[place])}" for place in enough if place != best)
        cause = f"{factor} {level}{either} ({size:+.0f} %)"
        return _Found(row, pd.DataFrame({"refeed": self.refeed[who], "cause": cause}), odds)


def _tellable(culture: np.ndarray, levels: np.ndarray) -> np.ndarray:
    """Whether enough cultures met each level, and enough refeeds did not; the month itself is met by all."""
    met = (culture == np.unique(culture)[:, None]).astype(float) @ (levels > 0.0)
    enough = ((met > 0.0).sum(axis=0) >= FEWEST_CULTURES) & ((levels > 0.0).mean(axis=0) < 0.9)
    enough[0] = True
    return enough
