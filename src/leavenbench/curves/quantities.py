"""Numbers read off fitted curves, with their derivatives, from which their standard errors follow.

An hour at which a curve passes a level L moves with the parameters by the implicit function theorem,
(dL/dp - dy/dp) / (dy/dt); at a maximum only the direct change of the value counts.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .composed import fall_width_h, slope
from .landmarks import passing
from .models import Array
from .tried import Choice


class Quantity(NamedTuple):
    """One number of each of many curves, and its derivatives with respect to the parameters of the fits.

    Attributes
    ----------
    value : numpy.ndarray, shape (m,)
        The number; NaN when it cannot be told.
    gradient : numpy.ndarray, shape (p, m)
        The derivatives; NaN when there is no honest standard error.
    at_least : numpy.ndarray of bool, shape (m,)
        It is only a lower bound.
    why : numpy.ndarray of object, shape (m,)
        Why it is missing, or a bound; else empty.
    """

    value: Array
    gradient: Array
    at_least: Array
    why: Array

    def times(self, factor: Array | float) -> Quantity:
        """Return a multiple of it."""
        return self._replace(value=self.value * factor, gradient=self.gradient * factor)

    def minus(self, other: Quantity) -> Quantity:
        """Return the difference to another."""
        return self._replace(value=self.value - other.value, gradient=self.gradient - other.gradient)

    def but(self, where: Array, other: Quantity) -> Quantity:
        """Return it, with another in its place on some of the curves."""
        if not where.any():
            return self
        return Quantity(*(np.where(where, new, old) for old, new in zip(self, other, strict=True)))

    def bound(self, where: Array, why: str | Array = "") -> Quantity:
        """Return it as a lower bound on some of the curves."""
        return self._replace(at_least=self.at_least | where, why=np.where(where, why, self.why))


def quantity(value: Array, gradient: Array) -> Quantity:
    """Return a number with nothing to be said about it."""
    return Quantity(value, gradient, np.zeros(len(value), bool), np.full(len(value), "", object))


def bare(choice: Choice, value: Array | float = np.nan, *, at_least: bool = False, why: str | Array = "") -> Quantity:
    """Return a number without a standard error."""
    gradient = np.full(choice.fits.parameters.shape, np.nan)
    of_each = np.ones(len(choice.columns))
    said = np.full(len(of_each), "", object)
    said[:] = why
    return Quantity(value * of_each, gradient, np.full(len(of_each), at_least), said)


def parameter(choice: Choice, name: str) -> Quantity:
    """Return a parameter itself."""
    place = choice.fits.model.place(name)
    gradient = np.zeros(choice.fits.parameters.shape)
    gradient[place] = 1.0
    return quantity(choice.fits.parameters[place], gradient)


def level(choice: Choice, hour: Array) -> Quantity:
    """Return how far the curve has come at an hour of each, from 0 at the start, in the unit read."""
    gradient = np.zeros(choice.fits.parameters.shape)
    return quantity(choice.curve.derive(hour, choice.shape, gradient[1:]), gradient)


def steepness(choice: Choice, hour: Array) -> Quantity:
    """Return the slope at an hour of each; its derivatives are those of the level, differenced in time."""
    step = 1e-4 * np.minimum(choice.shape[0] / choice.shape[1], _fall_width(choice))
    before, after = (choice.curve.jacobian(at, choice.shape) for at in (hour - step, hour + step))
    gradient = np.zeros(choice.fits.parameters.shape)
    gradient[1:] = (after - before) / (2.0 * step)
    return quantity(slope(choice.curve, hour, choice.shape), gradient)


def tangent_crossing(here: Quantity, steep: Quantity, hour: Array) -> Quantity:
    """Return where the tangent at the steepest hour crosses the start: the lag."""
    gradient = here.value / steep.value**2 * steep.gradient - here.gradient / steep.value
    return quantity(hour - here.value / steep.value, gradient)


def maximum(choice: Choice, hour: Array) -> Quantity:
    """Return the hour of the maximum as a quantity: it moves so that the slope there stays zero."""
    step = 1e-4 * _fall_width(choice)
    before, after = (slope(choice.curve, at, choice.shape) for at in (hour - step, hour + step))
    return quantity(hour, -steepness(choice, hour).gradient * (2.0 * step) / (after - before))


def hours_of(choice: Choice, target: Quantity, low: Array, high: Array) -> Quantity:
    """Return the hours at which curves pass a level on a stretch of each; NaN where they do not."""
    hour = passing(choice.name, choice.shape, target.value, low, high)
    there, steep = level(choice, hour), slope(choice.curve, hour, choice.shape)
    return quantity(hour, (target.gradient - there.gradient) / steep)


def share_of_start(choice: Choice, number: Quantity) -> Quantity:
    """Return a quantity in the unit read as % of the fitted starting level."""
    start = parameter(choice, "start")
    percent = number.times(100.0 / start.value)
    return percent._replace(gradient=percent.gradient - percent.value / start.value * start.gradient)


def _fall_width(choice: Choice) -> Array | float:
    """Return the width of the fall [h]; infinite without one."""
    return fall_width_h(*choice.shape[-2:]) if choice.collapses else np.inf
