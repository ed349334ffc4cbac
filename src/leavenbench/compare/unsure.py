"""How unsure variances are, and what that does to the errors of fixed effects (Kenward & Roger 1997)."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .equations import Array, At, Model
from .products import Met


class Joint(NamedTuple):
    """What the variances do by themselves and by twos.

    Of the single rows and of the absorbed term, the narrow ones, by what they do to the design before the other terms
    and the fixed effects are out; of the other terms, whose variances may be large, by what is left when they are.

    Attributes
    ----------
    single : dict of int to numpy.ndarray, shape (m, m)
        ``G_k = M' W V_k W M`` of the narrow ones.
    double : dict of (int, int) to numpy.ndarray, shape (e,)
        Elements, where columns of the design meet, of ``M' W V_k W V_l W M`` of every two of them, one way and the
        other, halved.
    traces : dict of (int, int) to float
        ``tr(W V_k W V_l)`` of the same.
    left : numpy.ndarray, shape (m, d)
        ``I - C M' W M`` at the columns of the other terms.
    among : numpy.ndarray, shape (d, d)
        ``Z' P Z`` of the other terms.
    places : numpy.ndarray of int, shape (d,)
        To which term each column belongs.
    shares : dict of int to numpy.ndarray, shape (m, m)
        ``C G_k`` of the narrow ones.
    met : Met
        Where columns of the design meet.
    """

    single: dict[int, Array]
    double: dict[tuple[int, int], Array]
    traces: dict[tuple[int, int], float]
    left: Array
    among: Array
    places: Array
    shares: dict[int, Array]
    met: Met

    @classmethod
    def of(cls, model: Model, at: At) -> Joint:
        """Take them from the model at given variances."""
        once, met = at.grams.once, model.products.met
        single, double = {0: met.whole(at.grams.twice)}, {(0, 0): _thrice(model, at)}
        traces = {(0, 0): _trace_of_rows(model, at)}
        if model.absorbed:
            single[model.absorbed] = met.whole(at.grams.by_level)
            _add_levels(model, at, double, traces)
        left = -at.inverse @ once[:, : model.random]
        left[np.diag_indices(model.random)] += 1.0
        places = np.repeat([*model.columns], [own.stop - own.start for own in model.columns.values()])
        shares = {place: at.inverse @ gram for place, gram in single.items()}
        return cls(single, double, traces, left, once[: model.random] @ left, places.astype(int), shares, met)

    def information(self, inverse: Array, variances: int) -> Array:
        """Return the expected information, from tr(P V_k P V_l)."""
        information = np.zeros((variances, variances))
        for (one, other), trace in self.traces.items():
            once = self.met.trace(inverse, self.double[one, other])
            information[one, other] = trace - 2.0 * once + np.vdot(self.shares[one], self.shares[other].T)
            information[other, one] = information[one, other]
        for place, gram in self.single.items():
            beside = np.bincount(self.places, (self.left * (gram @ self.left)).sum(axis=0), variances)
            information[place] += beside
            information[:, place] += beside
        of_column = np.eye(variances)[self.places]
        return 0.5 * (information + of_column.T @ self.among**2 @ of_column)


def errors(model: Model, at: At, joint: Joint, uncertain: Array) -> tuple[Array, Array, Array]:
    """Return the covariance of the fixed effects, that by Kenward & Roger, and how each variance moves the first."""
    fixed = at.inverse[:, model.random :]
    covariance = fixed[model.random :]
    met = {place: gram @ fixed for place, gram in joint.single.items()}
    weights = -joint.left[model.random :].T  # of the levels of the other terms
    moves = np.empty((len(uncertain), *covariance.shape))
    for place, one in met.items():
        moves[place] = fixed.T @ one
    for place, own in model.columns.items():
        moves[place] = weights[own].T @ weights[own]
    more = weights.T @ (joint.among * uncertain[np.ix_(joint.places, joint.places)]) @ weights
    direct = sum(uncertain[pair] * double * (2.0 - (pair[0] == pair[1])) for pair, double in joint.double.items())
    more += fixed.T @ (joint.met.whole(direct) @ fixed)
    for place, one in met.items():
        more -= one.T @ (at.inverse @ sum(uncertain[place, other] * by for other, by in met.items()))
        beside = (one.T @ joint.left) @ (uncertain[place][joint.places, None] * weights)
        more += beside + beside.T
    return covariance, covariance + 2.0 * more, moves


def _thrice(model: Model, at: At) -> Array:
    """Return the elements of M' W^3 M."""
    products, within = model.products, at.within
    cube = within.weight**3
    share = products.each(within.share)
    half = products.under(cube) - 0.5 * products.each(within.share * products.diagonal(cube)) * within.once
    beside = products.both_ways(share * within.once, half)
    return products.of_rows(cube) - beside - products.of_levels(share * within.twice, within.twice)


def _trace_of_rows(model: Model, at: At) -> float:
    """Return tr(W^2)."""
    weight, share, cube = at.within.weight, at.within.share, model.products.diagonal(at.within.weight**3)
    twice = share * at.within.second
    return float(weight @ weight - 2.0 * share @ cube + twice @ twice)


def _add_levels(
    model: Model, at: At, double: dict[tuple[int, int], Array], traces: dict[tuple[int, int], float]
) -> None:
    """Add what the absorbed term does with the single rows, and with itself."""
    place, products, within = model.absorbed, model.products, at.within
    once, twice = (products.each(within.left) * of for of in (within.once, within.twice))  # Z' W M and Z' W^2 M
    size = within.left * within.size
    double[place, 0] = 0.5 * products.both_ways(once, twice)
    double[place, place] = products.of_levels(products.each(size) * once, once)
    traces[place, 0] = float((within.left**2) @ within.second)
    traces[place, place] = float(size @ size)
