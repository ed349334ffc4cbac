"""What the culture's own refeeds say of a suspect: those with it against those without, same step by same step.

Generalised least squares of rise and acid on the suspect, each step of each signal with a normal of its own. What a
round strays goes through all its refeeds and is carried over to the next (an AR(1) series), what a refeed strays goes
through both its signals.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from .ground import BY_CHANCE, Ground

#: Rounds of its own that tell, the last ones.
_MEMORY = 18
#: A refeed further off its own round than so many sd counts less (common practice, no source).
_ODD = 3.0
#: Steps from this one on are like it.
_LAST_STEP = 3


class OwnRefeeds:
    """The culture's refeeds, ready to be asked about one suspect after another.

    Parameters
    ----------
    ground : Ground
        The shelf's refeeds.
    """

    def __init__(self, ground: Ground) -> None:
        recent = ground.own_rounds["of_round"].tail(_MEMORY)
        rows = ground.own[ground.values["of_round"].iloc[ground.own].isin(recent)]
        self.rows = rows
        own = ground.values.loc[rows]
        read = np.concatenate([own["rise"].to_numpy(float), own["acid"].to_numpy(float)])
        error = np.concatenate([own["rise_se"].to_numpy(float), own["acid_se"].to_numpy(float)])
        there = np.flatnonzero(np.isfinite(read) & np.isfinite(error))
        number = np.tile(np.arange(len(rows)), 2)[there]
        self._acid = (there >= len(rows)).astype(float)
        self._number = number
        step = np.minimum(own["step"].to_numpy(int), _LAST_STEP)[number]
        of_round = own["of_round"].to_numpy()[number]
        variance = self._variance(ground, number, of_round, ground.days[rows][number])
        variance[np.diag_indices(len(there))] += _odd_ones(read[there], error[there], of_round, self._acid)
        self._lower = np.linalg.cholesky(variance)
        normals = np.unique(np.column_stack([step, self._acid]), axis=0)
        design = (np.column_stack([step, self._acid])[:, None, :] == normals).all(axis=2).astype(float)
        self._basis = np.linalg.qr(np.linalg.solve(self._lower, design))[0]
        self._level = self._without_normals(np.linalg.solve(self._lower, read[there]))

    @staticmethod
    def _variance(ground: Ground, number: np.ndarray, of_round: np.ndarray, day: np.ndarray) -> np.ndarray:
        wander = ground.wander
        begun = pd.Series(day).groupby(of_round).transform("min").to_numpy()
        apart = np.abs(begun[:, None] - begun) / ground.round_days
        of_rounds = wander.round_sd**2 * wander.carry_over**apart
        return of_rounds + (wander.refeed_sd**2 + BY_CHANCE**2) * (number[:, None] == number)

    def _without_normals(self, whitened: np.ndarray) -> np.ndarray:
        return whitened - self._basis @ (self._basis.T @ whitened)

    def met(self, suspect: np.ndarray, loading: tuple[float, float]) -> np.ndarray:
        """Return how much of a suspect each reading met, by how much it acts on rise and on acid."""
        return suspect[self.rows][self._number] * np.where(self._acid > 0.0, loading[1], loading[0])

    def effect(self, suspect: np.ndarray, loading: tuple[float, float]) -> tuple[float, float]:
        """Return what a suspect did, and its standard error [log]; missing where nothing can be compared.

        Parameters
        ----------
        suspect : numpy.ndarray, shape (n,)
            How much of it each refeed of the shelf met.
        loading : tuple of float
            How much it acts on rise, and on acid.

        Returns
        -------
        effect, se : float
        """
        whole = np.linalg.solve(self._lower, self.met(suspect, loading))
        alone = self._without_normals(whole)
        size = float(alone @ alone)
        if size <= 1e-6 * max(float(whole @ whole), 1e-12):
            return float("nan"), float("nan")
        return float(alone @ self._level) / size, size**-0.5


def _odd_ones(read: np.ndarray, error: np.ndarray, of_round: np.ndarray, acid: np.ndarray) -> np.ndarray:
    """Return the variance of each reading's error; of one far off its own round so much more that it counts less."""
    middle = pd.Series(read).groupby([of_round, acid]).transform("median").to_numpy()
    usual = np.hypot(error, np.hypot(BY_CHANCE, 0.06))
    too_far = np.maximum(np.abs(read - middle) / (_ODD * usual), 1.0)
    return error**2 * too_far**2
