"""What is noted when a jar is fed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from ..bakehouse.calendar import USUAL_DAYS_COLD
from ..bakehouse.rooms import Rooms
from ..noise import Noise

#: Steps to which the keepers read the pH: the first to a hundredth, the second to a twentieth.
_PH_STEPS = (0.01, 0.05)
#: What a jar from the cold smells of, and how often somebody writes it down (assumed, no source).
_USUAL_SMELLS = ("sour", "fruity", "mild", "of apples", "of vinegar")
_SMELL_SHARE = 0.3
_OUT_OF_STEP = 0.25


def put_at_bench(
    steps: pd.DataFrame,
    rooms: Rooms,
    room_of: Mapping[str, str],
    people: Sequence[str],
    noise: Noise,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Return the steps with what is noted at feeding: the keeper of the day, the thermometer, the tape, the jar's look.

    Parameters
    ----------
    steps : pandas.DataFrame
        With culture, day, step, fed_at, days_cold, log_vigour, log_vigour_acid and true_start_mm.
    rooms : Rooms
        How warm it is where.
    room_of : mapping of str to str
        The room in which each culture stands.
    people : sequence of str
        The two keepers.
    noise : Noise
        Sizes of chance.
    rng : numpy.random.Generator
        Where it comes from.

    Returns
    -------
    pandas.DataFrame
        The columns of `steps` with room, person, keeper (0 or 1), ph_step (to which that keeper reads the pH),
        room_temperature [degC, to the half], start_height [mm]; of a jar from the cold hooch [mm] and smell.
    """
    days = pd.DataFrame({"day": np.sort(steps["day"].unique())})
    days["keeper"] = rng.integers(0, len(people), len(days))
    days["off_degC"] = rng.normal(0.0, noise.thermometer_sd_degC, len(days))
    steps = steps.merge(days, on="day", how="left", validate="many_to_one")
    steps["room"] = steps["culture"].map(room_of)
    warmth = rooms.temperature(steps["room"].to_numpy(), steps["fed_at"].to_numpy()) + steps["off_degC"]
    hooch = np.maximum(rng.normal(4.0 + 0.06 * (steps["days_cold"] - USUAL_DAYS_COLD), 2.0), 0.0).round(0)
    tape = steps["true_start_mm"] + rng.normal(0.0, noise.ruler_sd_mm, len(steps))
    from_cold = steps["step"] == 1
    return steps.assign(
        person=np.array(people)[steps["keeper"]],
        ph_step=np.array(_PH_STEPS)[steps["keeper"]],
        room_temperature=(2.0 * warmth).round(0) / 2.0,
        start_height=tape.round(0),
        hooch=pd.Series(hooch).where(from_cold),
        smell=_smell(steps, rng).where(from_cold),
    ).drop(columns="off_degC")


def _smell(steps: pd.DataFrame, rng: np.random.Generator) -> pd.Series:
    """Return words for the smell, of some jars only; a jar whose yeast outruns its bacteria smells of solvent."""
    usual = rng.choice(_USUAL_SMELLS, len(steps))
    written = rng.random(len(steps)) < _SMELL_SHARE
    odd = (steps["log_vigour"] - steps["log_vigour_acid"] > _OUT_OF_STEP).to_numpy()
    words = pd.Series(np.where(odd, "of solvent", usual), index=steps.index, dtype="str")
    return words.where(written)
