"""What each culture can do when it is well: its own ways of rising and souring, and its own noise."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..noise import Noise
from .cells import HOURS, fall_curves, rise_curves

#: How far a dough of each grain rises against one of wheat, and the share of its gas that leaks, lowest and highest
#: [1/h] (assumed: without gluten there is next to nothing that holds gas; no source).
GRAINS: dict[str, tuple[float, tuple[float, float]]] = {
    "wheat": (1.0, (0.02, 0.05)),
    "durum": (0.85, (0.03, 0.05)),
    "spelt": (0.9, (0.03, 0.06)),
    "emmer": (0.75, (0.04, 0.07)),
    "einkorn": (0.65, (0.04, 0.07)),
    "rye": (0.6, (0.05, 0.09)),
    "barley": (0.5, (0.05, 0.09)),
    "oat": (0.35, (0.06, 0.1)),
    "buckwheat": (0.25, (0.06, 0.1)),
    "sorghum": (0.12, (0.08, 0.12)),
    "teff": (0.1, (0.08, 0.12)),
    "maize": (0.03, (0.08, 0.12)),
    "rice": (0.03, (0.08, 0.12)),
}

#: A keeper lets a jar pass at this share of its usual rise or fall of pH; for the rise in no more than this many
#: times the hours that it takes at 25 degC, for the pH by the next morning [h] (assumed, no source).
_PASS_SHARE = 0.7
_PASS_PATIENCE = 2.0
_PASS_PH_H = 24.0


def draw_strengths(
    cultures: pd.DataFrame, flours: pd.DataFrame, noise: Noise, rng: np.random.Generator
) -> pd.DataFrame:
    """Return each culture's own ways, when well, at 25 degC and on the third step.

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
        Index culture; what `dough` needs: rise_growth, rise_appetite, leak, acid_growth, acid_appetite [1/h],
        rise_wake_h, acid_wake_h, rise_gain [%], acid_extent, ph_start; rise_extent [%], the peak of its rise;
        round_sd, its sd of log vigour from round to round; rise_off_degC and acid_off_degC, how far the cardinal
        temperatures of its yeast and of its bacteria lie from the usual ones.
    """
    grain = cultures["flour"].map(flours.set_index("flour")["grain"])
    reach = grain.map({name: reach for name, (reach, _) in GRAINS.items()}).to_numpy()
    leak_low, leak_high = np.array([GRAINS[name][1] for name in grain]).T
    count = len(cultures)
    ph_start = rng.uniform(5.8, 6.2, count)
    own = pd.DataFrame(
        {
            "rise_growth": rng.uniform(0.8, 1.3, count),
            "rise_appetite": rng.uniform(0.14, 0.22, count),
            "rise_wake_h": rng.uniform(0.4, 1.0, count),
            "rise_gain": 1.0,
            "rise_extent": rng.uniform(110.0, 190.0, count) * reach,
            "leak": rng.uniform(leak_low, leak_high),
            "acid_growth": rng.uniform(0.8, 1.3, count),
            "acid_appetite": rng.uniform(0.2, 0.32, count),
            "acid_wake_h": rng.uniform(0.5, 1.2, count),
            "acid_extent": ph_start - rng.uniform(3.4, 3.9, count),
            "ph_start": ph_start,
            "round_sd": rng.uniform(*noise.round_sd, count),
            "rise_off_degC": rng.uniform(-noise.cardinal_off_degC, noise.cardinal_off_degC, count),
            "acid_off_degC": rng.uniform(-noise.cardinal_off_degC, noise.cardinal_off_degC, count),
        },
        index=pd.Index(cultures["culture"], name="culture"),
    )
    peak = rise_curves(own, np.ones(count), own["rise_wake_h"].to_numpy()).max(axis=1)
    return own.assign(rise_gain=own["rise_extent"] / peak)


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
    well = np.ones(len(own))
    by_rise = (cultures["leading_signal"] == "rise").to_numpy()
    rise = 5.0 * np.floor(_PASS_SHARE * own["rise_extent"].to_numpy() / 5.0)
    curves = rise_curves(own, well, own["rise_wake_h"].to_numpy())
    hours = HOURS[np.argmax(curves >= _PASS_SHARE * own["rise_extent"].to_numpy()[:, None], axis=1)]
    fall = fall_curves(own, well, own["acid_wake_h"].to_numpy())[:, -1]
    return cultures.assign(
        pass_rise=np.where(by_rise, rise, np.nan),
        pass_ph=np.where(by_rise, np.nan, (own["ph_start"].to_numpy() - _PASS_SHARE * fall).round(1)),
        pass_within=np.where(by_rise, np.ceil(_PASS_PATIENCE * hours), _PASS_PH_H),
    )
