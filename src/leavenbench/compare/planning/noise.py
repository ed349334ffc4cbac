"""The shelf's own noise: how far readings, refeeds, rounds and days scatter, as its records tell it.

What the records cannot tell is taken for a usual value, which is named as such.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy import stats

from ...columns import RESULTS
from ...curves.noise import INSTRUMENTS, noise_by_kind
from ..mixed import CannotCompare, Comparison, compared

#: Standard deviations where records cannot tell them: of logarithms, and of a pH (common practice, no source).
USUAL = {
    "log": {"reading": 0.08, "refeed": 0.06, "round": 0.08, "day": 0.05},
    "linear": {"reading": 0.03, "refeed": 0.05, "round": 0.05, "day": 0.03},
}
USUAL_CARRY_OVER = 0.3
_USUAL = "usual value (common practice, no source)"
#: Rounds that follow another, from which on a shelf tells what is carried over (common practice, no source).
_FEWEST_SUCCESSIVE = 20
#: Parts of the curves by which the uncertainty of a reading's error is told, and the fewest curves in each.
_PARTS, _FEWEST = 10, 8
_Z95 = 1.959964
_WHAT = {
    "reading": "what the readings leave open of a refeed",
    "refeed": "refeeds of one round, beyond what the readings leave open",
    "round": "rounds of a culture",
    "day": "days, shared by all that is fed on one",
}


class Spread(NamedTuple):
    """How far one trait scatters on its working scale (log, or its unit).

    Attributes
    ----------
    trait, unit, scale : str
        Which.
    reading, refeed, round, day : float
        Standard deviations: the stated error of one refeed, refeeds within a round beyond that (jars included),
        rounds of a culture, and days.
    carry_over : float
        How much of a round's deviation is left in the next.
    as_stated : bool
        Whether refeeds scatter at least as much as their errors state; else `refeed` is all that they scatter.
    table : pandas.DataFrame
        The same with intervals and sources: the columns of ``RESULTS["planning_noise"]``.
    """

    trait: str
    unit: str
    scale: str
    reading: float
    refeed: float
    round: float
    day: float
    carry_over: float
    as_stated: bool
    table: pd.DataFrame

    @property
    def single(self) -> float:
        """Standard deviation of a single refeed about its round and day, its readings included."""
        return float(np.hypot(self.refeed, self.reading if self.as_stated else 0.0))

    def working(self, difference: float) -> float:
        """Return a difference in % (or in the trait's unit, of a linear one) on the working scale."""
        return float(np.log1p(difference / 100.0)) if self.scale == "log" else float(difference)


def planning_noise(observed: pd.DataFrame, cultures: tuple[str, ...] = ()) -> Spread:
    """Say how far a trait scatters on a shelf.

    Parameters
    ----------
    observed : pandas.DataFrame
        From `observations.observations`.
    cultures : tuple of str
        Those that a plan is for: their own errors and scatter count. All when not given.

    Returns
    -------
    Spread
        Variances of the mixed model; of a shelf of one culture those of its refeeds about the means of its steps. What
        the records cannot tell has the usual value.

    Examples
    --------
    >>> rows = {"culture": list("AABB"), "round": [1, 2, 1, 2], "day": list("abab"), "vessel": None, "step": 1}
    >>> observed = pd.DataFrame({**rows, "value": [2.0, 2.1, 3.0, 3.2], "se": 0.05}).assign(refeed=range(4))
    >>> spread = planning_noise(observed.assign(trait="rise max_rate", unit="%/h", scale="log"))
    >>> spread.table[["quantity", "told"]].values.tolist()[2]
    ['rounds of a culture', False]
    """
    first = observed.iloc[0] if len(observed) else {"trait": "", "unit": "", "scale": "log"}
    trait, unit, scale = (str(first[name]) for name in ("trait", "unit", "scale"))
    own = observed[observed["culture"].isin(cultures)] if cultures else observed
    try:
        comparison = compared(observed, "culture" if observed["culture"].nunique() > 1 else "step")
    except CannotCompare:
        comparison = None
    told = _Told.of(comparison, own)
    parts = {name: told.sd(name, usual) for name, usual in USUAL[scale].items()}
    if comparison is not None:
        parts = _taken_out_of_refeeds(parts)
    carried = told.carry_over()
    names = ["quantity", "value", "low", "high", "source"]
    table = pd.DataFrame([(_WHAT[name], *part) for name, part in parts.items()], columns=names)
    table[["value", "low", "high"]] *= 100.0 if scale == "log" else 1.0
    table["unit"] = "%" if scale == "log" else unit
    row = pd.DataFrame([("left of a round's deviation in the next", *carried)], columns=names).assign(unit="1")
    table = pd.concat([table, row], ignore_index=True)
    table = table.assign(trait=trait, told=~table["source"].str.startswith(_USUAL))
    made = RESULTS["planning_noise"]
    table = table[made.names].astype(made.dtypes())
    reading, refeed, of_round, day = (parts[name].value for name in ("reading", "refeed", "round", "day"))
    as_stated = comparison is None or comparison.as_stated
    return Spread(trait, unit, scale, reading, refeed, of_round, day, carried.value, as_stated, table)


class _Part(NamedTuple):
    """A standard deviation or share, the ends of its 95 % interval, and where it comes from."""

    value: float
    low: float
    high: float
    source: str

    @classmethod
    def usual(cls, value: float, why: str) -> _Part:
        return cls(value, np.nan, np.nan, f"{_USUAL}: {why}")


def _taken_out_of_refeeds(parts: dict[str, _Part]) -> dict[str, _Part]:
    """Take what could not be told apart from single refeeds out of them: what they scatter in all is known."""
    left, found = parts["refeed"].value ** 2, dict(parts)
    for name in ("round", "day"):
        if parts[name].source.startswith(_USUAL):
            taken = min(parts[name].value ** 2, 0.5 * left)
            left -= taken
            found[name] = parts[name]._replace(value=float(np.sqrt(taken)))
    value, low, high, source = parts["refeed"]
    share = float(np.sqrt(left)) / value if value > 0.0 else 1.0
    return found | {"refeed": _Part(share * value, share * low, share * high, source)}


class _Told(NamedTuple):
    """What a comparison tells of scatter, for some cultures."""

    comparison: Comparison | None
    own: pd.DataFrame
    factor: float

    @classmethod
    def of(cls, comparison: Comparison | None, own: pd.DataFrame) -> _Told:
        if comparison is None:
            return cls(comparison, own, 1.0)
        ratio = comparison.own_scatter.reindex(own["culture"].astype("str").unique())
        return cls(comparison, own, float(np.sqrt((ratio**2).mean())))

    def sd(self, name: str, usual: float) -> _Part:
        """Return one standard deviation."""
        if name == "reading":
            if self.own.empty:
                return _Part.usual(usual, "no refeeds")
            quarter, median, rest = self.own["se"].quantile([0.25, 0.5, 0.75])
            return _Part(median, quarter, rest, f"median of {len(self.own)} curves; half of them lie between")
        if self.comparison is None:
            return _Part.usual(usual, "too few refeeds")
        variances = self.comparison.variances.set_index("term")
        if name not in variances.index or not np.isfinite(variances["variance"][name]):
            return _Part.usual(usual, variances["left_out"].get(name, "not told apart"))
        place = int((variances["left_out"] == "").cumsum()[name]) - 1
        variance, levels = float(variances["variance"][name]), int(variances["levels"][name])
        rho = self.comparison.carry_over if name == "round" else 0.0
        if name == "round" and self._few_rounds():  # then they are taken to be as alike as is usual
            variance *= _unlike(rho, self._rounds()) / _unlike(USUAL_CARRY_OVER, self._rounds())
            rho = USUAL_CARRY_OVER
        unsure = float(self.comparison.fitted.uncertain[place, place])
        # rounds that are alike are fewer witnesses (Bartlett 1946, of squares of an AR(1) series; from memory)
        low, high = _ends(variance, unsure, levels * (1.0 - rho**2) / (1.0 + rho**2))
        source = f"mixed model, {levels} levels"
        if name == "refeed":
            variance += float(variances["variance"].fillna(0.0).get("jar", 0.0))
            source += "" if self.comparison.as_stated else "; the readings included, which state more than is seen"
        if name != "day" and self.factor != 1.0:
            source += f"; times {self.factor:.2f}, their own scatter"
        factor = 1.0 if name == "day" else self.factor
        return _Part(float(factor * np.sqrt(variance)), factor * low, factor * high, source)

    def _rounds(self) -> float:
        """Return the rounds of a culture, on average."""
        if self.comparison is None:
            return 0.0
        variances = self.comparison.variances.set_index("term")
        told = np.isfinite(variances["variance"].get("round", np.nan))
        return float(variances["levels"]["round" if told else "refeed"] / len(self.comparison.own_scatter))

    def _few_rounds(self) -> bool:
        """Whether too few rounds follow each other to tell what is carried over."""
        many = 0 if self.comparison is None else len(self.comparison.own_scatter)
        return many * (self._rounds() - 1.0) < _FEWEST_SUCCESSIVE

    def carry_over(self) -> _Part:
        """Return how much of a round's deviation is left in the next."""
        if self.comparison is None or self._few_rounds():
            return _Part.usual(USUAL_CARRY_OVER, f"under {_FEWEST_SUCCESSIVE} rounds that follow another")
        variances = self.comparison.variances.set_index("term")["variance"]
        rho, places = self.comparison.carry_over, int(variances.notna().sum())
        whole = variances["round"] if np.isfinite(variances.get("round", np.nan)) else variances["refeed"]
        if not rho > 0.0:
            return _Part(
                0.0, np.nan, np.nan, "mixed model: rounds that follow each other are no more alike than others"
            )
        away = _Z95 * np.sqrt(self.comparison.fitted.uncertain[places, places]) / whole
        return _Part(rho, max(rho - away, 0.0), min(rho + away, 1.0), "mixed model, rounds that follow each other")


def _unlike(rho: float, rounds: float) -> float:
    """Return the share of their variance by which so many rounds of an AR(1) series differ among themselves."""
    lags = np.arange(1, max(round(rounds), 2))
    whole = len(lags) + 1.0
    return float(1.0 - 2.0 * ((whole - lags) * rho**lags).sum() / (whole * (whole - 1.0)))


def _ends(variance: float, unsure: float, most: float) -> tuple[float, float]:
    """Return the ends of the 95 % interval of a standard deviation, by the variance of its square.

    It has no more than `most` degrees of freedom.
    """
    if variance <= 0.0:
        return 0.0, float(np.sqrt(_Z95 * np.sqrt(unsure)))
    freedom = min(2.0 * variance**2 / max(unsure, 1e-300), most)
    low, high = freedom * variance / stats.chi2.isf([0.025, 0.975], freedom)
    return float(np.sqrt(low)), float(np.sqrt(high))


def reading_noise(curves: pd.DataFrame, kinds: pd.DataFrame) -> pd.DataFrame:
    """Say how far single readings lie off their curves, by instrument.

    Parameters
    ----------
    curves : pandas.DataFrame
        The curves table.
    kinds : pandas.DataFrame
        refeed, signal and kind of reading, as in the table of `curves.signals.signals`; repeated rows count once.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["planning_noise"]``, one row per kind of reading that was used.
    """
    kinds = kinds[["refeed", "signal", "kind"]].drop_duplicates()
    read = curves.drop(columns="kind", errors="ignore").merge(kinds, on=["refeed", "signal"])
    rows = []
    for kind in (kind for kind in INSTRUMENTS if (read["kind"] == kind).any()):
        of_kind = read[read["kind"] == kind]
        sd = noise_by_kind(of_kind)[kind]
        few = len(of_kind) < _FEWEST
        parts = [noise_by_kind(of_kind.iloc[part::_PARTS])[kind] for part in range(_PARTS)]
        away = _Z95 * np.std(parts, ddof=1) / np.sqrt(_PARTS) if len(of_kind) >= 2 * _PARTS * _FEWEST else np.nan
        source = f"{_USUAL}: too few curves" if few else f"residuals of {len(of_kind)} curves"
        what = f"one reading, {kind}"
        rows.append(("", what, sd, sd - away, sd + away, INSTRUMENTS[kind].unit, source, not few))
    made = RESULTS["planning_noise"]
    return pd.DataFrame(rows, columns=made.names).astype(made.dtypes())
