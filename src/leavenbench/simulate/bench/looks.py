"""What the keeper reads: rounds past the jars through the working day, and a look next morning.

Hours are counted in steps of six minutes (.1 h), so that hours since feeding and the clock say the same.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from ..bakehouse.rooms import Rooms
from ..culture.fermentation import true_levels
from ..noise import Noise
from .probes import Probe

_FEWEST, _MOST = 6, 10
#: Looks of the working day end so long after feeding [h].
DAY_ENDS_H = 10.0
#: Share of refeeds with a second look in the morning; of looks at which the pH is read as well; of refeeds
#: whose smear line is read (assumed, no source).
_SECOND_MORNING, _PH_SHARE, _SMEAR_SHARE = 0.4, 0.6, 0.6
#: A misread ruler is a mark or two off [mm]; a misread pH meter a digit [pH].
_MARK_MM, _DIGIT_PH = 10.0, 0.5


def plan_looks(refeeds: int, rng: np.random.Generator) -> pd.DataFrame:
    """Return when the keeper looks at each jar.

    Parameters
    ----------
    refeeds : int
        Number of refeeds.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    pandas.DataFrame
        at (position of the refeed), elapsed_h, place ("first", "day", "last of day" or "morning"), sorted by the
        first two: 6 to 10 looks within 10 h and one or two between 20 and 24 h.

    Examples
    --------
    >>> looks = plan_looks(200, np.random.default_rng(1))
    >>> per_day = looks.loc[looks["place"] != "morning"].groupby("at").size()
    >>> int(per_day.min()), int(per_day.max()), bool(looks["elapsed_h"].between(0, 24).all())
    (6, 10, True)
    """
    number = rng.integers(_FEWEST, _MOST + 1, refeeds)[:, None]
    order = np.arange(_MOST)[None, :]
    ends = rng.uniform(8.5, DAY_ENDS_H, refeeds)[:, None]
    shift = np.where(order > 0, rng.uniform(-0.3, 0.3, (refeeds, _MOST)), 0.0)
    day = np.minimum(ends * order / (number - 1) + shift, DAY_ENDS_H)
    morning = rng.uniform((20.2, 22.4), (21.9, 23.6), (refeeds, 2))
    names = np.where(order == 0, "first", np.where(order == number - 1, "last of day", "day"))
    taken = np.hstack([order < number, rng.random((refeeds, 1)) < _SECOND_MORNING, np.ones((refeeds, 1), bool)])
    looks = pd.DataFrame(
        {
            "at": np.repeat(np.arange(refeeds), _MOST + 2),
            "elapsed_h": np.hstack([day, morning]).round(1).ravel(),
            "place": np.hstack([names, np.full((refeeds, 2), "morning")]).ravel(),
        }
    )
    return looks.loc[taken.ravel()].reset_index(drop=True)


def read(
    looks: pd.DataFrame,
    refeeds: pd.DataFrame,
    rooms: Rooms,
    probes: Sequence[Probe],
    noise: Noise,
    rng: np.random.Generator,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return what the keeper writes down at each look, and the looks that were misread.

    Parameters
    ----------
    looks : pandas.DataFrame
        As from `plan_looks`; ``at`` is the position in `refeeds`.
    refeeds : pandas.DataFrame
        As from `culture.activity.add_cells`, with true_start_mm, keeper, ph_step, leading_signal, fed_at and room.
    rooms : Rooms
        How warm it is where.
    probes : sequence of Probe
        The probe of each keeper.
    noise : Noise
        Sizes of chance.
    rng : numpy.random.Generator
        Where it comes from.

    Returns
    -------
    readings : pandas.DataFrame
        `looks` with read_at (local time), height and high_mark [mm, to the mm], ph (to the refeed's ph_step), probe,
        and temperature [degC, to a tenth] in rooms with a thermometer.
    misread : pandas.DataFrame
        at, elapsed_h, column and by (how far off: mm or pH).
    """
    told = ["true_start_mm", "keeper", "ph_step", "leading_signal", "fed_at", "room"]
    seen = pd.concat([looks, refeeds[told].iloc[looks["at"]].reset_index(drop=True)], axis=1)
    seen["read_at"] = seen["fed_at"] + pd.to_timedelta((seen["elapsed_h"] * 60.0).round(), unit="min")
    levels = true_levels(refeeds, looks["at"].to_numpy(), looks["elapsed_h"].to_numpy(), rooms)
    count = len(seen)
    off_mm = _misread((-2.0, -1.0, 1.0, 2.0), _MARK_MM, count, noise, rng)
    off_ph = _misread((-1.0, 1.0), _DIGIT_PH, count, noise, rng)
    shown = _shown(seen, levels, rooms, probes, noise, rng)
    asked_ph = (seen["place"] != "day") | (seen["leading_signal"] == "acid") | (rng.random(count) < _PH_SHARE)
    last = ~seen.duplicated("at", keep="last")
    asked_smear = last & (rng.random(count) < _SMEAR_SHARE)
    with_thermometer = seen["room"].isin([room.name for room in rooms.rooms if room.thermometer])
    names = pd.Series(np.array([probe.name for probe in probes])[seen["keeper"]], dtype="str")
    readings = looks.assign(
        read_at=seen["read_at"],
        height=(shown["height"] + off_mm).round(0),
        high_mark=shown["high_mark"].round(0).where(asked_smear),
        ph=pd.Series(_to_step(shown["ph"] + off_ph, seen["ph_step"])).where(asked_ph),
        probe=names.where(asked_ph),
        temperature=shown["temperature"].round(1).where(with_thermometer),
    )
    misread = pd.concat(
        [
            readings.loc[off != 0.0, ["at", "elapsed_h"]].assign(column=column, by=off[off != 0.0])
            for column, off in (("height", off_mm), ("ph", np.where(asked_ph, off_ph, 0.0)))
        ]
    )
    return readings, misread


def _shown(
    seen: pd.DataFrame,
    levels: pd.DataFrame,
    rooms: Rooms,
    probes: Sequence[Probe],
    noise: Noise,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Return what ruler, smear line, probe and thermometer would show to somebody who reads them right."""
    start, count = seen["true_start_mm"].to_numpy(), len(seen)
    height = start * (1.0 + levels["rise"] / 100.0) + rng.normal(0.0, noise.ruler_sd_mm, count)
    smear = start * (1.0 + levels["highest"] / 100.0) + rng.normal(0.0, noise.ruler_sd_mm, count)
    by_probe = [probe.shows(levels["ph"].to_numpy(), seen["read_at"]) for probe in probes]
    ph = np.choose(seen["keeper"], by_probe) + rng.normal(0.0, noise.ph_sd, count)
    warmth = rooms.temperature(seen["room"].to_numpy(), seen["read_at"].to_numpy())
    warmth = warmth + rng.normal(0.0, noise.thermometer_sd_degC, count)
    return pd.DataFrame({"height": height, "high_mark": smear, "ph": ph, "temperature": warmth})


def _misread(ways: tuple[float, ...], size: float, count: int, noise: Noise, rng: np.random.Generator) -> np.ndarray:
    """How far off each reading is by mistake: nearly always not at all."""
    return np.where(rng.random(count) < noise.misread, size * rng.choice(ways, count), 0.0)


def _to_step(values: np.ndarray, step: pd.Series) -> np.ndarray:
    return ((values / step).round(0) * step).round(2).to_numpy()
