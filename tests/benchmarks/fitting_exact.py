"""How good the optima are, and the standard errors there: measured, not asserted."""

from __future__ import annotations

import numpy as np
from fitting_curves import Block

from leavenbench.curves.engine import AT_REST, Optimum, judged, optimum
from leavenbench.curves.search import search
from leavenbench.curves.starts import starts

#: Residual sums this close to the best one known count as the same.
SAME = 1e-8
#: Draws of the multistart around the scored start and around the truth, each with its spread [natural logarithm].
_AROUND_SCORED, _AROUND_TRUTH = (10, 0.5), (5, 0.3)
#: The tolerance of the multistart, and how often each of its searches goes on from where the last one ended.
_TIGHT, _AGAIN = 1e-12, 3
#: When a growth curve is steepest, in hours after the lag times rate over extent.
_STEEPEST = {"logistic": 0.5, "gompertz": 1.0 / np.e}


def fitted(block: Block, start: np.ndarray | None = None, tolerance: float = AT_REST) -> Optimum:
    """Fit a block from its readings, or from given starts."""
    if block.has_start:
        return search(block.growth, block.t, block.y, None, block.peak, start, tolerance)
    if start is None:
        start = _start_at_zero(block)
    return optimum(block.model, block.t, block.y, start, tolerance=tolerance)


def _start_at_zero(block: Block) -> np.ndarray:
    """Find starts without a start level: those with one, without it."""
    return starts(block.growth, block.t, block.y)[1:]


def shares_of_best(block: Block, seed: int) -> tuple[float, float]:
    """Return the share of curves fitted to the best residual sum known: of all optima, and of the admissible ones.

    The best one known comes of a multistart: from the truth, from the scored start, and from draws around both. With
    a collapse an optimum is admissible when half of the gas is gone after the steepest hour; without, all are.
    """
    ours = fitted(block)
    best, best_admissible = ours.rss.copy(), np.where(_admissible(block, ours.parameters), ours.rss, np.inf)
    for start in _many_starts(block, seed):
        found = fitted(block, start, _TIGHT)
        for _ in range(_AGAIN):
            found = fitted(block, found.parameters, _TIGHT)
        best = np.fmin(best, found.rss)
        best_admissible = np.fmin(best_admissible, np.where(_admissible(block, found.parameters), found.rss, np.inf))
    return float(np.mean(ours.rss <= best * (1.0 + SAME))), float(np.mean(ours.rss <= best_admissible * (1.0 + SAME)))


def _many_starts(block: Block, seed: int) -> list[np.ndarray]:
    rng = np.random.default_rng(seed)
    scored = starts(block.growth, block.t, block.y, None, block.peak)[0 if block.has_start else 1 :]
    drawn = [
        centre * np.exp(rng.normal(0.0, spread, centre.shape))
        for centre, (draws, spread) in ((scored, _AROUND_SCORED), (block.truth, _AROUND_TRUTH))
        for _ in range(draws)
    ]
    return [block.truth, scored, *drawn]


def _admissible(block: Block, p: np.ndarray) -> np.ndarray:
    if block.peak is None:
        return np.isfinite(p).all(axis=0)
    _, extent, rate, _, half_gone_after, _ = p
    return half_gone_after > _STEEPEST[block.growth] * extent / rate


def standard_errors(block: Block) -> tuple[np.ndarray, np.ndarray, int]:
    """Compare the engine's standard errors with those by QR of the Jacobian at the same optima.

    Returns
    -------
    away : numpy.ndarray, shape (m,)
        The largest relative difference among the parameters of each curve.
    condition : numpy.ndarray, shape (m,)
        Condition number of the Jacobian with columns of length 1.
    untold : int
        Curves left out: a parameter held at a bound, or a standard error that the engine does not give.
    """
    found = fitted(block)
    size, curves = found.parameters.shape
    readings = np.full(curves, len(block.t))
    fits = judged(block.model, block.t, found, readings)
    ours = np.array([fits.standard_error(np.repeat(unit[:, None], curves, axis=1)) for unit in np.eye(size)])
    told = np.isfinite(ours).all(axis=0) & ~found.held.any(axis=0)
    jacobian = block.model.jacobian(block.t[:, told], found.parameters[:, told]).transpose(2, 1, 0)
    length = np.sqrt((jacobian**2).sum(axis=1))
    upper = np.linalg.qr(jacobian / length[:, None], mode="r")
    residual_sd = np.sqrt(found.rss[told] / (len(block.t) - size))
    theirs = residual_sd * np.sqrt((np.linalg.inv(upper) ** 2).sum(axis=2)).T / length.T
    away = np.abs(ours[:, told] / theirs - 1.0).max(axis=0)
    strength = np.linalg.svd(upper, compute_uv=False)
    return away, strength[:, 0] / strength[:, -1], int(curves - told.sum())
