"""Restricted maximum likelihood for a few crossed variances, with what small samples need.

Variances: Patterson & Thompson 1971, Biometrika 58:545-554, doi 10.1093/biomet/58.3.545, by scoring with the average
information (Gilmour, Thompson & Cullis 1995, Biometrics 51:1440-1450, doi 10.2307/2533274). Errors of estimates and
their degrees of freedom: Kenward & Roger 1997, Biometrics 53:983-997, doi 10.2307/2533558.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import sparse

from .equations import Array, At, Matrix, Model
from .unsure import Joint, errors

#: The search ends when the next step would raise the log likelihood by less than this.
_SETTLED, _ROUNDS, _HALVINGS = 1e-13, 100, 20
#: The log likelihood may fall by this share of it: what rounding does.
_ROUNDING = 1e-12
#: The first steps are by the expected information, which is never far too small.
_FAR_OFF = 1
#: A step goes beyond the top when the likelihood falls behind it this share as steeply as it rose.
_BEYOND = 0.5
#: No estimate is worth less than this many degrees of freedom.
_FEWEST_FREE = 1.0
#: The least scatter beyond the known errors, as a share of the variance of y.
_LEAST = 1e-8


class Reml(NamedTuple):
    """What was fitted to n rows with p fixed effects and k variances, the scatter of single rows first.

    Attributes
    ----------
    effects : numpy.ndarray, shape (p,)
        Fixed effects.
    covariance, adjusted : numpy.ndarray, shape (p, p)
        Their covariance, taking the variances for known; and by Kenward and Roger, who do not.
    variances : numpy.ndarray, shape (k,)
        theta.
    log_likelihood : float
        The restricted one.
    moves : numpy.ndarray, shape (u, p, p)
        Derivative of `covariance` by each of u uncertain numbers: the variances, and what was added since.
    uncertain : array, shape (u, u)
        Covariance of those numbers, by the expected information; sparse where most are uncertain for themselves.
    free : numpy.ndarray of bool, shape (k,)
        Which variances are not held at their bound.
    settled : bool
        Whether the search came to rest.
    information : numpy.ndarray, shape (k, k)
        The expected one, of the variances alone.
    model, at, joint : Model, At, Joint
        What was solved, and what the variances do to it.
    """

    effects: Array
    covariance: Array
    adjusted: Array
    variances: Array
    log_likelihood: float
    moves: Array
    uncertain: Matrix
    free: Array
    settled: bool
    information: Array
    model: Model
    at: At
    joint: Joint

    def contrasts(self, of: Array) -> Told:
        """Return estimates, standard errors and degrees of freedom of linear combinations.

        Parameters
        ----------
        of : numpy.ndarray, shape (m, p)
            One combination of the fixed effects per row.
        """
        plain, adjusted = (((of @ matrix) * of).sum(axis=1) for matrix in (self.covariance, self.adjusted))
        moved = np.array([((of @ move) * of).sum(axis=1) for move in self.moves])
        return self._told(of @ self.effects, plain, adjusted, moved)

    def first(self, many: int) -> Told:
        """Return the same for the first effects themselves."""
        own = (np.diagonal(of, axis1=-2, axis2=-1)[..., :many] for of in (self.covariance, self.adjusted, self.moves))
        return self._told(self.effects[:many], *own)

    def differences(self, first: Array, second: Array) -> Told:
        """Return the same for the differences of effects, first less second, by their numbers, shape (m,)."""
        place = first * len(self.effects) + second

        def between(matrix: Array) -> Array:
            own = np.diag(matrix)
            return np.asarray((own[:, None] + own - 2.0 * matrix).ravel()[place])

        moved = np.array([between(move) for move in self.moves])
        estimate = self.effects[first] - self.effects[second]
        return self._told(estimate, between(self.covariance), between(self.adjusted), moved)

    def _told(self, estimate: Array, plain: Array, adjusted: Array, moved: Array) -> Told:
        spread = (moved * (self.uncertain @ moved)).sum(axis=0)
        with np.errstate(divide="ignore"):
            freedom = 2.0 * plain**2 / np.maximum(spread, 0.0)
        return Told(estimate, np.sqrt(np.maximum(adjusted, plain)), np.maximum(freedom, _FEWEST_FREE))


class Told(NamedTuple):
    """Estimates, their standard errors, and degrees of freedom.

    The freedom is that of Satterthwaite with the expected information, which for a single combination of effects is
    that of Kenward & Roger.
    """

    estimate: Array
    se: Array
    freedom: Array


def fit_reml(
    y: Array,
    fixed: Matrix,
    terms: list[sparse.csr_array],
    known: Array | float = 0.0,
) -> Reml:
    """Fit fixed effects and variances.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
        What was measured.
    fixed : array, sparse or not, shape (n, p)
        Design of the fixed effects, of full rank.
    terms : list of scipy.sparse.csr_array, shape (n, q)
        Design of each random term: one variance for all its columns.
    known : numpy.ndarray, shape (n,), or float
        Variance of each row that is known beforehand.

    Returns
    -------
    Reml

    Examples
    --------
    Two rows in each of three jars; with a balanced design REML is the analysis of variance:

    >>> jar = sparse.csr_array(np.kron(np.eye(3), np.ones((2, 1))))
    >>> found = fit_reml(np.array([1.0, 2.0, 4.0, 5.0, 9.0, 8.0]), np.ones((6, 1)), [jar])
    >>> found.variances.round(4).tolist()
    [0.5, 12.0833]
    >>> [float(of[0].round(4)) for of in found.contrasts(np.ones((1, 1)))]
    [4.8333, 2.0276, 2.0]
    """
    model = Model.of(y, fixed, terms, np.broadcast_to(np.asarray(known, float), y.shape))
    whole = max(float(model.y @ model.y) / max(len(y) - fixed.shape[1], 1), 1e-12)
    least = np.array([_LEAST * whole, *np.zeros(len(terms))])
    theta = np.full(len(terms) + 1, whole / (len(terms) + 1.0))
    here = model.at(theta)
    settled = False
    for number in range(_ROUNDS):
        information = _expected(model, here) if number < _FAR_OFF else here.information
        step, rise = _step(here, theta, information, least)
        if 0.5 * rise < _SETTLED:
            settled = True
            break
        tried, found = _climbed(model, here, theta, step, rise, least)
        if found is None and number >= _FAR_OFF:
            step, rise = _step(here, theta, _expected(model, here), least)
            tried, found = _climbed(model, here, theta, step, rise, least)
        if found is None:
            settled = True  # the likelihood cannot be raised
            break
        theta, here = tried, found
    return _judged(model, theta, here, theta > least, settled)


def _expected(model: Model, here: At) -> Array:
    return Joint.of(model, here).information(here.inverse, len(here.score))


def _step(here: At, theta: Array, information: Array, least: Array) -> tuple[Array, float]:
    """Return the step by the score, and how steeply the log likelihood rises along it: it is to gain half of that."""
    free = (theta > least) | (here.score > 0.0)
    step = np.zeros(len(theta))
    step[free] = np.linalg.pinv(information[np.ix_(free, free)], hermitian=True) @ here.score[free]
    return step, float(here.score @ step)


def _climbed(model: Model, here: At, theta: Array, step: Array, rise: float, least: Array) -> tuple[Array, At | None]:
    """Step, less far while the likelihood falls; None where no step raises it.

    A step that goes well beyond the top is taken back to it: information may be far less than the real curvature, and
    the search would swing about the top for long.
    """
    lowest = here.log_likelihood - _ROUNDING * abs(here.log_likelihood)
    for _ in range(_HALVINGS):
        tried = np.maximum(theta + step, least)
        found = model.at(tried)
        fall = -(found.score @ step)
        if fall > _BEYOND * rise > 0.0:
            step = step * rise / (rise + fall)
            continue
        if found.log_likelihood >= lowest:
            return tried, found
        step = 0.5 * step
    return theta, None


def _judged(model: Model, theta: Array, here: At, free: Array, settled: bool) -> Reml:
    """Add the errors."""
    joint = Joint.of(model, here)
    information = joint.information(here.inverse, len(theta))
    spread = np.linalg.pinv(information, hermitian=True)
    covariance, adjusted, moves = errors(model, here, joint, spread)
    told = (theta, here.log_likelihood, moves, spread, free, settled, information)
    return Reml(here.effects, covariance, adjusted, *told, model, here, joint)
