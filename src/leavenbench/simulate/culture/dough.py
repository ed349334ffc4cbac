"""How a dough rises and sours, from the cells that live when it is fed: forms of the simulator's own.

The curves that `leavenbench.curves` fits are not among them, so that a fit to simulated readings is honestly tested.
All hours here are hours at the reference temperature; the forms are assumed, no source:

- Cells wake from the cold, then divide on what they carry with them, a fixed number of times; so a dough that
  starts with half as many living cells ends with half as many.
- Yeast eats a limited sugar and makes gas of it. The first gas only dissolves. Then bubbles swell the dough, while
  gas leaks out: the faster, the more of the sugar is gone, since the dough ages with the fermentation.
- Lactic acid bacteria sour, and their own acid slows them; the last tenths come slowly.
"""

from __future__ import annotations

import numpy as np

#: How many times over the living cells can become (a little more than one division).
_YEAST_FOLD, _LACTIC_FOLD = 2.5, 2.0
#: Sugar at which yeast eats half as fast as it can, and gas that the water takes up, as shares of all the sugar.
_HALF_SUGAR, _DISSOLVES = 0.15, 0.06

_SUGAR = np.concatenate([np.linspace(1.0, 0.01, 1000), np.geomspace(0.0099, 1e-12, 200)])
_EATEN_AT = 1.0 - _SUGAR - _HALF_SUGAR * np.log(_SUGAR)


def awake_hours(hours: np.ndarray, wake_h: np.ndarray) -> np.ndarray:
    """Return the hours that count: a culture wakes evenly, most of it within `wake_h`.

    Examples
    --------
    >>> awake_hours(np.array([0.0, 1.0, 10.0]), np.array(1.0)).round(2).tolist()
    [0.0, 0.37, 9.0]
    """
    return hours + wake_h * np.expm1(-hours / wake_h)


def _cell_hours(awake: np.ndarray, growth: np.ndarray, fold: float) -> np.ndarray:
    """Return the work of one living cell and its offspring: cells times hours since feeding."""
    return fold / growth * np.log1p(np.expm1(growth * awake) / fold)


def bubbles(
    awake: np.ndarray, live: np.ndarray, growth: np.ndarray, appetite: np.ndarray, leak: np.ndarray
) -> np.ndarray:
    """Return the gas that swells the dough, as a share of all that its sugar can give.

    Parameters
    ----------
    awake : numpy.ndarray, shape (n, hours)
        Hours awake, growing along the last axis from 0 in small steps, over which what leaks is summed up.
    live : numpy.ndarray, shape (n,)
        Living yeast cells when fed; 1 in a well culture.
    growth, appetite, leak : numpy.ndarray, shape (n,)
        Growth rate [1/h], share of the sugar that the cells of a well culture eat [1/h], share of the gas that is
        lost when all sugar is gone [1/h].

    Returns
    -------
    numpy.ndarray, shape (n, hours)
        From 0 up to a peak, and down from it.

    Examples
    --------
    >>> hours, one = np.arange(0.0, 24.1, 0.1)[None, :], np.ones(1)
    >>> bubbles(hours, one, one, 0.2 * one, 0.04 * one)[0, [0, 20, 40, 60, 120, 240]].round(2).tolist()
    [0.0, 0.46, 0.88, 0.83, 0.65, 0.4]
    """
    eaten_by = (live * appetite)[:, None] * _cell_hours(awake, growth[:, None], _YEAST_FOLD)
    eaten = 1.0 - np.interp(eaten_by, _EATEN_AT, _SUGAR)
    freed = eaten + _DISSOLVES * np.expm1(-eaten / _DISSOLVES)
    lost = leak[:, None] * _summed(eaten**2, np.diff(awake))
    kept = np.exp(0.5 * (lost[:, 1:] + lost[:, :-1])) * np.diff(freed)
    swelling = np.zeros_like(awake)
    swelling[:, 1:] = np.cumsum(kept, axis=1)
    return swelling * np.exp(-lost)


def _summed(rate: np.ndarray, spans: np.ndarray) -> np.ndarray:
    """Return the integral of a rate along the last axis, by trapezoids."""
    whole = np.zeros_like(rate)
    whole[:, 1:] = np.cumsum(0.5 * (rate[:, 1:] + rate[:, :-1]) * spans, axis=1)
    return whole


def soured(awake: np.ndarray, live: np.ndarray, growth: np.ndarray, appetite: np.ndarray) -> np.ndarray:
    """Return how far the dough has soured, as a share of where it would end.

    Parameters
    ----------
    awake : numpy.ndarray, shape (n, hours)
        Hours awake.
    live : numpy.ndarray, shape (n,)
        Living lactic acid bacteria when fed; 1 in a well culture.
    growth, appetite : numpy.ndarray, shape (n,)
        Growth rate, and share of the souring that the cells of a well culture begin with [1/h].

    Returns
    -------
    numpy.ndarray, shape (n, hours)
        From 0 towards 1: the acid slows its makers by the power 1.5 of what is left, which solves to this form.

    Examples
    --------
    >>> one = np.ones(1)
    >>> soured(np.array([[0.0, 2.0, 6.0, 24.0]]), one, one, 0.25 * one).round(2).tolist()
    [[0.0, 0.46, 0.82, 0.98]]
    """
    work = (live * appetite)[:, None] * _cell_hours(awake, growth[:, None], _LACTIC_FOLD)
    return 1.0 - (1.0 + 0.5 * work) ** -2
