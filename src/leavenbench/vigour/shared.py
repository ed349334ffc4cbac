"""What a shelf shares, told apart from what is a culture's own: one robust mixed model of all refeeds.

Log vigour is the sum of the culture's normal at that step, what days in the cold, hours since the last feed and the
share of seed do, the culture's own deviation in that round, and the deviations of month, handling day, flour lot and
of each room, store and so on in that month. All deviations are Gaussian about nothing, with heavy tails (Student's t,
by reweighting: Lange, Little & Taylor 1989, J Am Stat Assoc 84:881-896, doi 10.1080/01621459.1989.10478852), so that
neither a culture that declines drags the shelf along, nor a lasting change of the shelf leaks into its cultures.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy import sparse

from .circumstances import FACTORS

#: Usual deviations (sd, log) and degrees of freedom of their tails; a study by simulation found that they serve.
_MONTH, _DAY, _LOT, _OTHER = 0.15, 0.05, 0.04, 0.03
_OWN_ROUND = 0.08
_TAILS_SHARED, _TAILS_OWN, _TAILS_REFEED = 3.0, 4.0, 5.0
#: A culture further off its normal than so many sd is on a way of its own, and speaks no more for the shelf.
_FAR = 3.0
#: A culture's normal, and what a covariate does, are as good as free [log].
_FREE = 3.0
#: Usual effects of the covariates (sd): per day in the cold, per hour since the last feed, per log share of seed.
_COVARIATES = {"cold_d": 0.003, "rest_h": 0.01, "log_seed": 0.3}
#: A deviation is shared when at least so many cultures met it.
FEWEST_CULTURES = 3
#: The least scatter of a single refeed that is believed [log].
_LEAST_SD = 0.02
_ROUNDS_OF_WEIGHTS = 8


class Shared(NamedTuple):
    """What the shelf shares, row by row of the values given.

    Attributes
    ----------
    covariates, shared, shared_se : numpy.ndarray, shape (n,)
        What cold, rest and seed do; what all shared deviations add up to, and its error [log].
    normal, own : numpy.ndarray, shape (n,)
        The culture's normal at that step, and its own deviation in that round.
    scatter : float
        Sd of a single refeed beyond its own error.
    effects : pandas.DataFrame
        One row per shared deviation: factor, level, month (empty for lots), effect, se.
    """

    covariates: np.ndarray
    shared: np.ndarray
    shared_se: np.ndarray
    normal: np.ndarray
    own: np.ndarray
    scatter: float
    effects: pd.DataFrame


def what_is_shared(values: pd.DataFrame, lots: pd.DataFrame) -> Shared:
    """Tell apart what is shared and what is a culture's own.

    Parameters
    ----------
    values : pandas.DataFrame
        One row per refeed with a vigour: refeed, culture, history, round, step, log_vigour, log_vigour_se, and the
        columns of `circumstances.circumstances`.
    lots : pandas.DataFrame
        From `circumstances.lots_fed`.

    Returns
    -------
    Shared
    """
    y, se = (values[name].to_numpy(dtype=float) for name in ("log_vigour", "log_vigour_se"))
    design = _Design.of(values, lots)
    prior = design.sd.copy()
    of_round = values.groupby(["culture", "history", "round"]).ngroup().to_numpy()
    scatter = 0.06
    weight = 1.0 / (se**2 + scatter**2)
    for _ in range(_ROUNDS_OF_WEIGHTS):
        found = _solved(design.matrix, y, weight, 1.0 / prior**2)
        rest = y - design.matrix @ found
        scatter = scatter_within(rest, se, of_round)
        variance = se**2 + scatter**2
        weight = (_TAILS_REFEED + 1.0) / (_TAILS_REFEED + rest**2 / variance) / variance
        heavy = np.where(np.isfinite(design.tails), design.tails, 1e9)
        prior = design.sd / np.sqrt((heavy + 1.0) / (heavy + (found / design.sd) ** 2))
        prior = np.where((design.kind == "own") & (np.abs(found) > _FAR * design.sd), _FREE, prior)
    told = design.matrix.power(2).T @ weight
    errors = 1.0 / np.sqrt(told + 1.0 / prior**2)
    parts = {kind: design.part(kind, found) for kind in ("covariate", "normal", "own")}
    shared, _ = design.part("shared", found), None
    return Shared(
        parts["covariate"],
        shared,
        np.sqrt(design.part("shared", errors**2, squared=True)),
        parts["normal"],
        parts["own"],
        scatter,
        design.effects(found, errors),
    )


def scatter_within(value: np.ndarray, se: np.ndarray, of_round: np.ndarray, least: float = _LEAST_SD) -> float:
    """Return the scatter of single refeeds about their round beyond their own errors, by medians.

    By what the refeeds of a round differ among themselves: its own deviation takes up a share of what is left.

    Parameters
    ----------
    value, se : numpy.ndarray, shape (n,)
        Log vigour of each refeed, or what is left of it, and its standard error.
    of_round : numpy.ndarray of int, shape (n,)
        Which round each belongs to.
    least : float
        The least scatter that is believed; it stands where no round has several refeeds.

    Returns
    -------
    float
        Standard deviation [log].
    """
    many = np.bincount(of_round)[of_round]
    several = many > 1
    if not several.any():
        return least
    mean = np.bincount(of_round, value)[of_round] / many
    away = (value - mean)[several] / np.sqrt(1.0 - 1.0 / many[several])
    whole = (1.4826 * np.median(np.abs(away))) ** 2
    return float(np.sqrt(max(whole - np.median(se[several] ** 2), least**2)))


def _solved(matrix: sparse.csr_matrix, y: np.ndarray, weight: np.ndarray, precision: np.ndarray) -> np.ndarray:
    """Solve the penalised normal equations."""
    from scipy.sparse.linalg import splu

    normal = (matrix.T @ matrix.multiply(weight[:, None]) + sparse.diags(precision)).tocsc()
    factors = splu(normal, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    return np.asarray(factors.solve(matrix.T @ (weight * y)))


class _Design(NamedTuple):
    """The columns of the model: what each is, its usual size and its tails."""

    matrix: sparse.csr_matrix
    kind: np.ndarray
    sd: np.ndarray
    tails: np.ndarray
    names: pd.DataFrame

    @classmethod
    def of(cls, values: pd.DataFrame, lots: pd.DataFrame) -> _Design:
        rows = np.arange(len(values))
        blocks: list[_Block] = [
            _Block.levels(rows, values, ["culture", "history", "step"], "normal", _FREE, np.inf),
            _Block.levels(rows, values, ["culture", "history", "round"], "own", _OWN_ROUND, _TAILS_OWN),
            _Block.levels(rows, values, ["month"], "shared", _MONTH, _TAILS_SHARED, factor="month"),
            _Block.of_lots(values, lots),
        ]
        for factor in FACTORS:
            by = [factor] if factor == "day" else [factor, "month"]
            sd = _DAY if factor == "day" else _OTHER
            blocks.append(_Block.levels(rows, values, by, "shared", sd, _TAILS_SHARED, factor=factor))
        blocks += [_Block.covariate(values[name], name, sd) for name, sd in _COVARIATES.items()]
        blocks = [block for block in blocks if block.matrix.shape[1]]
        return cls(
            sparse.hstack([block.matrix for block in blocks], format="csr"),
            np.concatenate([np.full(block.matrix.shape[1], block.kind) for block in blocks]),
            np.concatenate([np.full(block.matrix.shape[1], block.sd) for block in blocks]),
            np.concatenate([np.full(block.matrix.shape[1], block.tails) for block in blocks]),
            pd.concat([block.names for block in blocks], ignore_index=True),
        )

    def part(self, kind: str, of: np.ndarray, *, squared: bool = False) -> np.ndarray:
        """Return what the columns of a kind add up to, row by row."""
        matrix = self.matrix.power(2) if squared else self.matrix
        return np.asarray(matrix @ np.where(self.kind == kind, of, 0.0))

    def effects(self, found: np.ndarray, errors: np.ndarray) -> pd.DataFrame:
        """Return the shared deviations as a table."""
        shared = self.kind == "shared"
        return self.names[shared].assign(effect=found[shared], se=errors[shared]).reset_index(drop=True)


class _Block(NamedTuple):
    matrix: sparse.csr_matrix
    kind: str
    sd: float
    tails: float
    names: pd.DataFrame

    @classmethod
    def levels(
        cls, rows: np.ndarray, values: pd.DataFrame, by: list[str], kind: str, sd: float, tails: float, factor: str = ""
    ) -> _Block:
        """Return a column for each level of a factor; of shared ones, for those that enough cultures met."""
        place = values[by]
        known = place.notna().all(axis=1).to_numpy()
        number, names = pd.factorize(pd.MultiIndex.from_frame(place[known].astype("str")))
        names = pd.DataFrame(list(names), columns=by)
        if kind == "shared" and len(names):
            cultures = values.loc[known, "culture"].groupby(number).nunique()
            number, names = _kept(number, names, (cultures >= FEWEST_CULTURES).to_numpy())
        there = number >= 0
        told = (np.ones(there.sum()), (rows[known][there], number[there]))
        matrix = sparse.csr_matrix(told, shape=(len(values), len(names)))
        return cls(matrix, kind, sd, tails, _named(names, factor))

    @classmethod
    def of_lots(cls, values: pd.DataFrame, lots: pd.DataFrame) -> _Block:
        """Return a column for each flour lot, with its share of the flour."""
        row = pd.Series(np.arange(len(values)), index=values["refeed"])
        fed = lots[lots["refeed"].isin(row.index)]
        number, names = pd.factorize(fed["lot"])
        rows = row.loc[fed["refeed"]].to_numpy()
        share = fed["share"].to_numpy(dtype=float)
        table = pd.DataFrame({"level": names, "month": ""})
        if len(names):
            cultures = values["culture"].iloc[rows].groupby(number).nunique()
            number, table = _kept(number, table, (cultures >= FEWEST_CULTURES).to_numpy())
        there = number >= 0
        matrix = sparse.csr_matrix((share[there], (rows[there], number[there])), shape=(len(values), len(table)))
        return cls(matrix, "shared", _LOT, _TAILS_SHARED, table.assign(factor="lot"))

    @classmethod
    def covariate(cls, values: pd.Series, name: str, sd: float) -> _Block:
        """Return a single column with numbers in it."""
        column = values.to_numpy(dtype=float)[:, None]
        names = pd.DataFrame({"factor": [name], "level": [""], "month": [""]})
        return cls(sparse.csr_matrix(column), "covariate", sd, np.inf, names)


def _kept(number: np.ndarray, names: pd.DataFrame, kept: np.ndarray) -> tuple[np.ndarray, pd.DataFrame]:
    new = np.where(kept, np.cumsum(kept) - 1, -1)
    return new[number], names[kept].reset_index(drop=True)


def _named(names: pd.DataFrame, factor: str) -> pd.DataFrame:
    level = names[factor] if factor in names else pd.Series("", index=names.index)
    month = names["month"] if "month" in names else level.str[:7]
    return pd.DataFrame({"factor": factor, "level": level, "month": month})
