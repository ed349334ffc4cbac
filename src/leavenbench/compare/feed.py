"""How a culture answers to what it is fed: the feed ratio, told as doublings of the dough, and the hydration.

Masses are scattered by the scale and by habit; only what was varied beyond that can tell anything. A culture's own
refeeds are held against each other step by step, so that the build-up of a round, which changes ratio and step
together, does not pass for an answer to the ratio.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

from ..columns import RESULTS

#: From what spread (sd) within a step on a feed counts as varied: doublings, and points of hydration [%] (common
#: practice, no source).
_VARIED = {"doublings": 0.2, "hydration": 3.0}
#: What a slope is told for: one doubling, or ten points of hydration.
_PER = {"doublings": 1.0, "hydration": 10.0}
_PER_WORDS = {"doublings": "one doubling more", "hydration": "10 points of hydration more"}
#: Refeeds beyond the numbers fitted that it takes, and how much alike two feeds may vary and still be told apart.
_SPARE, _ALIKE = 3, 0.9
_RESPONSE = RESULTS["feed_response"]


def feeds(refeeds: pd.DataFrame) -> pd.DataFrame:
    """Return what each refeed was fed.

    Parameters
    ----------
    refeeds : pandas.DataFrame
        The refeeds table.

    Returns
    -------
    pandas.DataFrame
        refeed, doublings (log2 of all dough over its seed), hydration (water over flour [%], the seed's own not
        counted); missing where it was not weighed.

    Examples
    --------
    >>> fed = pd.DataFrame({"refeed": ["a", "b"], "seed_g": [20.0, 20.0], "flour_g": [20.0, 100.0]})
    >>> feeds(fed.assign(water_g=fed["flour_g"])).round(5).values.tolist()
    [['a', 1.58496, 100.0], ['b', 3.45943, 100.0]]
    """
    seed, flour, water = (refeeds[name].astype(float) for name in ("seed_g", "flour_g", "water_g"))
    seed, flour = seed.where(seed > 0.0), flour.where(flour > 0.0)
    told = {"doublings": np.log2((seed + flour + water) / seed), "hydration": 100.0 * water / flour}
    return pd.DataFrame({"refeed": refeeds["refeed"], **told})


def feed_response(observed: pd.DataFrame, refeeds: pd.DataFrame, level: float = 0.95) -> pd.DataFrame:
    """Return how a trait of each culture depends on what it was fed.

    Parameters
    ----------
    observed : pandas.DataFrame
        As from `observations.observations`: refeed, culture, step, value (on its working
        scale), scale (log when absent).
    refeeds : pandas.DataFrame
        The refeeds table.
    level : float
        Level of the intervals, between 0 and 1.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["feed_response"]``, two rows per culture. The slope is that of a straight line within
        steps, feeds that were both varied side by side (ordinary least squares, Student's t); it is missing where a
        feed was not varied, or cannot be told apart from the other.

    Examples
    --------
    >>> ratio = np.tile([1.0, 2.0, 5.0], 4)
    >>> refeeds = pd.DataFrame({"refeed": range(12), "seed_g": 20.0, "flour_g": 20.0 * ratio, "water_g": 20.0 * ratio})
    >>> noise = np.random.default_rng(1).normal(0, 0.05, 12)
    >>> observed = pd.DataFrame({"refeed": range(12), "culture": "A", "step": 3, "value": -0.2 * ratio + noise})
    >>> feed_response(observed, refeeds)[["fed", "words"]].values.tolist()
    [['doublings', 'falls by 34 % with one doubling more (30 to 38)'], ['hydration', 'not varied: sd 0.0 within steps']]
    """
    known = observed.merge(feeds(refeeds), on="refeed").dropna(subset=["doublings", "hydration", "value", "step"])
    rows = [row for culture, own in known.groupby("culture") for row in _rows(str(culture), own, level)]
    return pd.DataFrame(rows, columns=_RESPONSE.names).astype(_RESPONSE.dtypes())


def _rows(culture: str, own: pd.DataFrame, level: float) -> list[dict[str, object]]:
    fed = own[list(_VARIED)] - own.groupby("step")[list(_VARIED)].transform("mean")
    value = (own["value"] - own.groupby("step")["value"].transform("mean")).to_numpy(dtype=float)
    spread = np.sqrt((fed**2).sum() / max(len(fed) - own["step"].nunique(), 1))
    varied = [name for name, least in _VARIED.items() if spread[name] >= least]
    spare = len(own) - own["step"].nunique() - len(varied)
    told_apart = len(varied) < 2 or abs(np.corrcoef(fed.to_numpy().T)[0, 1]) <= _ALIKE
    slopes = _slopes(fed[varied].to_numpy(), value, spare, level) if varied and spare >= _SPARE else np.empty((0, 3))
    log = "scale" not in own or own["scale"].iloc[0] == "log"
    rows = []
    for name in _VARIED:
        row: dict[str, object] = {"culture": culture, "fed": name, "refeeds": len(own)}
        row |= {"lowest": own[name].min(), "highest": own[name].max()}
        if name not in varied:
            row["words"] = f"not varied: sd {spread[name]:.1f} within steps"
        elif spare < _SPARE:
            row["words"] = f"too few refeeds to tell: {len(own)} in {own['step'].nunique()} steps"
        elif not told_apart:
            row["words"] = "doublings and hydration were varied together, and cannot be told apart"
        else:
            slope, low, high = slopes[varied.index(name)] * _PER[name]
            row |= {"slope": slope, "slope_low": low, "slope_high": high, "words": _words(name, log, slope, low, high)}
        rows.append(row)
    return rows


def _slopes(fed: np.ndarray, value: np.ndarray, spare: int, level: float) -> np.ndarray:
    """Return the slope by each feed with the ends of its interval, shape (feeds, 3)."""
    slope = np.linalg.lstsq(fed, value, rcond=None)[0]
    off = value - fed @ slope
    se = np.sqrt(np.diag(np.linalg.pinv(fed.T @ fed)) * (off @ off) / spare)
    away = stats.t.ppf(0.5 + level / 2.0, spare) * se
    return np.column_stack((slope, slope - away, slope + away))


def _words(name: str, log: bool, *told: float) -> str:
    """Say by how much the trait changes; told are the slope and the ends of its interval."""
    slope, low, high = (100.0 * np.expm1(told) if log else np.array(told)).tolist()
    more = f"with {_PER_WORDS[name]}"
    unit, digits = (" %", 0) if log else ("", 2)
    if low <= 0.0 <= high:
        return f"no answer shown: {low:+.{digits}f} to {high:+.{digits}f}{unit} {more}"
    least, middle, most = sorted(abs(end) for end in (low, slope, high))
    moves = "falls" if slope < 0.0 else "grows"
    return f"{moves} by {middle:.{digits}f}{unit} {more} ({least:.{digits}f} to {most:.{digits}f})"
