"""How each culture is usually fed: ratio, seed and jar at each step, and the mass that a round builds up to."""

from __future__ import annotations

import pandas as pd

from ..records.collection import Collection
from ..records.living import cultures_known
from ..records.rounds import STEPPING
from .feeding import FeedRatio

#: Refeeds that tell what is usual, the last ones.
_REMEMBERED = 6
#: What of an old jar may be taken as seed: the rest stays in the cold until the new jar has passed.
TAKEN_OF_OLD_JAR = 0.5


def rounds_fed(collection: Collection) -> pd.DataFrame:
    """Return the refeeds of rounds, in the order of feeding."""
    refeeds = collection["refeeds"]
    return refeeds[refeeds["purpose"] == "round"].sort_values("fed_at", kind="stable")


def feed_ratios(collection: Collection) -> dict[str, FeedRatio]:
    """Return each culture's own feed ratio: as declared, else as it was usually fed.

    Parameters
    ----------
    collection : Collection
        Its cultures and refeeds.

    Returns
    -------
    dict of str to FeedRatio
        Without the cultures of which nothing is known.
    """
    fed = rounds_fed(collection)
    shares = pd.DataFrame({part: fed[f"{part}_g"] / fed["seed_g"] for part in ("flour", "water")})
    shares = shares.where(fed["seed_g"] > 0.0).groupby(fed["culture"]).agg(lambda told: told.tail(_REMEMBERED).median())
    found = {
        str(culture): FeedRatio(1.0, round(flour, 1), round(water, 1))
        for culture, flour, water in shares.dropna().itertuples()
        if round(flour, 1) > 0.0
    }
    declared = collection["cultures"].dropna(subset=["seed_parts", "flour_parts", "water_parts"])
    for culture, *parts in declared[["culture", "seed_parts", "flour_parts", "water_parts"]].itertuples(index=False):
        if parts[0] > 0.0 and parts[1] > 0.0:
            found[str(culture)] = FeedRatio(*(float(part) for part in parts))
    return found


def usual_steps(collection: Collection) -> pd.DataFrame:
    """Return how each step of each culture is usually fed.

    Parameters
    ----------
    collection : Collection
        Its refeeds.

    Returns
    -------
    pandas.DataFrame
        Indexed by culture and step: seed_g and mass_g (medians of the last refeeds of rounds), vessel and room (of
        the last), start_mm_per_g (fitted to nothing: height when fed over mass, in that vessel).
    """
    fed = rounds_fed(collection)
    mass = fed["seed_g"] + fed["flour_g"] + fed["water_g"]
    fed = fed.assign(mass_g=mass, start_mm_per_g=fed["start_height_mm"] / mass.where(mass > 0.0))
    steps = fed.dropna(subset="step").groupby(["culture", "step"])
    usual = steps[["seed_g", "mass_g"]].agg(lambda told: told.tail(_REMEMBERED).median())
    usual = usual.join(steps[["vessel", "room"]].last())
    in_it = fed.merge(usual[["vessel"]].reset_index(), on=["culture", "step", "vessel"])
    heights = in_it.groupby(["culture", "step"])["start_mm_per_g"]
    return usual.join(heights.agg(lambda told: told.tail(_REMEMBERED).median()))


def last_jars(collection: Collection) -> pd.DataFrame:
    """Return what each culture's jar was when it was last fed in a round or a rescue.

    Returns
    -------
    pandas.DataFrame
        Indexed by culture: fed_at, round, step, passed, mass_g, cold_store, seed_g, flour_g, water_g, vessel, lot,
        signs.
    """
    refeeds = collection["refeeds"]
    stepping = refeeds[refeeds["purpose"].isin(STEPPING)].sort_values("fed_at", kind="stable")
    last = stepping.drop_duplicates("culture", keep="last").set_index("culture")
    last = last.assign(mass_g=last["seed_g"] + last["flour_g"] + last["water_g"])
    return last[
        [
            "fed_at", "round", "step", "passed", "mass_g", "cold_store", "seed_g", "flour_g", "water_g", "vessel",
            "lot", "signs", "cooled_at", "refeed",
        ]
    ]  # fmt: skip


def targets_g(collection: Collection) -> pd.Series:
    """Return the mass that a round builds each culture up to [g]: as set, else as usual at its last steps."""
    if collection.settings.target_mass_g is not None:
        return pd.Series(collection.settings.target_mass_g, index=cultures_known(collection))
    return usual_steps(collection)["mass_g"].groupby("culture").last()
