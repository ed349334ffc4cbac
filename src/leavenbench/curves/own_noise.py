"""Errors of curves that were read too seldom to tell their own noise: filled up with the noise of their kind."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from .blocks import Observed
from .choice import MODELS
from .composed import LEVELS
from .engine import noise as noise_sd
from .noise import INSTRUMENTS, fitted_with
from .traces import Traces, trace_signals


def fill_with_noise(
    observed: Observed, found: Traces, noise: Mapping[str, float], models: Sequence[str] = MODELS
) -> None:
    """Let the noise of their kind stand for the readings that curves are short of.

    Parameters
    ----------
    observed : Observed
        The readings.
    found : Traces
        What they say by themselves; the errors are overwritten.
    noise : mapping of str to float
        Noise (sd) by kind of reading, in its unit.
    models : sequence of str
        As for `traces.trace_signals`.
    """
    fitted = np.isin(found.model, list(LEVELS))
    spare = found.readings + observed.marked - fitted_with(found.model)
    none = np.flatnonzero(fitted & (spare <= 0))
    if len(none):
        found.overwrite(none, trace_signals(observed.of(none, found.set_aside[none]), models, noise=noise))
    rss = found.rms_residual**2 * (found.readings + observed.marked)
    usual = np.array([noise[kind] for kind in observed.kind])
    finest = np.array([INSTRUMENTS[kind].resolution for kind in observed.kind])
    with np.errstate(all="ignore"):
        own, filled = (np.maximum(noise_sd(rss, spare, sd), finest) for sd in (None, usual))
        factor = np.where(fitted & (spare > 0), filled / own, 1.0)
    for place, (of, choice) in enumerate(found.choices):
        kind = observed.kind[of[0]]
        fits = choice.fits.filled_up(noise[kind], INSTRUMENTS[kind].resolution)
        found.choices[place] = of, choice if choice.fits.degrees is not None else choice._replace(fits=fits)
    for it in found.traits.values():
        it.se[:] *= factor
        it.alone_se[:] *= factor
