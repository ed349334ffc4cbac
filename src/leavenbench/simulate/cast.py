"""Who stands on the shelf: a cast of cultures, each with its flour, its place and its story."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from .bakehouse.mishaps import Mishap
from .bakehouse.rooms import Room
from .bench.probes import Probe
from .culture.stories import Story

#: How often each story is told on a shelf without names; what a ramp loses a round, an accelerating one at first, a
#: step or dip at once, and a takeover of the souring [%].
_SHARES = {
    "steady": 0.8,
    "ramp": 0.08,
    "accelerating": 0.02,
    "step": 0.03,
    "dip": 0.03,
    "death": 0.02,
    "takeover": 0.02,
}
_RAMPS = (3.0, 5.0, 8.0, 12.0)
_PERCENT = {"accelerating": 1.5, "step": 25.0, "dip": 25.0, "takeover": 40.0}
_FLOURS = {"white-wheat": "wheat", "wholemeal-wheat": "wheat", "spelt": "spelt", "rye": "rye"}


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
    mishaps : tuple of Mishap
        What befalls many jars at once.
    blends : mapping of str to mapping of str to float
        The flours of a culture that is fed on more than one, and the share of each.
    people : tuple of str
        The two keepers.
    probes : tuple of Probe
        The pH probe of each.
    rooms : tuple of Room
        Where the jars stand while they work.
    room_of : mapping of str to str
        The room of each culture; one not named stands in the first.
    stores : pandas.DataFrame
        A stores table with at least store and kind.
    store_of : mapping of str to str
        Where each culture's jar stands between rounds; one not named stands in the first store.
    """

    cultures: pd.DataFrame
    flours: pd.DataFrame
    stories: Mapping[str, Story] = field(default_factory=dict)
    mishaps: tuple[Mishap, ...] = ()
    blends: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    people: tuple[str, str] = ("first keeper", "second keeper")
    probes: tuple[Probe, Probe] = (Probe("P1"), Probe("P2"))
    rooms: tuple[Room, ...] = (Room("bakehouse"),)
    room_of: Mapping[str, str] = field(default_factory=dict)
    stores: pd.DataFrame = field(default_factory=lambda: pd.DataFrame({"store": ["cellar"], "kind": ["cold"]}))
    store_of: Mapping[str, str] = field(default_factory=dict)

    @property
    def names(self) -> list[str]:
        """The cultures, in the order of the shelf."""
        return self.cultures["culture"].tolist()

    def every_room(self) -> dict[str, str]:
        """Return the room of every culture."""
        return {name: self.room_of.get(name, self.rooms[0].name) for name in self.names}

    def every_store(self) -> dict[str, str]:
        """Return the store of every culture."""
        return {name: self.store_of.get(name, str(self.stores["store"].iloc[0])) for name in self.names}

    def shares(self) -> pd.DataFrame:
        """Return culture, flour and share: one row per flour that a culture is fed on."""
        rows = [
            (name, part, share)
            for name, flour in self.cultures[["culture", "flour"]].itertuples(index=False)
            for part, share in self.blends.get(name, {flour: 1.0}).items()
        ]
        return pd.DataFrame(rows, columns=["culture", "flour", "share"])


def nameless_cast(cultures: int, rounds: int, rng: np.random.Generator) -> Cast:
    """Return a shelf of numbered cultures on four flours and in two rooms, one in ten of which declines.

    Of a hundred, eight lose 3, 5, 8 or 12 % a round from their onset on, and two 1.5 % at first and ever more; three
    step down by 25 %, three dip by 25 % and heal within four rounds, two die, and two are taken over by another
    organism.

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
        name: Story(str(kind), int(onset), _PERCENT.get(kind, float(ramp)), within=4, gain_percent=20.0)
        for name, kind, onset, ramp in zip(names, kinds, onsets, ramps, strict=True)
    }
    table = pd.DataFrame(
        {
            "culture": names,
            "group": np.resize(["A", "B"], cultures),
            "shelf_order": np.arange(1, cultures + 1),
            "flour": np.resize(np.repeat(list(_FLOURS), 2), cultures),
            "seed_parts": 1.0,
            "flour_parts": 2.0,
            "water_parts": 2.0,
            "leading_signal": "rise",
        }
    )
    flours = pd.DataFrame({"flour": list(_FLOURS), "grain": list(_FLOURS.values()), "shelf_life": 240})
    rooms = (Room("bakehouse"), Room("loft", mean_degC=23.5, season_degC=3.0, swing_degC=1.5, thermometer=True))
    in_loft = dict.fromkeys(names[1::3], "loft")
    return Cast(table, flours, stories, rooms=rooms, room_of=in_loft)
