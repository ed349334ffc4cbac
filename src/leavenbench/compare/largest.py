"""The largest size of t among differences of means that were drawn, draw by draw."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

#: From so many differences on it pays to begin with the outermost means.
_MANY = 5_000
#: The least error of a mean about the average, as a share of the largest; and what single precision may hide.
_LEAST_AWAY, _ROUNDED = 1e-6, 1.0 + 1e-5


def differences(covariance: np.ndarray, first: np.ndarray, second: np.ndarray) -> _OneByOne | _FromOutside:
    """Return what tells the largest size of t of such differences, by ``largest(means)`` of means (g, draws)."""
    own = np.diag(covariance)
    variance = own[first] + own[second] - 2.0 * covariance[first, second]
    if len(first) < _MANY:
        return _OneByOne.of(first, second, variance)
    return _FromOutside.of(covariance, first, second, variance)


class _OneByOne(NamedTuple):
    """Few differences are all looked at.

    Attributes
    ----------
    runs : list of tuple
        The differences gathered by their first mean, so that each run is one subtraction: which that is, the others,
        and 1 over the standard errors (others, 1).
    """

    runs: list[tuple[int, np.ndarray, np.ndarray]]

    @classmethod
    def of(cls, first: np.ndarray, second: np.ndarray, variance: np.ndarray) -> _OneByOne:
        over = (1.0 / np.sqrt(variance)).astype(np.float32)[:, None]
        return cls([(int(one), second[first == one], over[first == one]) for one in np.unique(first)])

    def largest(self, means: np.ndarray) -> np.ndarray:
        """Memory is asked for once, which takes half of the time."""
        most = np.zeros(means.shape[1], np.float32)
        room = np.empty((max(len(others) for _, others, _ in self.runs), means.shape[1]), np.float32)
        for one, others, over in self.runs:
            away = np.take(means, others, axis=0, out=room[: len(others)], mode="clip")
            away -= means[one]
            away *= over
            np.maximum(most, np.abs(away, out=away).max(axis=0), out=most)
        return most


class _FromOutside(NamedTuple):
    """Of many differences most are not looked at.

    Each t of two means is at most the root of ``k (z_1^2 + z_2^2)``, with z how far each is from the average of all, in
    errors of that, and k the same for all differences (Cauchy and Schwarz). So the means are looked at from the
    outermost inwards, each against all others, until no two of the rest can be further apart.

    Attributes
    ----------
    over : numpy.ndarray, shape (g, g)
        1 over the standard error of each difference; 0 where it is not asked for.
    weight : numpy.ndarray, shape (g,)
        By which squared distances from the average become 2 k z^2.
    """

    over: np.ndarray
    weight: np.ndarray

    @classmethod
    def of(cls, covariance: np.ndarray, first: np.ndarray, second: np.ndarray, variance: np.ndarray) -> _FromOutside:
        over = np.zeros(covariance.shape, np.float32)
        over[first, second] = over[second, first] = 1.0 / np.sqrt(variance)
        away = np.diag(covariance) - 2.0 * covariance.mean(axis=0) + covariance.mean()
        away = np.maximum(away, _LEAST_AWAY * away.max())
        most = ((away[first] + away[second]) / variance).max()
        return cls(over, (2.0 * _ROUNDED * most / away).astype(np.float32))

    def largest(self, means: np.ndarray) -> np.ndarray:
        means = np.ascontiguousarray(means.T)
        most, unsure = np.zeros(len(means), np.float32), np.arange(len(means))
        reach = (means - means.mean(axis=1, keepdims=True)) ** 2 * self.weight
        while True:
            draw, one = np.arange(len(unsure)), reach.argmax(axis=1)
            beyond = reach[draw, one] > most[unsure] ** 2
            if not beyond.any():
                return most
            if not beyond.all():
                unsure, means, reach, one = (of[beyond] for of in (unsure, means, reach, one))
                draw = draw[: len(unsure)]
            away = np.abs(means - means[draw, one, None]) * self.over[one]
            most[unsure] = np.maximum(most[unsure], away.max(axis=1))
            reach[draw, one] = 0.0
