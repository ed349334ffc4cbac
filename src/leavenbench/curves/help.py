"""What the rest of the shelf can do for a refeed: lend it its noise, and its own history."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from .blocks import Observed
from .borrow import trace_with_history
from .choice import MODELS
from .expected import Expected
from .models import Array
from .noise import INSTRUMENTS
from .own_noise import fill_with_noise
from .traces import Traces


def with_help(
    observed: Observed,
    found: Traces,
    noise: Mapping[str, float] | None = None,
    expected: tuple[Expected, Array] | None = None,
    models: Sequence[str] = MODELS,
    *,
    keep_curves: bool = False,
) -> Array:
    """Help signals that could not be told well by their own readings.

    Parameters
    ----------
    observed : Observed
        The readings.
    found : Traces
        What they say by themselves; overwritten where help changes it.
    noise : mapping of str to float, optional
        Noise (sd) by kind of reading, in its unit; it tells errors where few readings are to spare.
    expected : (Expected, numpy.ndarray of int), optional
        What the history of each signal lets expect, and from how many earlier refeeds.
    models, keep_curves
        As for `traces.trace_signals`.

    Returns
    -------
    numpy.ndarray of bool, shape (m,)
        Which signals contradict their history.
    """
    usual = {kind: it.noise for kind, it in INSTRUMENTS.items()} | dict(noise or {})
    if noise is not None:
        fill_with_noise(observed, found, usual, models)
    if expected is None:
        return np.zeros(len(found.status), bool)
    return trace_with_history(observed, found, *expected, usual, models, keep_curves=keep_curves)
