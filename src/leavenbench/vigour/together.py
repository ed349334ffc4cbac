"""One number per refeed: its traits together, each by what it is worth."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .numbered import in_words
from .traits import TRAITS
from .worth import Worth

#: Vigour is not told apart from nothing below the first share of the baseline, nor from more above the second.
LEAST, MOST = 0.02, 5.0
#: Traits other than the slopes follow activity on a straight line only nearby: so much of what they should have moved
#: is uncertain.
_BENT = 0.5
#: Signals further apart than so many standard errors contradict each other.
_CONTRADICT = 3.5
#: Refeeds with both signals that tell how good the errors are, and by how much these may be too small.
_FEWEST_PAIRS, _MOST_TOO_SMALL = 60, 1.6
_OF = {signal: np.array([trait.startswith(signal) for trait in TRAITS]) for signal in ("rise", "acid")}
_WORDS = [[trait, f"{trait} (at least)"] for trait in TRAITS]
_SLOPES = np.array([trait.endswith("max_rate") for trait in TRAITS])


def together(held: pd.DataFrame, worth: Worth, leading: pd.Series) -> pd.DataFrame:
    """Return one row per refeed: the logarithm of its vigour.

    Parameters
    ----------
    held : pandas.DataFrame
        From `baseline.with_baselines`.
    worth : Worth
        What the traits are worth.
    leading : pandas.Series
        The signal that leads each culture, by culture; missing where none was declared.

    Returns
    -------
    pandas.DataFrame
        refeed, log_vigour, log_vigour_se (of the refeed against its baseline: how well it was read, how far its
        traits stray alone, how well the baseline is known), traits_used, baseline_rounds, noted, probed; then rise,
        rise_se, acid, acid_se, the same by one signal alone.

    Notes
    -----
    Generalised least squares of the traits on their loadings. A jar in which nothing moved has the least vigour.
    Where the signals contradict each other, the leading one speaks.
    """
    value, error = _laid(held, _against_baseline(held), np.nan), _laid(held, held["se"], np.nan)
    first = ~held["refeed"].duplicated()
    culture = held.loc[first, "culture"]
    error = np.hypot(_scale(value, error, worth, culture) * error, _laid(held, held["base_se"], np.nan))
    (rise, rise_se), (acid, acid_se) = (_scores(np.where(of, value, np.nan), error, worth) for of in _OF.values())
    both, both_se = _scores(value, error, worth)
    apart = np.abs(rise - acid) > _CONTRADICT * np.hypot(rise_se, acid_se)
    lead = culture.map(leading.dropna().to_dict()).astype("str").fillna("rise").to_numpy()
    alone = {signal: apart & (lead == signal) for signal in _OF}
    table = held.loc[first, ["refeed"]].assign(
        log_vigour=np.select(list(alone.values()), [rise, acid], both),
        log_vigour_se=np.select(list(alone.values()), [rise_se, acid_se], both_se),
    )
    table = table.assign(rise=rise, rise_se=rise_se, acid=acid, acid_se=acid_se)
    silent = (alone["rise"][:, None] & _OF["acid"]) | (alone["acid"][:, None] & _OF["rise"])
    counts = _laid(held, True, False) & (worth.loading > 0.0) & ~silent
    table = table.assign(
        traits_used=in_words(counts.astype(int) + (counts & _laid(held, held["at_least"], False)), _WORDS),
        baseline_rounds=np.where(counts, _laid(held, held["baseline_rounds"], 0), 0).max(axis=1),
        noted=(_laid(held, held["noted"], True) | ~counts).all(axis=1),
        probed=(_laid(held, held["probed"], False) & counts).any(axis=1),
    )
    return table[counts.any(axis=1)].dropna(subset=["log_vigour", "log_vigour_se"]).reset_index(drop=True)


def _laid(held: pd.DataFrame, column: pd.Series | np.ndarray | bool, missing: float | bool) -> np.ndarray:
    """Lay what is told of traits side by side, a row for each refeed as they come, in the order of `TRAITS`."""
    row, refeeds = pd.factorize(held["refeed"])
    matrix = np.full((len(refeeds), len(TRAITS)), missing)
    matrix[row, held["trait"].cat.codes] = column
    return matrix


def _against_baseline(held: pd.DataFrame) -> np.ndarray:
    """Return each trait against its baseline; slopes within what can be told."""
    relative = (held["value"] - held["base"]).to_numpy(dtype=float)
    bounded = np.where(held["still"], np.log(LEAST), np.clip(relative, np.log(LEAST), np.log(MOST)))
    return np.where(_SLOPES[held["trait"].cat.codes], bounded, relative)


def _scale(value: np.ndarray, error: np.ndarray, worth: Worth, culture: pd.Series) -> float:
    """Return by what all errors are too small: the two signals of a refeed tell it of each other.

    What both share, such as a thermometer, it does not show: errors are never taken for too large.
    """
    (rise, rise_se), (acid, acid_se) = (_scores(np.where(of, value, np.nan), error, worth) for of in _OF.values())
    apart, expected = rise - acid, np.hypot(rise_se, acid_se)
    known = np.isfinite(apart) & np.isfinite(expected)
    if known.sum() < _FEWEST_PAIRS:
        return 1.0
    differences = pd.Series(apart[known])
    away = differences - differences.groupby(culture.to_numpy()[known]).transform("median")
    return float(np.clip(1.4826 * np.median(np.abs(away) / expected[known]), 1.0, _MOST_TOO_SMALL))


def _scores(value: np.ndarray, error: np.ndarray, worth: Worth) -> tuple[np.ndarray, np.ndarray]:
    """Return activity and its standard error, refeed by refeed: first by the slopes, then by all traits."""
    usable = worth.loading > 0.0
    value = np.where(usable, value, np.nan)
    by_slopes, _ = _least_squares(np.where(_SLOPES, value, np.nan), error, worth, np.zeros_like(value))
    bent = np.where(_SLOPES, 0.0, _BENT * worth.loading * np.abs(np.nan_to_num(by_slopes))[:, None])
    value = np.where(np.isnan(by_slopes)[:, None], np.nan, value)  # without a slope there is no scale
    found, se = _least_squares(value, error, worth, bent)
    return np.clip(found, np.log(LEAST), np.log(MOST)), se


def _least_squares(
    value: np.ndarray, error: np.ndarray, worth: Worth, bent: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    there = np.isfinite(value)
    sd = np.sqrt(worth.alone**2 + np.where(there, error, 0.0) ** 2 + bent**2)
    far = np.where(there, sd, 1e6)  # what is missing counts nothing, nor goes with anything
    weighed = np.zeros_like(far)
    pattern = there @ 2 ** np.arange(len(TRAITS))
    for one in np.unique(pattern):  # few patterns of what is there come again and again
        alike = pattern == one
        of = there[np.argmax(alike)]
        inverse = np.linalg.inv(worth.correlation * (np.outer(of, of) | np.eye(len(TRAITS), dtype=bool)))
        weighed[alike] = (worth.loading / far[alike]) @ inverse / far[alike]
    size = weighed @ worth.loading
    found = (weighed * np.where(there, value, 0.0)).sum(axis=1) / np.where(size > 0.0, size, 1.0)
    known = there.any(axis=1)
    return np.where(known, found, np.nan), np.where(known, 1.0 / np.sqrt(np.maximum(size, 1e-12)), np.nan)
