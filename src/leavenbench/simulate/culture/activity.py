"""What makes a refeed quick or slow, and the cells that live when it is fed.

Effects add up in the logarithm of activity: the culture's vigour, its days in the cold, the seed it was given, the
handling of the day, the flour, and chance.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..bakehouse.calendar import USUAL_DAYS_COLD
from ..noise import Noise
from .cells import cells_for

#: Loss of log activity per day in the cold beyond the usual, at step 1, 2 and later (assumed, no source).
_COLD_LOSS_A_DAY = (0.0015, 0.0007, 0.0003)
#: Out of the cold few cells live, and they wake slowly; extra steps bring back a few more: activity (of cells that are
#: awake alike) and hours of waking at steps 1 to 5 as shares of those at the third (assumed, no source).
_ACTIVITY_AT_STEP = {"rise": (0.6, 0.88, 1.0, 1.04, 1.06), "acid": (0.75, 0.93, 1.0, 1.02, 1.03)}
_WAKING_AT_STEP = (2.5, 1.3, 1.0, 1.0, 1.0)


def add_activity(steps: pd.DataFrame, noise: Noise, rng: np.random.Generator) -> pd.DataFrame:
    """Return the steps with the log activity of both signals, and the parts that make it up.

    Parameters
    ----------
    steps : pandas.DataFrame
        With step, days_cold, log_vigour, log_vigour_acid, log_day, log_lot and log_seed.
    noise : Noise
        Sizes of chance.
    rng : numpy.random.Generator
        Where it comes from.

    Returns
    -------
    pandas.DataFrame
        The columns of `steps` with log_cold, log_refeed, log_activity and log_activity_acid.
    """
    later = np.minimum(steps["step"].to_numpy(), 3) - 1
    cold = -np.array(_COLD_LOSS_A_DAY)[later] * (steps["days_cold"] - USUAL_DAYS_COLD)
    refeed = rng.standard_normal(len(steps)) * np.array(noise.refeed_sd)[later]
    acid_alone = rng.standard_normal(len(steps)) * noise.acid_alone_sd
    around = steps[["log_day", "log_lot", "log_seed"]].sum(axis=1) + cold + refeed
    return steps.assign(
        log_cold=cold,
        log_refeed=refeed,
        log_activity=steps["log_vigour"] + around,
        log_activity_acid=steps["log_vigour_acid"] + around + acid_alone,
    )


def add_cells(steps: pd.DataFrame, strengths: pd.DataFrame) -> pd.DataFrame:
    """Return the steps with the cells that live when fed, and all that their dough's curves need.

    Parameters
    ----------
    steps : pandas.DataFrame
        With culture, step, log_activity and log_activity_acid.
    strengths : pandas.DataFrame
        As from `strength.draw_strengths`.

    Returns
    -------
    pandas.DataFrame
        The columns of `steps` with rise_live and acid_live (1 in a well culture), and the culture's columns of
        `strengths`; rise_wake_h and acid_wake_h are those of the step.
    """
    at = steps["step"].to_numpy() - 1
    waking = np.array(_WAKING_AT_STEP)[at]
    own = strengths.loc[steps["culture"]].reset_index(drop=True)
    live = {signal: np.empty(len(steps)) for signal in _ACTIVITY_AT_STEP}
    for share in sorted(set(_WAKING_AT_STEP)):
        now = waking == share
        for signal, log_activity in (("rise", "log_activity"), ("acid", "log_activity_acid")):
            at_step = steps.loc[now, log_activity] + np.log(np.array(_ACTIVITY_AT_STEP[signal])[at[now]])
            as_awake = strengths.assign(**{f"{signal}_wake_h": share * strengths[f"{signal}_wake_h"]})
            live[signal][now] = cells_for(at_step, steps.loc[now, "culture"], as_awake, signal)
            own.loc[now, f"{signal}_wake_h"] *= share
    steps = steps.reset_index(drop=True)
    return pd.concat([steps.assign(rise_live=live["rise"], acid_live=live["acid"]), own], axis=1)
