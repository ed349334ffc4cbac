"""A number read off a fitted curve, with its derivatives, from which its standard error follows.

An hour at which the curve passes a level L moves with the parameters by the implicit function theorem,
(dL/dp - dy/dp) / (dy/dt); at a maximum only the direct change of the value counts.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .choice import Choice
from .composed import slope
from .landmarks import passing
from .models import Array


class Quantity(NamedTuple):
    """A number and its derivatives with respect to the parameters of the fit.

    Attributes
    ----------
    value : float
        The number; NaN when it cannot be told.
    gradient : numpy.ndarray, shape (p,)
        The derivatives; NaN when there is no honest standard error.
    at_least : bool
        It is only a lower bound.
    why : str
        Why it is missing, or a bound.
    """

    value: float
    gradient: Array
    at_least: bool = False
    why: str = ""

    def times(self, factor: float) -> Quantity:
        """Return a multiple of it."""
        return self._replace(value=self.value * factor, gradient=self.gradient * factor)


def bare(choice: Choice, value: float = float("nan"), *, at_least: bool = False, why: str = "") -> Quantity:
    """Return a number without a standard error."""
    return Quantity(value, np.full(len(choice.fit.parameters), np.nan), at_least, why)


def shape(choice: Choice) -> Array:
    """Return the parameters of the curve from 0 upwards, without its start."""
    return choice.fit.parameters[1:]


def parameter(choice: Choice, name: str) -> Quantity:
    """Return a parameter itself."""
    place = choice.fit.model.place(name)
    return Quantity(float(choice.fit.parameters[place]), np.eye(len(choice.fit.parameters))[place])


def level(choice: Choice, hour: float) -> Quantity:
    """Return how far the curve has come at an hour, from 0 at the start, in the unit read."""
    at = np.array([hour])
    gradient = np.concatenate(([0.0], choice.curve.jacobian(at, shape(choice))[0]))
    return Quantity(float(choice.curve.value(at, shape(choice))[0]), gradient)


def steepness(choice: Choice, hour: float) -> Quantity:
    """Return the slope at an hour; its derivatives are those of the level, differenced in time."""
    of = dict(zip(choice.curve.parameters, shape(choice), strict=True))
    step = 1e-4 * min(of["extent"] / of["max_rate"], of.get("fall_width_h", np.inf))
    before, after = choice.curve.jacobian(np.array([hour - step, hour + step]), shape(choice))
    gradient = np.concatenate(([0.0], (after - before) / (2.0 * step)))
    return Quantity(float(slope(choice.curve, np.array([hour]), shape(choice))[0]), gradient)


def tangent_crossing(choice: Choice, hour: float) -> Quantity:
    """Return where the tangent at the steepest hour crosses the start: the lag."""
    here, steep = level(choice, hour), steepness(choice, hour)
    gradient = here.value / steep.value**2 * steep.gradient - here.gradient / steep.value
    return Quantity(hour - here.value / steep.value, gradient)


def maximum(choice: Choice, hour: float) -> Quantity:
    """Return the hour of the maximum as a quantity: it moves so that the slope there stays zero."""
    step = 1e-4 * dict(zip(choice.curve.parameters, shape(choice), strict=True))["fall_width_h"]
    before, after = slope(choice.curve, np.array([hour - step, hour + step]), shape(choice))
    return Quantity(hour, -steepness(choice, hour).gradient * (2.0 * step) / (after - before))


def hours_of(choice: Choice, levels: list[Quantity], low: float, high: float) -> list[Quantity]:
    """Return the hours at which the curve passes levels on a stretch; NaN for one that it does not pass."""
    found = []
    hours = passing(choice.curve, shape(choice), np.array([target.value for target in levels]), low, high)
    for target, hour in zip(levels, hours, strict=True):
        if np.isnan(hour):
            found.append(bare(choice))
            continue
        there, steep = level(choice, hour), slope(choice.curve, np.array([hour]), shape(choice))[0]
        found.append(Quantity(float(hour), (target.gradient - there.gradient) / steep))
    return found


def share_of_start(choice: Choice, quantity: Quantity) -> Quantity:
    """Return a quantity in the unit read as % of the fitted starting level."""
    start = parameter(choice, "start")
    percent = quantity.times(100.0 / start.value)
    return percent._replace(gradient=percent.gradient - percent.value / start.value * start.gradient)
