"""Levels of vigour of healthy cultures, round by round, drawn directly: what thresholds of alerts are calibrated on."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

#: A culture's sd against the shelf's usual one, lowest and highest: cultures differ as 5 to 12 % do.
_SPREAD = (0.6, 1.4)
#: Share of levels that are off, and by how many times the usual sd (assumed, no source).
_OUTLIERS, _OFF = 0.02, 1.0
#: What of a jar's chance to need an extra step no level shows, against the usual sd.
_BY_THE_STEP = 0.7


class HealthyLevels(NamedTuple):
    """Levels of cultures that are well, in units of the shelf's usual sd; missing rounds are not there.

    Attributes
    ----------
    level, variance, at : numpy.ndarray, shape (n,)
        Levels, the squares of their errors, and when, in rounds; culture after culture.
    first : numpy.ndarray of int, shape (n,)
        Where each culture begins.
    extra_steps : numpy.ndarray, shape (n,)
        1 where a jar took an extra step, else 0; missing (NaN) where passing is not recorded.
    """

    level: np.ndarray
    variance: np.ndarray
    at: np.ndarray
    first: np.ndarray
    extra_steps: np.ndarray


def simulate_healthy_levels(
    rng: np.random.Generator,
    cultures: int,
    rounds: int,
    *,
    reading_error: float,
    carry_over: float,
    missing: float,
    extra_steps: float = 0.0,
) -> HealthyLevels:
    """Return the levels of a shelf on which nothing happens but chance.

    Parameters
    ----------
    rng : numpy.random.Generator
        Where chance comes from.
    cultures, rounds : int
        Size of the shelf and length of its records.
    reading_error : float
        Standard error of a level, against the shelf's usual sd.
    carry_over : float
        How much of a deviation is left after one round.
    missing : float
        Share of rounds that are not there.
    extra_steps : float
        Share of rounds with an extra step, which low levels bring on; 0 where passing is not recorded.

    Returns
    -------
    HealthyLevels

    Examples
    --------
    >>> drawn = simulate_healthy_levels(
    ...     np.random.default_rng(1), 20, 12, reading_error=0.5, carry_over=0.3, missing=0.05
    ... )
    >>> len(drawn.level) < 240, bool(np.isnan(drawn.extra_steps).all())
    (True, True)
    """
    sd = rng.uniform(*_SPREAD, cultures)[:, None]
    new = rng.normal(size=(cultures, rounds))
    true = np.empty((cultures, rounds))
    true[:, 0] = new[:, 0]
    for one in range(1, rounds):
        true[:, one] = carry_over * true[:, one - 1] + np.sqrt(1.0 - carry_over**2) * new[:, one]
    true *= sd
    off = rng.normal(0.0, _OFF, true.shape) * (rng.random(true.shape) < _OUTLIERS)
    level = true + rng.normal(0.0, reading_error, true.shape) + off
    there = rng.random(true.shape) >= missing
    culture, at = np.nonzero(there)
    jar = true + rng.normal(0.0, _BY_THE_STEP, true.shape)
    extra = jar < np.quantile(jar, extra_steps) if extra_steps else np.full(true.shape, np.nan)
    return HealthyLevels(
        level[there],
        np.full(len(at), max(reading_error, 1e-3) ** 2),
        at.astype(float),
        np.searchsorted(culture, culture),
        extra[there].astype(float),
    )
