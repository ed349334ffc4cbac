"""From a growth curve to what is read off a jar: a start that is fitted, and a collapse after the peak.

`collapsing` lets a growth curve fall again, and `from_start` sets it on the level at which the jar stood. Each makes
a new `Model` out of a `Model`.
"""

from __future__ import annotations

import numpy as np

from .models import GROWTH, LARGEST, Array, Model, sigmoid

_LOG_2 = float(np.log(2.0))


def collapsing(growth: Model) -> Model:
    """Let a rise fall again: the growth curve times the share of its gas that is still held.

    Since the lag, t hours ago, the share has fallen from 1 as 1 / (k + (1 - k) exp(t / w)), with k = 1 / (1 + exp(-s))
    for the sharpness ``s = fall_sharpness`` and the width w = h / log(2 + exp(s)), so that half of the gas is gone
    after ``h = half_gone_after_h``. A jar that leaks the same share every hour has a sharpness far below 0, one that
    collapses all at once a high one. The curve falls back to its start in the end; a real dough stays above that:
    only the part that was read is used. The form is chosen for its simplicity; common practice, no source.

    Parameters
    ----------
    growth : Model
        One of `GROWTH`.

    Returns
    -------
    Model
        The same with the two parameters ``half_gone_after_h`` [h] and ``fall_sharpness`` at the end.

    Examples
    --------
    >>> rise_and_fall = collapsing(GROWTH["logistic"])
    >>> rise_and_fall.value(np.array([5.0, 12.0, 60.0]), np.array([10, 2, 3, 9, 6])).round(3).tolist()
    [3.986, 4.973, 0.0]
    """
    grown, lag = len(growth.parameters), growth.place("lag_h")

    def value(t: Array, p: Array) -> Array:
        return growth.value(t, p[:grown]) * share_held(t - p[lag], *p[grown:])

    def derive(t: Array, p: Array, into: Array) -> Array:
        half, sharpness = p[grown:]
        by_half, by_sharpness = into[grown:]
        level = growth.derive(t, p[:grown], into[:grown])
        since = t - p[lag]
        still, lost = _lost(since, half, sharpness)
        held = lost + still
        np.divide(1.0, held, out=held)
        into[:grown] *= held
        level *= held
        np.multiply(lost, held, out=by_half)
        by_half *= level
        into[lag] += by_half / fall_width_h(half, sharpness)
        np.multiply(since, sigmoid(sharpness - _LOG_2) / half, out=by_sharpness)
        np.subtract(still, by_sharpness, out=by_sharpness)
        by_sharpness *= by_half
        held *= still * (1.0 - still)
        held *= level
        by_sharpness -= held
        since /= half * fall_width_h(half, sharpness)
        by_half *= since
        return level

    return Model(
        (*growth.parameters, "half_gone_after_h", "fall_sharpness"),
        value,
        derive,
        (*growth.positive, "half_gone_after_h"),
        growth.linear,
    )


def share_held(since: Array, half: Array, sharpness: Array) -> Array:
    """Return the share of the gas that a collapsing curve still holds.

    Parameters
    ----------
    since : numpy.ndarray
        Time since the lag [h].
    half, sharpness : numpy.ndarray
        The parameters ``half_gone_after_h`` [h] and ``fall_sharpness``.

    Returns
    -------
    numpy.ndarray
    """
    still, lost = _lost(since, half, sharpness)
    return 1.0 / (still + lost)


def fall_width_h(half: Array, sharpness: Array) -> Array:
    """Return the time [h] in which a collapsing curve loses gas e times as fast; parameters as for `share_held`."""
    return half / np.logaddexp(_LOG_2, sharpness)


def _lost(since: Array, half: Array, sharpness: Array) -> tuple[Array, Array]:
    """Return two terms whose sum is one over the share still held."""
    lost = np.minimum(since / fall_width_h(half, sharpness) - np.logaddexp(0.0, sharpness), LARGEST)
    return sigmoid(sharpness), np.exp(lost)


def from_start(curve: Model) -> Model:
    """Set a curve on a fitted starting level.

    Parameters
    ----------
    curve : Model
        A curve that begins at 0.

    Returns
    -------
    Model
        The same with the parameter ``start``, in the level's unit, in front.

    Examples
    --------
    >>> from_start(GROWTH["logistic"]).value(np.array([5.0]), np.array([6, 2, 0.5, 3])).round(3).tolist()
    [7.0]
    """

    def value(t: Array, p: Array) -> Array:
        return p[0] + curve.value(t, p[1:])

    def derive(t: Array, p: Array, into: Array) -> Array:
        into[0] = 1.0
        level = curve.derive(t, p[1:], into[1:])
        level += p[0]
        return level

    return Model(("start", *curve.parameters), value, derive, curve.positive, ("start", *curve.linear))


def slope(curve: Model, t: Array, p: Array) -> Array:
    """Steepness of a curve [its unit/h].

    Every curve here moves along the time axis with its lag, so its slope in time is minus its derivative by that.

    Parameters
    ----------
    curve : Model
        One of `CURVES`.
    t : numpy.ndarray, shape (n,)
        Time [h].
    p : numpy.ndarray, shape (len(curve.parameters),)
        The parameters.

    Returns
    -------
    numpy.ndarray, shape (n,)
        dy/dt.

    Examples
    --------
    >>> slope(CURVES["logistic"], np.array([5.5]), np.array([10.0, 2.0, 3.0])).round(6).tolist()
    [2.0]
    """
    return -curve.jacobian(t, p)[curve.place("lag_h")]


#: What a collapsing curve is called after its growth.
WITH_COLLAPSE = " with collapse"

#: The curves of a signal from 0 upwards, with and without a collapse.
CURVES: dict[str, Model] = GROWTH | {f"{name}{WITH_COLLAPSE}": collapsing(growth) for name, growth in GROWTH.items()}


#: The same set on a fitted start, as the readings show them.
LEVELS: dict[str, Model] = {name: from_start(curve) for name, curve in CURVES.items()}
