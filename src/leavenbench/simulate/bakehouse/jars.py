"""What goes into which jar: three sizes for each place on the shelf, filled to the same mass at the same step."""

from __future__ import annotations

import numpy as np
import pandas as pd

#: Letter, inner diameter [mm] and height [mm] of the jars for the first, the second and every later step.
_SIZES = (("s", 58.0, 120.0), ("m", 72.0, 140.0), ("l", 85.0, 170.0))
#: Mass of dough at those steps [g], and how far a weighing misses [g].
_DOUGH_G = (100.0, 190.0, 330.0)
_WEIGHING_SD_G = 0.5
#: Parts of seed, flour and water when a culture is rescued, whatever it is fed otherwise.
_RESCUE_PARTS = (1.0, 1.0, 1.0)
#: Density of a fresh dough [g/mL], and how much it differs from one mixing to the next (assumed, no source).
_DENSITY, _MIXING_SD = 1.08, 0.02


def jars_of(cultures: pd.DataFrame) -> pd.DataFrame:
    """Return the vessels table: each place on the shelf has a small, a middle and a large jar.

    Examples
    --------
    >>> jars_of(pd.DataFrame({"culture": ["Ash"]}))["vessel"].tolist()
    ['1s', '1m', '1l']
    """
    jars = [
        {
            "vessel": f"{place}{letter}",
            "volume": round(np.pi / 4.0 * diameter_mm**2 * height_mm / 1000.0, -1),
            "inner_diameter": diameter_mm,
            "shape": "straight",
        }
        for place in range(1, len(cultures) + 1)
        for letter, diameter_mm, height_mm in _SIZES
    ]
    return pd.DataFrame(jars)


def fill(steps: pd.DataFrame, cultures: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return the steps with the jar of each, what was weighed into it, and the height at which its dough starts.

    Parameters
    ----------
    steps : pandas.DataFrame
        With culture, step and purpose.
    cultures : pandas.DataFrame
        A cultures table, with ``culture``, ``seed_parts``, ``flour_parts`` and ``water_parts``.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    pandas.DataFrame
        The columns of `steps` with vessel, seed, flour, water [g], true_start_mm, and log_seed: more seed than
        the culture is used to brings more living cells.
    """
    size = np.minimum(steps["step"].to_numpy(), len(_SIZES)) - 1
    place = steps["culture"].map({name: at for at, name in enumerate(cultures["culture"], start=1)})
    usual = cultures.set_index("culture").loc[steps["culture"], ["seed_parts", "flour_parts", "water_parts"]]
    usual_share = _shares(usual.to_numpy(float))
    rescued = (steps["purpose"] == "rescue").to_numpy()[:, None]
    share = np.where(rescued, _shares(np.array([_RESCUE_PARTS])), usual_share)
    meant = np.array(_DOUGH_G)[size][:, None] * share
    put_in = meant + rng.normal(0.0, _WEIGHING_SD_G, meant.shape)
    weighed = put_in.round(0)
    area_mm2 = np.pi / 4.0 * np.array([diameter for _, diameter, _ in _SIZES])[size] ** 2
    filled_mm = put_in.sum(axis=1) / _DENSITY * 1000.0 / area_mm2
    return steps.assign(
        vessel=[f"{at}{_SIZES[letter][0]}" for at, letter in zip(place, size, strict=True)],
        seed=weighed[:, 0],
        flour=weighed[:, 1],
        water=weighed[:, 2],
        log_seed=np.log(_shares(put_in)[:, 0] / usual_share[:, 0]),
        true_start_mm=filled_mm * (1.0 + rng.normal(0.0, _MIXING_SD, len(steps))),
    )


def _shares(parts: np.ndarray) -> np.ndarray:
    return parts / parts.sum(axis=1, keepdims=True)
