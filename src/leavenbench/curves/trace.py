"""One signal of one refeed, as a thing that can be asked: its verdict, its curve and the band around it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from .band import simultaneous_band
from .choice import MODELS
from .help import with_help
from .history import expected_of
from .misread import trace_without_misread
from .models import Array
from .noise import INSTRUMENTS
from .rows import Shelf, one_refeed
from .tried import Choice


class Trait(NamedTuple):
    """A number read off a curve: value, standard error, whether it is only 'at least', and why anything is missing.

    `prior_share` is the share of it that comes from earlier refeeds, 0 to 1.
    """

    value: float
    se: float
    at_least: bool
    why: str
    prior_share: float = 0.0


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
    set_aside : tuple of (float, float) pairs
        Hour [h] and value of each reading that was set aside.
    high_mark : float, or None
        Highest level, whenever it was reached, in the unit read.
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
    set_aside: tuple[tuple[float, float], ...]
    high_mark: float | None
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

    def band(self, elapsed_h: Array, level: float = 0.95) -> tuple[Array, Array]:
        """Return the ends of a band that holds the whole curve over these hours, in the unit read; NaN if unknown."""
        hours = np.asarray(elapsed_h, float)
        here = self.level(hours)
        if self.choice is None:
            return here, here
        half = simultaneous_band(self.choice.fits, hours, level)
        return here - half, here + half

    def level_se(self, elapsed_h: Array) -> Array:
        """Return the standard error of the fitted curve by linear theory, in the unit read; NaN where unknown."""
        hours = np.asarray(elapsed_h, float)
        if self.choice is None:
            return np.full(hours.shape, np.nan)
        fits = self.choice.fits
        gradient = fits.model.jacobian(hours, fits.parameters[:, 0])
        return fits.of(np.zeros(len(hours), int)).standard_error(gradient)


def trace(
    elapsed_h: Array,
    values: Array,
    kind: str,
    models: Sequence[str] = MODELS,
    *,
    sd: Array | None = None,
    high_mark: float | None = None,
    prior: Mapping[str, float] | None = None,
    noise: Mapping[str, float] | None = None,
) -> Trace:
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
    sd, high_mark, prior, noise
        As for `shelf.trace_refeed`.

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
    row = None if prior is None else pd.DataFrame([dict(prior) | {"refeed": "", "signal": ""}])
    return trace_signal(one_refeed(elapsed_h, values, kind, sd, high_mark), row, noise, models)


def trace_signal(
    read: pd.DataFrame,
    prior: pd.DataFrame | None = None,
    noise: Mapping[str, float] | None = None,
    models: Sequence[str] = MODELS,
) -> Trace:
    """Fit an activity curve to one signal of one refeed.

    Parameters
    ----------
    read : pandas.DataFrame
        Its rows of the table that `signals.signals` gives, one or more.
    prior, noise, models
        As for `shelf.trace_shelf`.

    Returns
    -------
    Trace
        Always, whatever the readings are.
    """
    kind = str(read["kind"].iloc[0])
    shelf = Shelf.of(read)
    observed, sign, nan = shelf.observed, INSTRUMENTS[kind].sign, float("nan")
    if not len(observed.first):
        return Trace("no readings", "no reading that can be used", "", 0, {}, nan, nan, nan, (), None, sign, None)
    found = trace_without_misread(observed, models, keep_curves=True)
    expected = None if prior is None else expected_of(prior, shelf.signals)
    with_help(observed, found, noise, expected, models, keep_curves=True)
    aside = shelf.read.iloc[[*shelf.aside, *observed.source[found.set_aside[found.set_aside >= 0]]]]
    told = {
        name: Trait(float(it.value[0]), float(it.se[0]), bool(it.at_least[0]), str(it.why[0]), float(it.prior_share[0]))
        for name, it in found.traits.items()
        if it.why[0] or not np.isnan(it.value[0])
    }
    return Trace(
        str(found.status[0]),
        shelf.reasons(found)[0],
        str(found.model[0]),
        int(found.readings[0]),
        told,
        float(found.rms_residual[0]),
        float(found.range_read[0]),
        float(found.until_h[0]),
        tuple(zip(aside["elapsed_h"].astype(float), aside["value"].astype(float), strict=True)),
        float(observed.mark[0]) if observed.mark is not None and observed.marked[0] else None,
        sign,
        found.choices[0][1] if found.choices else None,
    )
