"""Means of cultures in each trait, with their errors, for the map."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from ..records.collection import Collection
from ..vigour.traits import log_traits

#: A trait is on the map when so many of the cultures were read in it; a culture when it has all of those traits.
_READ_IN = 0.8
#: Rounds that a culture needs in a trait, so that their scatter tells an error.
FEWEST_ROUNDS = 3
#: A trait is left out whose means scatter no more than their errors let expect, at this level (Cochran's Q).
_LEVEL = 0.05


def trait_values(collection: Collection, curves: pd.DataFrame) -> pd.DataFrame:
    """Return what each refeed of a round shows of each trait, at the reference temperature.

    Parameters
    ----------
    collection : Collection
        The records.
    curves : pandas.DataFrame
        Its curves table.

    Returns
    -------
    pandas.DataFrame
        refeed, culture, round, step, trait (of `vigour.traits.TRAITS`), value (logarithms; of the lag hours with the
        sign turned); without refeeds in which nothing moved and values that are only 'at least'.
    """
    of = collection["refeeds"]
    of = of.loc[of["purpose"] == "round", ["refeed", "culture", "round", "step"]]
    told = log_traits(collection, curves).merge(of, on="refeed")
    told = told[told["value"].notna() & ~told["at_least"].astype(bool)]
    return told.assign(trait=told["trait"].astype("str"))[["refeed", "culture", "round", "step", "trait", "value"]]


def without_steps(values: pd.DataFrame) -> pd.DataFrame:
    """Take out of each trait what a step does, as told within cultures: weak first steps make no culture weak.

    Parameters
    ----------
    values : pandas.DataFrame
        As from `trait_values`.

    Returns
    -------
    pandas.DataFrame
        The same columns.

    Examples
    --------
    >>> values = pd.DataFrame({"culture": list("AAB"), "step": [1, 2, 2], "trait": "rise lag", "value": [1.0, 2, 5]})
    >>> without_steps(values)["value"].tolist()
    [1.5, 1.5, 4.5]
    """
    parts = []
    for _, own in values.groupby("trait", sort=False):
        step = pd.get_dummies(own["step"], dtype=float).to_numpy()
        culture = own["culture"].to_numpy()
        within = step - pd.DataFrame(step, index=own.index).groupby(culture).transform("mean").to_numpy()
        value = own["value"] - own.groupby("culture")["value"].transform("mean")
        effect = np.linalg.lstsq(within, value.to_numpy(), rcond=None)[0]
        parts.append(own.assign(value=own["value"] - step @ effect))
    return pd.concat(parts) if parts else values


@dataclass(frozen=True)
class Means:
    """Means of cultures in the traits that tell them apart.

    Attributes
    ----------
    value, error : pandas.DataFrame, shape (cultures, traits)
        Means over rounds, and the variances of these means.
    true : numpy.ndarray, shape (traits,)
        Variance among cultures beyond those.
    refeeds : numpy.ndarray, shape (cultures,)
        Refeeds behind them.
    """

    value: pd.DataFrame
    error: pd.DataFrame
    true: np.ndarray
    refeeds: np.ndarray

    @classmethod
    def of(cls, table: pd.DataFrame, like: Means | None = None) -> Means:
        """Average over rounds, whose steps stand together; choose cultures and traits, or take those of another map."""
        by_round = table.groupby(["culture", "trait", "round"])["value"].mean().groupby(["culture", "trait"])
        value, count = by_round.mean().unstack(), by_round.count().unstack().fillna(0)
        spread = by_round.var().groupby("trait").mean()
        error = (1.0 / count.where(count > 0)).mul(spread, axis="columns")
        refeeds = table.groupby("culture")["refeed"].nunique()
        if like is not None:
            value, error = (it.reindex_like(like.value) for it in (value, error))
            value, error = value.fillna(like.value), error.fillna(like.error)
            return cls(value, error, like.true, like.refeeds)
        value = value.where(count >= FEWEST_ROUNDS)
        value = value.loc[:, value.notna().sum() >= max(_READ_IN * len(value), 2)].dropna()
        error = error.reindex(index=value.index, columns=value.columns)
        weight = 1.0 / error
        scatter = (weight * (value - (weight * value).sum() / weight.sum()) ** 2).sum()
        true = value.var() - error.mean()
        kept = (true > 0.0) & (stats.chi2.sf(scatter, len(value) - 1) < _LEVEL)
        value, error = value.loc[:, kept], error.loc[:, kept]
        return cls(value, error, true[kept].to_numpy(), refeeds.reindex(value.index).to_numpy())

    def scaled(self) -> np.ndarray:
        """Return standardised means: one is as far as cultures truly differ, less where much of it is error."""
        share = self.true / (self.true + self.error.mean().to_numpy())
        return (self.value - self.value.mean()).to_numpy() / np.sqrt(self.true) * np.sqrt(share)

    def weight(self) -> np.ndarray:
        """Return how much each culture counts: less where its means are unsure against how cultures differ."""
        return 1.0 / (1.0 + (self.error.to_numpy() / self.true).mean(axis=1))


def drawn_again(table: pd.DataFrame, random: np.random.Generator) -> pd.DataFrame:
    """Return as many rounds of each culture as it has, drawn with putting back; one drawn twice is two.

    Parameters
    ----------
    table : pandas.DataFrame
        As from `without_steps`.
    random : numpy.random.Generator
        Draws them.

    Returns
    -------
    pandas.DataFrame
        The same columns.
    """
    place = pd.MultiIndex.from_frame(table[["culture", "round"]])
    code, rounds = pd.factorize(place)
    culture = pd.factorize(rounds.get_level_values(0))[0]
    order = np.argsort(culture, kind="stable")
    many = np.bincount(culture)
    first = np.concatenate(([0], np.cumsum(many)[:-1]))
    drawn = order[(first[culture[order]] + random.random(len(order)) * many[culture[order]]).astype(int)]
    times = np.bincount(drawn, minlength=len(rounds))
    again = table.iloc[np.repeat(np.arange(len(table)), times[code])]
    nth = again.groupby(["refeed", "trait"]).cumcount()
    return again.assign(round=again["round"].astype(float) + nth / (nth.max() + 1.0))
