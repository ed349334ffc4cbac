"""What each culture can do when it is well: its own traits at 25 degC on the third step, and its own noise."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .noise import Noise

#: How far a dough of each grain rises against one of wheat, and how much gas it leaks, lowest and highest
#: (assumed: without gluten there is next to nothing that holds gas; no source).
GRAINS: dict[str, tuple[float, tuple[float, float]]] = {
    "wheat": (1.0, (0.02, 0.05)),
    "spelt": (0.9, (0.03, 0.06)),
    "emmer": (0.75, (0.04, 0.07)),
    "einkorn": (0.65, (0.04, 0.07)),
    "rye": (0.6, (0.05, 0.09)),
    "rice": (0.03, (0.05, 0.09)),
}

#: A keeper lets a jar pass at this share of its usual rise or fall of pH; for the rise in no more than this many
#: times the hours of a warm day, for the pH by the next morning [h] (assumed, no source).
_PASS_SHARE = 0.7
_PASS_PATIENCE = 2.0
_PASS_PH_H = 24.0


def draw_strengths(
    cultures: pd.DataFrame, flours: pd.DataFrame, noise: Noise, rng: np.random.Generator
) -> pd.DataFrame:
    """Return each culture's own traits, when well, at 25 degC and on the third step.

    Parameters
    ----------
    cultures : pandas.DataFrame
        A cultures table, with ``culture`` and ``flour``.
    flours : pandas.DataFrame
        A flours table, with ``flour`` and ``grain`` (a key of `GRAINS`).
    noise : Noise
        Sizes of chance.
    rng : numpy.random.Generator
        Where it comes from.

    Returns
    -------
    pandas.DataFrame
        Index culture; rise_extent [%], rise_max_rate [%/h], rise_lag_h, leak; acid_extent [pH],
        acid_max_rate [pH/h], acid_lag_h, ph_start; round_sd, its sd of log vigour from round to round.
    """
    grain = cultures["flour"].map(flours.set_index("flour")["grain"])
    reach = grain.map({name: reach for name, (reach, _) in GRAINS.items()}).to_numpy()
    leak_low, leak_high = np.array([GRAINS[name][1] for name in grain]).T
    count = len(cultures)
    extent = rng.uniform(110.0, 190.0, count) * reach
    ph_start = rng.uniform(5.8, 6.2, count)
    fall = ph_start - rng.uniform(3.5, 4.0, count)
    return pd.DataFrame(
        {
            "rise_extent": extent,
            "rise_max_rate": extent / rng.uniform(2.2, 3.2, count),
            "rise_lag_h": rng.uniform(1.0, 2.0, count),
            "leak": rng.uniform(leak_low, leak_high).round(2),
            "acid_extent": fall,
            "acid_max_rate": fall / rng.uniform(2.5, 4.5, count),
            "acid_lag_h": rng.uniform(1.0, 2.5, count),
            "ph_start": ph_start,
            "round_sd": rng.uniform(*noise.round_sd, count),
        },
        index=pd.Index(cultures["culture"], name="culture"),
    )


def pass_marks(cultures: pd.DataFrame, strengths: pd.DataFrame) -> pd.DataFrame:
    """Return the cultures table with what the keeper asks of each jar, in the round numbers that people choose.

    Parameters
    ----------
    cultures : pandas.DataFrame
        A cultures table, with ``culture`` and ``leading_signal``.
    strengths : pandas.DataFrame
        As from `draw_strengths`.

    Returns
    -------
    pandas.DataFrame
        The same table with pass_rise [%], pass_ph and pass_within [h]; a culture led by one signal is not asked
        for the other.
    """
    own = strengths.loc[cultures["culture"]]
    by_rise = (cultures["leading_signal"] == "rise").to_numpy()
    rise = 5.0 * np.floor(_PASS_SHARE * own["rise_extent"].to_numpy() / 5.0)
    warm_h = own["rise_lag_h"] + _PASS_SHARE * own["rise_extent"] / own["rise_max_rate"]
    ph = (own["ph_start"] - _PASS_SHARE * own["acid_extent"]).to_numpy().round(1)
    return cultures.assign(
        pass_rise=np.where(by_rise, rise, np.nan),
        pass_ph=np.where(by_rise, np.nan, ph),
        pass_within=np.where(by_rise, np.ceil(_PASS_PATIENCE * warm_h), _PASS_PH_H),
    )
