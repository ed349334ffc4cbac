"""One signal of one refeed, as a thing that can be asked: its verdict, its curve and the band around it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from .blocks import observe
from .choice import MODELS, Choice
from .misread import trace_without_misread
from .models import Array
from .noise import INSTRUMENTS


class Trait(NamedTuple):
    """A number read off a curve: value, standard error, whether it is only 'at least', and why anything is missing."""

    value: float
    se: float
    at_least: bool
    why: str


@dataclass(frozen=True)
class Trace:
    """What came of one signal of one refeed.

    Attributes
    ----------
    status, reason, model : str
        As in the curves table.
    readings : int
        Readings used.
    traits : dict of str to Trait
        By the names in ``columns.TRAITS``; those that there is nothing to say about are absent.
    rms_residual, range_read : float
        Root mean square of the residuals, and the range of the readings used, in the unit read.
    until_h : float
        Hour of the last reading used [h].
    set_aside : tuple of (float, float), or None
        Hour [h] and value of a reading that was set aside as misread.
    sign : float
        1 for readings that activity raises, -1 for pH.
    choice : Choice or None
        The fitted curve.
    """

    status: str
    reason: str
    model: str
    readings: int
    traits: dict[str, Trait]
    rms_residual: float
    range_read: float
    until_h: float
    set_aside: tuple[float, float] | None
    sign: float
    choice: Choice | None

    @property
    def start(self) -> float:
        """The fitted level at the start, in the unit read; NaN where no curve was fitted."""
        return float("nan") if self.choice is None else float(self.sign * self.choice.fits.parameters[0, 0])

    def level(self, elapsed_h: Array) -> Array:
        """Return the fitted curve at hours since feeding, in the unit read; NaN where none was fitted."""
        hours = np.asarray(elapsed_h, float)
        if self.choice is None:
            return np.full(hours.shape, np.nan)
        return self.sign * self.choice.fits.model.value(hours, self.choice.fits.parameters[:, 0])

    def level_se(self, elapsed_h: Array) -> Array:
        """Return the standard error of the fitted curve by linear theory, in the unit read; NaN where unknown."""
        hours = np.asarray(elapsed_h, float)
        if self.choice is None:
            return np.full(hours.shape, np.nan)
        fits = self.choice.fits
        gradient = fits.model.jacobian(hours, fits.parameters[:, 0])
        return fits.of(np.zeros(len(hours), int)).standard_error(gradient)


def trace(elapsed_h: Array, values: Array, kind: str, models: Sequence[str] = MODELS) -> Trace:
    """Fit an activity curve to one signal of one refeed and read off its traits.

    Parameters
    ----------
    elapsed_h : numpy.ndarray, shape (n,)
        Hours since feeding, in any order.
    values : numpy.ndarray, shape (n,)
        The readings; those that are no number are passed over.
    kind : str
        Kind of the readings, a name in `noise.INSTRUMENTS`.
    models : sequence of str
        Growth curves to choose among, names in `models.GROWTH`.

    Returns
    -------
    Trace
        Always, whatever the readings are.

    Examples
    --------
    >>> hours = np.array([0.0, 1, 2, 3, 4, 6, 8, 22])
    >>> soured = trace(hours, np.array([5.9, 5.9, 5.7, 5.2, 4.7, 4.1, 3.9, 3.8]), "ph_direct")
    >>> soured.status, round(soured.traits["extent"].value, 1), round(soured.traits["time_to_ph_4_6_h"].value, 1)
    ('fitted', 2.1, 4.2)
    """
    sign, hours = INSTRUMENTS[kind].sign, np.asarray(elapsed_h, float)
    observed, _ = observe(np.zeros(len(hours), int), hours, np.asarray(values, float), np.array([kind]))
    if not len(observed.first):
        nan = float("nan")
        return Trace("no readings", "no reading that can be used", "", 0, {}, nan, nan, nan, None, sign, None)
    found = trace_without_misread(observed, models, keep_curves=True)
    place = int(found.set_aside[0])
    told = {
        name: Trait(float(it.value[0]), float(it.se[0]), bool(it.at_least[0]), str(it.why[0]))
        for name, it in found.traits.items()
        if it.why[0] or not np.isnan(it.value[0])
    }
    return Trace(
        str(found.status[0]),
        str(found.reason[0]),
        str(found.model[0]),
        int(found.readings[0]),
        told,
        float(found.rms_residual[0]),
        float(found.range_read[0]),
        float(found.until_h[0]),
        None if place < 0 else (float(observed.t[place]), float(observed.y[place])),
        sign,
        found.choices[0][1] if found.choices else None,
    )
