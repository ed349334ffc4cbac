"""Vigour values alone, without doughs and readings: fast enough to calibrate on."""

from __future__ import annotations

from datetime import date

import numpy as np

from .bakehouse.calendar import ROUNDS_A_YEAR
from .bench.log_book import lose_the_dead, number_events, write_down
from .bench.passing import judge
from .cast import Cast, nameless_cast
from .conditions import meet_conditions
from .noise import Noise, streams
from .shelf import Simulated
from .truth import true_cultures

#: A jar passes when its log activity at the step is above this. By the readings and the marks that the keepers set it
#: passes or fails alike in 99 of 100 third steps, and in 84 of 100 of those between a tenth and three quarters of their
#: strength (measured on whole simulations; held by a test).
PASSES_ABOVE = float(np.log(0.5))
_VALUES = [
    "refeed", "culture", "fed_at", "purpose", "round", "step", "lot", "room", "vessel", "days_cold", "passed",
    "log_value",
]  # fmt: skip


def simulate_values(
    seed: int,
    cultures: int = 150,
    years: float = 10.0,
    begin: date = date(2022, 1, 3),
    *,
    cast: Cast | None = None,
    noise: Noise | None = None,
    value_sd: float = 0.04,
) -> Simulated:
    """Return one vigour value per refeed of a shelf with known truth.

    Parameters
    ----------
    seed : int
        The same seed gives the same values; the truth is that of `simulate_shelf` with the same seed and sizes,
        except for how many steps a round took, and so for who was fed when and for what was lost.
    cultures : int
        Number of cultures, where no cast is given.
    years : float
        Length of the records.
    begin : datetime.date
        No round begins before this day.
    cast : Cast, optional
        Who stands on the shelf.
    noise : Noise, optional
        Sizes of chance.
    value_sd : float
        Sd of log vigour that reading the jar adds: what a fit to its readings is worth.

    Returns
    -------
    Simulated
        Tables: values (refeed, culture, fed_at, purpose, round, step, lot, room, vessel, days_cold [d], passed, and
        log_value, the log of the culture's activity at its step against its own normal, as the leading signal shows
        it) and events. Truth: cultures, rounds, refeeds (log_activity and its parts), days, lots.

    Examples
    --------
    >>> shelf = simulate_values(seed=1, cultures=20, years=2)
    >>> shelf.tables["values"].groupby("step").size().head(3).tolist()
    [224, 224, 221]
    """
    noise = noise or Noise()
    draw = streams(seed)
    cast = cast or nameless_cast(cultures, round(years * ROUNDS_A_YEAR), draw.stories)
    met = meet_conditions(cast, years, begin, noise, draw)
    steps = met.steps.assign(room=met.steps["culture"].map(cast.every_room()))
    by_acid = steps["leading_signal"] == "acid"
    shown = steps["log_activity"].mask(by_acid, steps["log_activity_acid"])
    steps["log_value"] = shown + draw.readings.normal(0.0, value_sd, len(steps))
    steps, _ = judge(steps, shown > PASSES_ABOVE)
    steps, events = lose_the_dead(steps, cast.stories, draw.bench)
    steps = write_down(steps, noise, draw.bench)
    parts = [name for name in steps.columns if name.startswith("log_") and name != "log_value"]
    return Simulated(
        tables={
            "values": steps.loc[steps["written"], _VALUES].reset_index(drop=True),
            "events": number_events([events], steps["fed_at"].max()),
        },
        truth={
            "cultures": true_cultures(cast, met.rounds, met.strengths),
            "rounds": met.rounds,
            "refeeds": steps[["refeed", "culture", "round", "step", "written", *parts]].reset_index(drop=True),
            "days": met.days,
            "lots": met.lots[["lot", "flour", "log_lot"]],
        },
    )
