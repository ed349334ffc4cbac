"""What a shelf shares, told apart from what is a culture's own: one robust mixed model of all refeeds.

Log vigour is the sum of the culture's normal at that step, what days in the cold, hours since the last feed and the
share of seed do, the culture's own deviation in that round, and the deviations of month, handling day, flour lot and
of each room, store and so on in that month. All deviations are Gaussian about nothing, with heavy tails (Student's t,
by reweighting: Lange, Little & Taylor 1989, J Am Stat Assoc 84:881-896, doi 10.1080/01621459.1989.10478852), so that
neither a culture that declines drags the shelf along, nor a lasting change of the shelf leaks into its cultures.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy import sparse

from ..records.texts import places_in
from .circumstances import FACTORS
from .numbered import HISTORY, ROUND, level_numbers

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
#: Residual, against the right side, at which equations count as solved.
_EXACT = 1e-12


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
    of_round = level_numbers(values, ROUND)
    own, shared = (int((design.kind == kind).sum()) for kind in ("own", "shared"))
    scatter = 0.06
    weight = 1.0 / (se**2 + scatter**2)
    for _ in range(_ROUNDS_OF_WEIGHTS):
        found = _solved(design.matrix, y, weight, 1.0 / prior**2, own, shared)
        rest = y - design.matrix @ found
        scatter = scatter_within(rest, se, of_round)
        variance = se**2 + scatter**2
        weight = (_TAILS_REFEED + 1.0) / (_TAILS_REFEED + rest**2 / variance) / variance
        heavy = np.where(np.isfinite(design.tails), design.tails, 1e9)
        prior = design.sd / np.sqrt((heavy + 1.0) / (heavy + (found / design.sd) ** 2))
        prior = np.where((design.kind == "own") & (np.abs(found) > _FAR * design.sd), _FREE, prior)
    errors = 1.0 / np.sqrt(design.matrix.power(2).T @ weight + 1.0 / prior**2)
    return Shared(
        design.part("covariate", found),
        design.part("shared", found),
        np.sqrt(design.part("shared", errors**2, squared=True)),
        design.part("normal", found),
        design.part("own", found),
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


def _solved(
    matrix: sparse.csr_matrix, y: np.ndarray, weight: np.ndarray, precision: np.ndarray, own: int = 0, shared: int = 0
) -> np.ndarray:
    """Solve the penalised normal equations.

    The first columns, as many as `own`, hold ones, no two in a row; the next, as many as `shared`, hang together only
    where months touch. Both are eliminated. What is left hangs together loosely, through them alone, which is where
    conjugate gradients are quick.
    """
    from scipy.sparse.linalg import LinearOperator, cg

    ends = [0, own, own + shared, len(precision)]
    root = np.sqrt(weight)
    y, matrix = root * y, sparse.diags(root) @ matrix
    of_own, of_shared, others = (matrix[:, low:high] for low, high in pairwise(ends))
    own_precision, shared_precision, precision = np.split(precision, ends[1:3])
    size = 1.0 / np.sqrt(of_own.T @ root + own_precision)
    of_own = of_own @ sparse.diags(size)

    def without_own(rows: np.ndarray) -> np.ndarray:
        return rows - of_own @ (of_own.T @ rows)

    def equations(columns: sparse.csr_matrix, precision: np.ndarray) -> sparse.csc_matrix:
        across = of_own.T @ columns
        return (columns.T @ columns - across.T @ across + sparse.diags(precision)).tocsc()

    shared_by = _solver(equations(of_shared, shared_precision))

    def without_both(rows: np.ndarray) -> np.ndarray:
        rows = without_own(rows)
        return rows - without_own(of_shared @ shared_by(of_shared.T @ rows))

    def left(x: np.ndarray) -> np.ndarray:
        return others.T @ without_both(others @ x) + precision * x

    square = (len(precision), len(precision))
    alone = LinearOperator(square, _solver(equations(others, precision)), dtype=float)
    by_others, _ = cg(LinearOperator(square, left, dtype=float), others.T @ without_both(y), rtol=_EXACT, M=alone)
    rest = y - others @ by_others
    by_shared = shared_by(of_shared.T @ without_own(rest))
    by_own = size * (of_own.T @ (rest - of_shared @ by_shared))
    return np.concatenate((by_own, by_shared, by_others))


def _solver(equations: sparse.csc_matrix) -> Callable[[np.ndarray], np.ndarray]:
    from scipy.sparse.linalg import splu

    if not equations.shape[0]:
        return np.copy
    symmetric = {"diag_pivot_thresh": 0.0, "options": {"SymmetricMode": True}}
    return splu(equations, permc_spec="MMD_AT_PLUS_A", **symmetric).solve


class _Design(NamedTuple):
    """The columns of the model: what each is, its usual size and its tails."""

    matrix: sparse.csr_matrix
    kind: np.ndarray
    sd: np.ndarray
    tails: np.ndarray
    names: pd.DataFrame

    @classmethod
    def of(cls, values: pd.DataFrame, lots: pd.DataFrame) -> _Design:
        """Lay out the model: own deviations first, then shared ones, then what lasts."""
        met = values.assign(at=np.arange(len(values)), share=1.0)
        fed = lots.assign(at=places_in(values["refeed"], lots["refeed"]).to_numpy())
        fed = fed[fed["at"] >= 0].assign(culture=lambda table: values["culture"].to_numpy()[table["at"]])
        others = [factor for factor in FACTORS if factor != "day"]
        blocks = [
            _Block.of(met, ROUND, "own", _OWN_ROUND, _TAILS_OWN),
            _Block.of(met, ["month"], "shared", _MONTH, _TAILS_SHARED),
            _Block.of(fed, ["lot"], "shared", _LOT, _TAILS_SHARED),
            _Block.of(met, ["day"], "shared", _DAY, _TAILS_SHARED),
            *(_Block.of(met, [factor, "month"], "shared", _OTHER, _TAILS_SHARED) for factor in others),
            _Block.of(met, [*HISTORY, "step"], "normal", _FREE, np.inf),
        ]
        width = [len(block.names) for block in blocks]
        covariates = values[list(_COVARIATES)].to_numpy(dtype=float)
        kind, sd, tails = (np.repeat([block[place] for block in blocks], width) for place in range(3))
        return cls(
            sparse.hstack([*(block.columns(len(values)) for block in blocks), covariates], format="csr"),
            np.append(kind, ["covariate"] * len(_COVARIATES)),
            np.append(sd, list(_COVARIATES.values())),
            np.append(tails, [np.inf] * len(_COVARIATES)),
            pd.concat([block.names for block in blocks if block.kind == "shared"], ignore_index=True),
        )

    def part(self, kind: str, of: np.ndarray, *, squared: bool = False) -> np.ndarray:
        """Return what the columns of a kind add up to, row by row."""
        matrix = self.matrix.power(2) if squared else self.matrix
        return np.asarray(matrix @ np.where(self.kind == kind, of, 0.0))

    def effects(self, found: np.ndarray, errors: np.ndarray) -> pd.DataFrame:
        """Return the shared deviations as a table."""
        shared = self.kind == "shared"
        return self.names.assign(effect=found[shared], se=errors[shared])


class _Block(NamedTuple):
    """A column for each level of a factor: which, and where each has what share of a refeed."""

    kind: str
    sd: float
    tails: float
    names: pd.DataFrame
    number: np.ndarray
    at: np.ndarray
    share: np.ndarray

    @classmethod
    def of(cls, met: pd.DataFrame, by: list[str], kind: str, sd: float, tails: float) -> _Block:
        """Take all levels; of shared ones, those that enough cultures met."""
        number = level_numbers(met, by)
        if kind == "shared":
            number = _met_by_enough(number, met["culture"])
        told = np.flatnonzero(number >= 0)
        _, first = np.unique(number[told], return_index=True)
        names = _named(met.iloc[told[first]], by)
        return cls(kind, sd, tails, names, number[told], *(met[name].to_numpy()[told] for name in ("at", "share")))

    def columns(self, rows: int) -> sparse.csr_matrix:
        """Return them as a matrix."""
        return sparse.csr_matrix((self.share, (self.at, self.number)), shape=(rows, len(self.names)))


def _met_by_enough(number: np.ndarray, culture: pd.Series) -> np.ndarray:
    """Return the numbers of those levels that enough cultures met, counted anew; -1 for the others."""
    known = number >= 0
    of_culture, cultures = pd.factorize(culture)
    met = pd.unique(number[known] * len(cultures) + of_culture[known]) // max(len(cultures), 1)
    kept = np.bincount(met, minlength=number.max(initial=-1) + 1) >= FEWEST_CULTURES
    return np.append(np.where(kept, np.cumsum(kept) - 1, -1), -1)[number]


def _named(levels: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """Return factor, level and month of each column; the month of a day is its own, and a lot has none."""
    level = levels[by[0]].astype("str").reset_index(drop=True)
    month = levels["month"].reset_index(drop=True) if "month" in by else level.str[:7] if by == ["day"] else ""
    return pd.DataFrame({"factor": by[0], "level": level, "month": month})
