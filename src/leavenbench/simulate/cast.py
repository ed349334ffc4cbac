"""Who stands on the shelf: a cast of cultures, each with its flour and its story."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from .stories import Story

#: How often each story is told on a shelf without names; what a ramp loses a round, and a step or dip at once [%].
_SHARES = {"steady": 0.8, "ramp": 0.1, "step": 1 / 30, "dip": 1 / 30, "death": 1 / 30}
_RAMPS = (3.0, 5.0, 8.0, 12.0)
_AT_ONCE = 25.0


@dataclass(frozen=True)
class Cast:
    """Who stands on a shelf.

    Attributes
    ----------
    cultures : pandas.DataFrame
        A cultures table with at least culture, group, flour, seed_parts, flour_parts, water_parts and
        leading_signal, in the order of the shelf.
    flours : pandas.DataFrame
        A flours table with at least flour, grain and shelf_life [d].
    stories : mapping of str to Story
        What happens to whom; a culture not named is steady.
    people : tuple of str
        The two keepers.
    room, cold_store : str
        Where they work, and where the jars stand between rounds.
    """

    cultures: pd.DataFrame
    flours: pd.DataFrame
    stories: Mapping[str, Story] = field(default_factory=dict)
    people: tuple[str, str] = ("first keeper", "second keeper")
    room: str = "bakehouse"
    cold_store: str = "cellar"


def nameless_cast(cultures: int, rounds: int, rng: np.random.Generator) -> Cast:
    """Return a shelf of numbered cultures on wheat, one in ten of which declines.

    A decline loses 3, 5, 8 or 12 % a round from its onset on. One culture in thirty steps down by 25 %, one dips by
    25 % and heals within four rounds, and one dies.

    Parameters
    ----------
    cultures : int
        Number of cultures.
    rounds : int
        Number of rounds within which the stories begin.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    Cast
        The shelf, in two groups.
    """
    names = [f"C{number:03d}" for number in range(1, cultures + 1)]
    kinds = rng.choice(list(_SHARES), cultures, p=list(_SHARES.values()))
    onsets = rng.integers(min(4, rounds), rounds + 1, cultures)
    ramps = rng.choice(_RAMPS, cultures)
    stories = {
        name: Story(str(kind), int(onset), float(ramp) if kind == "ramp" else _AT_ONCE, heals_in=4)
        for name, kind, onset, ramp in zip(names, kinds, onsets, ramps, strict=True)
    }
    table = pd.DataFrame(
        {
            "culture": names,
            "group": np.resize(["A", "B"], cultures),
            "shelf_order": np.arange(1, cultures + 1),
            "flour": "wheat",
            "seed_parts": 1.0,
            "flour_parts": 2.0,
            "water_parts": 2.0,
            "leading_signal": "rise",
        }
    )
    flours = pd.DataFrame({"flour": ["wheat"], "grain": ["wheat"], "shelf_life": [240]})
    return Cast(table, flours, stories)
