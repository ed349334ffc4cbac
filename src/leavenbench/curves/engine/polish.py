"""From optima that are good enough to better ones: quickly for many, or to the last digits."""

from __future__ import annotations

import numpy as np

from ..models import Array, Model
from .belief import Belief
from .fits import scaled_jacobian
from .normal import columns, columns_or_none, damped_step, parts, products
from .problem import SINGULAR, Optimum

#: Steps of sharpening, and readings that are worked on together.
_A_FEW, _TOGETHER = 3, 65_536
#: Steps of polishing after which the digits are what they are.
_MOST = 60
#: A direction in which the readings say less than this, against the best one, is left alone.
_SILENT = 1e-14
#: Near its lowest point a residual sum is told to this share.
_ROUNDING = 1e-12


def sharpened(
    model: Model,
    t: Array,
    y: Array,
    found: Optimum,
    weight: Array | None,
    low: Array,
    high: Array,
    belief: Belief | None = None,
) -> Optimum:
    """Bring optima closer by a few Gauss-Newton steps, as cheap as those of the search.

    Parameters
    ----------
    model, t, y, weight, low, high, belief
        As for `optimum`.
    found : Optimum
        Optima of a search.

    Returns
    -------
    Optimum
        The same, usually to some 1e-7 of their standard errors; those that had not settled, or would leave their
        bounds, are left as they were.
    """
    sharper = Optimum(*(it.copy() for it in found))
    with np.errstate(all="ignore"):
        for part in parts(t.shape[1], len(t), _TOGETHER):
            weighed = None if weight is None else weight[:, part]
            known = None if belief is None else belief.part(part)
            p, sums, settled, held = (it[..., part] for it in sharper)
            for _ in range(_A_FEW):
                step, _ = damped_step(sums, held, np.full(p.shape[1], SINGULAR))
                new = p + step
                there = products(model, t[:, part], y[:, part], weighed, new, known)
                inside = ((new >= low[:, part]) & (new <= high[:, part])).all(axis=0)
                better = np.flatnonzero(settled & inside & (there[-1, -1] <= (1.0 + _ROUNDING) * sums[-1, -1]))
                p[:, better], sums[..., better] = new[:, better], there[..., better]
    return sharper


def polished(model: Model, t: Array, y: Array, found: Optimum, weight: Array | None = None) -> Optimum:
    """Bring optima to full double precision by Gauss-Newton steps on the Jacobian itself.

    The normal equations square the condition of the problem, and a residual sum is flat at its lowest point: both
    cost digits. Orthogonal factors of the Jacobian keep them. Steps are taken as long as they become smaller; where
    they do not, as with residuals that bend the problem more than its curves, the optimum stays as exact as it was.

    Parameters
    ----------
    model, t, y, weight
        As for `optimum`.
    found : Optimum
        Optima of a search.

    Returns
    -------
    Optimum
        The same, more exact; those that had not settled are left as they were.
    """
    p = found.parameters.copy()
    moving = np.flatnonzero(found.settled)
    longest = np.full(len(found.settled), np.inf)
    with np.errstate(all="ignore"):
        for _ in range(_MOST):
            times, readings, at, held = (columns(it, moving) for it in (t, y, p, found.held))
            step, length = _step(model, times, readings, at, columns_or_none(weight, moving), held)
            shorter = length < longest[moving]
            moving, step = moving[shorter], step[:, shorter]
            if not len(moving):
                break
            p[:, moving] += step
            longest[moving] = length[shorter]
        sums = products(model, t, y, weight, p)
    worse = ~(sums[-1, -1] <= (1.0 + _ROUNDING) * found.rss)
    p[:, worse], sums[..., worse] = found.parameters[:, worse], found.sums[..., worse]
    return Optimum(p, sums, found.settled, found.held)


def _step(model: Model, t: Array, y: Array, p: Array, weight: Array | None, held: Array) -> tuple[Array, Array]:
    """Return a Gauss-Newton step, and how far it moves the curve."""
    jacobian, influence = scaled_jacobian(model, t, p, weight, held)
    residual = y - model.value(t, p)
    if weight is not None:
        residual *= weight
    lost = ~np.isfinite(jacobian).all(axis=(1, 2))
    jacobian[lost] = 0.0
    sides, strength, directions = np.linalg.svd(jacobian, full_matrices=False)
    along = (sides * residual.T[..., None]).sum(axis=1)
    along[strength < _SILENT * strength[:, :1]] = 0.0
    inner = np.where(along == 0.0, 0.0, along / strength)
    step = (directions * inner[..., None]).sum(axis=1).T / influence
    return step, np.where(lost, np.inf, np.sqrt((along**2).sum(axis=1)))
