"""The mixed model of a trait: what cultures (or flours, grains, origins) have of their own, beside all that repeats.

Refeeds of one round, one day or one jar are alike for reasons of their own, and counting them as so many witnesses is
how differences are found that are not there (Hurlbert 1984, Ecol Monogr 54:187-211, doi 10.2307/1942661). So round, day
and jar are random; where flours are compared, so are the cultures kept on them, which are then the replicates.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse
from threadpoolctl import threadpool_limits

from ..errors import LeavenbenchError
from .carry_over import with_carry_over
from .own_scatter import with_own_scatter
from .reml import Reml, Told, fit_reml
from .rounds import Levels, Succession

#: What may be alike for reasons of its own, and the columns that tell which refeeds share it.
RANDOM = {"culture": ["culture"], "round": ["culture", "round"], "day": ["day"], "jar": ["vessel"]}
#: Those columns.
_REPEATED = tuple(dict.fromkeys(name for columns in RANDOM.values() for name in columns))
#: Whose rounds follow each other.
SERIES = "culture"
#: Beside the step, what is taken out of a refeed where it varies.
COVARIATES = ("cold_d", "rest_h", "log_seed")
#: Single refeeds that scatter less than this share beyond their stated variance scatter no more than stated.
_NO_MORE = 1e-3
#: A share of a column left under which the columns before it tell it.
_TOLD = 1e-8


class CannotCompare(LeavenbenchError):
    """The observations cannot tell the groups apart at all; the evidence is the counts of each group."""

    exit_code = 2


@dataclass(frozen=True)
class Comparison:
    """One trait of several groups, estimated.

    Attributes
    ----------
    trait, unit, scale, by : str
        Which trait, in what unit, whether on a log or a linear scale, and what the groups are.
    groups : pandas.DataFrame
        One row per group: group, cultures, rounds, days, refeeds.
    variances : pandas.DataFrame
        One row per random term and one for the single refeeds: term, levels, variance (of the working scale), sd,
        left_out (why a term is not in the model; empty when it is).
    taken_out : tuple of str
        What the means are adjusted for: to the usual mix of steps, and so on.
    as_stated : bool
        Whether refeeds scatter at least as much as their errors state; else the errors count in proportion only.
    carry_over : float
        How much of a round's deviation is left in the culture's next.
    own_scatter : pandas.Series
        By culture, how much it scatters over what is usual (1).
    fitted : Reml
        Its first fixed effects are the means of the groups on the working scale.
    """

    trait: str
    unit: str
    scale: str
    by: str
    groups: pd.DataFrame
    variances: pd.DataFrame
    taken_out: tuple[str, ...]
    as_stated: bool
    carry_over: float
    own_scatter: pd.Series
    fitted: Reml

    def means(self) -> Told:
        """Return the means of the groups on the working scale."""
        return self.fitted.first(len(self.groups))

    def covariance(self) -> np.ndarray:
        """Return the covariance of the groups' means, by Kenward and Roger."""
        many = len(self.groups)
        return self.fitted.adjusted[:many, :many]

    def _repr_html_(self) -> str:
        head = f"<b>{self.trait} by {self.by}</b> (REML; Kenward-Roger degrees of freedom)"
        return head + self.groups.to_html(index=False) + self.variances.to_html(index=False)


@threadpool_limits.wrap(limits=1, user_api="blas")  # its matrices are small: threads would wait for each other
def compared(observed: pd.DataFrame, by: str = "culture", random: tuple[str, ...] = tuple(RANDOM)) -> Comparison:
    """Fit the mixed model of one trait.

    Parameters
    ----------
    observed : pandas.DataFrame
        From `observations.observations`.
    by : str
        What to compare: a column, such as culture, flour, grain or origin.
    random : tuple of str
        What repeats, of `RANDOM`.

    Returns
    -------
    Comparison

    Raises
    ------
    CannotCompare
        There are fewer than two groups, or no more refeeds than means.

    Examples
    --------
    >>> rows = {"culture": list("AAAABBBB"), "round": [1, 1, 2, 2] * 2, "day": list("abcdefgh"), "vessel": None}
    >>> observed = pd.DataFrame({**rows, "step": [1, 2] * 4, "value": [2.0, 2.4, 2.1, 2.5, 3.0, 3.3, 3.2, 3.6]})
    >>> observed = observed.assign(refeed=range(8), se=0.05, trait="rise max_rate", unit="%/h", scale="log")
    >>> found = compared(observed)
    >>> found.fitted.effects[:2].round(3).tolist()
    [2.25, 3.275]
    >>> found.variances[["term", "left_out"]].values.tolist()[1:]
    [['round', ''], ['day', 'no level has two refeeds'], ['jar', 'not noted']]
    """
    place, names = pd.factorize(observed[by], sort=True)
    coded = {name: pd.factorize(observed[name])[0] for name in _REPEATED if name in observed}
    groups = _groups(coded, place, names)
    if len(groups) < 2:
        raise CannotCompare(f"it takes two of a {by} to compare, and {len(groups)} can be told", groups)
    beside, taken_out = _beside(observed, place)
    fixed = sparse.csr_array(sparse.hstack((_design(place, len(names)), sparse.csr_array(beside)), format="csr"))
    if len(observed) <= fixed.shape[1]:
        raise CannotCompare(f"{len(observed)} refeeds for {fixed.shape[1]} means: feed each {by} again", groups)
    terms, told = _terms(coded, fixed, [name for name in random if RANDOM[name] != [by]])
    fitted, as_stated = _fitted(observed, fixed, terms)
    series, cultures = pd.factorize(observed[SERIES], sort=True)
    levels = Levels.of(fitted, _succession(coded, series, observed["round"].fillna(0).to_numpy(int), told))
    fitted, carry_over = with_carry_over(fitted, levels)
    fitted, ratios = with_own_scatter(fitted, levels, carry_over)
    return Comparison(
        str(observed["trait"].iloc[0]),
        str(observed["unit"].iloc[0]),
        str(observed["scale"].iloc[0]),
        by,
        groups,
        _variances(told, fitted, len(observed)),
        taken_out,
        as_stated,
        carry_over,
        pd.Series(np.sqrt(ratios), cultures.astype("str")),
        fitted,
    )


def _groups(coded: dict[str, np.ndarray], place: np.ndarray, names: pd.Index) -> pd.DataFrame:
    """Count what stands behind each group."""
    table = pd.DataFrame({"group": names})
    for name, columns in (("cultures", ["culture"]), ("rounds", ["culture", "round"]), ("days", ["day"])):
        level = _levels([coded[of] for of in columns])
        wide = int(level.max(initial=0)) + 1
        table[name] = np.bincount(np.unique(place * wide + level) // wide, minlength=len(names))
    return table.assign(refeeds=np.bincount(place, minlength=len(names)))


def _beside(observed: pd.DataFrame, place: np.ndarray) -> tuple[np.ndarray, tuple[str, ...]]:
    """Return what else is fixed, each column about its mean over the refeeds, as far as the groups do not tell it."""
    step, steps = pd.factorize(observed["step"].astype("str"), sort=True)
    columns = {f"step {name}": (step == number).astype(float) for number, name in enumerate(steps) if number}
    columns |= {name: observed[name].to_numpy(float) for name in COVARIATES if name in observed}
    kept, taken_out = [], []
    many = np.bincount(place)
    basis = np.zeros((len(observed), 0))
    for name, column in columns.items():
        about = column - column.mean()
        left = about - (np.bincount(place, about) / many)[place]  # about the means of the groups
        left = left - basis @ (basis.T @ left)
        if left @ left > _TOLD * max(about @ about, 1e-12):
            basis = np.column_stack((basis, left / np.sqrt(left @ left)))
            kept.append(about)
            taken_out.append(name)
    return np.reshape(kept, (len(kept), len(observed))).T, tuple(taken_out)


def _terms(
    coded: dict[str, np.ndarray], fixed: sparse.csr_array, random: list[str]
) -> tuple[list[sparse.csr_array], pd.DataFrame]:
    """Return the design of each random term that the rows can tell, and why the others are left out."""
    terms: list[sparse.csr_array] = []
    codes: dict[str, np.ndarray] = {}
    rows, inverse = [], np.linalg.inv((fixed.T @ fixed).toarray())
    for name in random:
        code = _codes([coded[of] for of in RANDOM[name]])
        levels = int(code.max(initial=-1)) + 1
        why = _untold(code, levels, codes) or _by_group(code, levels, fixed, inverse)
        if not why:
            codes[name] = code
            terms.append(_design(code, levels))
        rows.append({"term": name, "levels": levels, "left_out": why})
    return terms, pd.DataFrame(rows, columns=["term", "levels", "left_out"])


def _codes(coded: list[np.ndarray]) -> np.ndarray:
    """Return the number of each refeed's level; -1 where nothing is noted."""
    noted = np.all([own >= 0 for own in coded], axis=0)
    code = np.full(len(noted), -1)
    code[noted] = pd.factorize(_levels(coded)[noted])[0]
    return code


def _levels(coded: list[np.ndarray]) -> np.ndarray:
    """Return the same, where nothing noted is a level too."""
    level = np.zeros(len(coded[0]), np.int64)
    for own in coded:
        level = level * (int(own.max(initial=-1)) + 2) + own + 1
    return pd.factorize(level)[0]


def _design(code: np.ndarray, levels: int) -> sparse.csr_array:
    there = np.flatnonzero(code >= 0)
    return sparse.csr_array((np.ones(len(there)), (there, code[there])), shape=(len(code), levels))


def _untold(code: np.ndarray, levels: int, before: dict[str, np.ndarray]) -> str:
    """Return why the rows cannot tell a term from chance or from the terms before it, if they cannot."""
    if levels == 0:
        return "not noted"
    if np.bincount(code[code >= 0]).max() < 2:
        return "no level has two refeeds"
    for other, known in before.items():
        both = (code >= 0) & (known >= 0)
        pairs = len(np.unique((code * (known.max() + 1) + known)[both]))
        if both.all() and pairs == levels == len(np.unique(known)):
            return f"the same refeeds share it as share the {other}"
    return ""


def _by_group(code: np.ndarray, levels: int, fixed: sparse.csr_array, inverse: np.ndarray) -> str:
    """Return why the rows cannot tell a term from what is fixed, if they cannot."""
    across = sparse.coo_array(_design(code, levels).T @ fixed)
    told = (across @ inverse)[across.row, across.col]
    left = np.bincount(code[code >= 0], minlength=levels) - np.bincount(across.row, across.data * told, levels)
    return "each group has its own, so that it goes with the group" if left.max() < _TOLD * len(code) else ""


def _fitted(observed: pd.DataFrame, fixed: sparse.csr_array, terms: list[sparse.csr_array]) -> tuple[Reml, bool]:
    """Fit with the errors as stated; where single refeeds scatter less than stated, with errors in proportion to it."""
    y, se = (observed[name].to_numpy(float) for name in ("value", "se"))
    found = fit_reml(y, fixed, terms, se**2)
    if found.variances[0] > _NO_MORE * np.median(se) ** 2:
        return found, True
    scale = se / np.exp(np.log(se).mean())
    shrunk = sparse.diags_array(1.0 / scale, format="csr")
    return fit_reml(y / scale, shrunk @ fixed, [sparse.csr_array(shrunk @ term) for term in terms]), False


def _succession(coded: dict[str, np.ndarray], series: np.ndarray, number: np.ndarray, told: pd.DataFrame) -> Succession:
    """Return the rounds of each culture, or its refeeds where the model has no rounds, and where they stand."""
    kept = told.loc[told["left_out"] == "", "term"].tolist()
    by_round = "round" in kept and (coded["round"] >= 0).all()
    level = _codes([coded[of] for of in RANDOM["round"]]) if by_round else np.arange(len(series))
    _, first = np.unique(level, return_index=True)
    place = kept.index("round") + 1 if by_round else 0
    return Succession(place, series[first], number[first])


def _variances(told: pd.DataFrame, fitted: Reml, refeeds: int) -> pd.DataFrame:
    variance = np.full(len(told), np.nan)
    variance[(told["left_out"] == "").to_numpy()] = fitted.variances[1:]
    single = pd.DataFrame({"term": ["refeed"], "levels": [refeeds], "left_out": [""]})
    table = pd.concat([single, told], ignore_index=True)
    table["variance"] = np.concatenate((fitted.variances[:1], variance))
    table["sd"] = np.sqrt(table["variance"])
    return table[["term", "levels", "variance", "sd", "left_out"]]
