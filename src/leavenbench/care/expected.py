"""What a jar's own history lets expect: a band of heights and of pH at the usual reading hours."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

import numpy as np
import pandas as pd
from scipy import stats

from ..columns import RESULTS
from ..curves import signals
from ..curves.read_off import levels_at
from ..records.collection import Collection
from ..records.living import history_numbers
from ..records.settings import Settings
from ..temperature import Cardinal, relative_rate
from .habits import rounds_fed

#: Refeeds that make a band, the last ones at the step, and the fewest that do.
_REMEMBERED, _FEWEST = 12, 3
#: The share of sound readings that lie within the band.
HELD = 0.9
#: What is usual on the shelf counts as so many refeeds of the culture's own (common practice, no source).
_WORTH = 8.0
#: Reading hours where the records have none [h], and how many are shown at most (common practice, no source).
_HOURS, _MOST_HOURS = (0.0, 2.0, 4.0, 6.0, 8.0, 24.0), 8
#: A refeed read more often is a logger's.
_BY_HAND = 15
#: A refeed further off the middle than so many robust sd counts as if it lay there: a cold day widens no band.
_ODD = 2.5
#: Days of the year around a date whose rooms tell how warm it will be [d].
_SEASON_D = 30

_BAND = RESULTS["expected_band"]


def usual_hours(collection: Collection, step: int) -> tuple[float, ...]:
    """Return the hours since feeding at which people usually read the jars of a step [h].

    Parameters
    ----------
    collection : Collection
        Its readings.
    step : int
        Step of the round.

    Returns
    -------
    tuple of float
        Rising, on the half hour, eight at most.
    """
    fed = rounds_fed(collection)
    readings = collection["readings"]
    own = readings[readings["refeed"].isin(fed.loc[fed["step"] == step, "refeed"]) & (readings["elapsed_h"] >= 0.0)]
    own = own[own[["height_mm", "rise_pct", "volume_mL", "ph"]].notna().any(axis=1)]
    own = own.sort_values(["refeed", "elapsed_h"], kind="stable")
    looks = own.groupby("refeed")["elapsed_h"]
    own = own[looks.transform("size") <= _BY_HAND]
    if own.empty:
        return _HOURS
    number = own.groupby("refeed").cumcount()
    usual = min(int(own.groupby("refeed").size().median()), _MOST_HOURS)
    middle = own.groupby(number)["elapsed_h"].median().head(usual)
    return tuple(sorted({round(2.0 * hour) / 2.0 for hour in middle}))


def usual_warmth_degC(collection: Collection, on: dt.date) -> float:
    """Return how warm the rooms usually are around a day of the year [degC]; of all the year where that is not told."""
    refeeds = collection["refeeds"]
    warmth = refeeds["room_temperature_degC"]
    apart = (refeeds["fed_at"].dt.day_of_year - on.timetuple().tm_yday).abs()
    near = warmth[np.minimum(apart, 365 - apart) <= _SEASON_D].median()
    return float(warmth.median() if np.isnan(near) else near)


def expected_bands(
    collection: Collection,
    cultures: Iterable[str],
    step: int,
    hours: tuple[float, ...],
    room_degC: float = float("nan"),
) -> pd.DataFrame:
    """Return the band that each culture's own history lets expect at a step.

    The middle is the median of the curves of its last refeeds of rounds at that step, each read at the hour by which
    it had come as far in its own room as it would in a room of `room_degC` (cardinal temperature model). The spread
    is that among them, shrunk to what is usual on the shelf, with the noise of a single reading: a prediction
    interval (mean and variance of a normal sample, Student's t; the clipping of odd refeeds and the weight of the
    shelf are common practice, no source).

    Parameters
    ----------
    collection : Collection
        The records.
    cultures : iterable of str
        Which.
    step : int
        Step of the round.
    hours : tuple of float
        Hours since feeding [h].
    room_degC : float
        How warm the room will be [degC]; where that or the room of a refeed is not known, hours are taken as they are.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["expected_band"]``; `unit` is % (rise over the start) or pH. Cultures with fewer
        than three such refeeds have no row, nor have hours at which they were not read so long.
    """
    fed = rounds_fed(collection)
    fed = fed.assign(history=history_numbers(collection).reindex(fed.index))
    fed = fed[fed["culture"].isin(list(cultures)) & (fed["step"] == step)]
    fed = fed[fed["history"] == fed.groupby("culture")["history"].transform("max")]
    fed = fed.groupby("culture").tail(_REMEMBERED)
    readings = collection["readings"][collection["readings"]["refeed"].isin(fed["refeed"])]
    read = signals(readings, fed, collection["vessels"])
    levels = levels_at(read, np.array(hours), _paces(fed, room_degC, collection.settings))
    if levels.empty:
        return pd.DataFrame(columns=_BAND.names).astype(_BAND.dtypes())
    levels = levels.merge(fed[["refeed", "culture"]], on="refeed")
    rises = levels["signal"] == "rise"
    with np.errstate(invalid="ignore", divide="ignore"):
        levels["on_scale"] = np.where(rises, np.log(levels["level"]), levels["level"])
        levels["noise"] = np.where(rises, levels["noise"] / levels["level"], levels["noise"])
    return _banded(levels[np.isfinite(levels["on_scale"])])


def _paces(fed: pd.DataFrame, room_degC: float, settings: Settings) -> pd.Series:
    """Return the hours in each refeed's room that stand for one in the room to come, by refeed and signal."""
    own = fed["room_temperature_degC"].to_numpy(float)
    cardinals = {"rise": settings.yeast_cardinal_degC, "acid": settings.lactic_cardinal_degC}
    with np.errstate(divide="ignore", invalid="ignore"):
        pace = {
            signal: relative_rate(room_degC, Cardinal(*cardinal)) / relative_rate(own, Cardinal(*cardinal))
            for signal, cardinal in cardinals.items()
        }
    table = pd.DataFrame(pace, index=fed["refeed"]).stack()
    return table[np.isfinite(table) & (table > 0.0)]


def _banded(levels: pd.DataFrame) -> pd.DataFrame:
    """Turn levels of single refeeds into bands; rises are on a log scale, where weak and strong ones scatter alike."""
    place = ["culture", "signal", "elapsed_h"]
    of = levels.groupby(place)
    middle = of["on_scale"].transform("median")
    off = levels["on_scale"] - middle
    robust_sd = 1.4826 * off.abs().groupby([levels[name] for name in place]).transform("median")
    furthest = np.maximum(_ODD * robust_sd, levels["noise"])
    levels = levels.assign(off=off.clip(-furthest, furthest))
    table = of.agg(middle=("on_scale", "median"), refeeds=("on_scale", "size"), noise=("noise", "median")).reset_index()
    table["own"] = levels.groupby(place)["off"].var().to_numpy()
    table = table[table["refeeds"] >= _FEWEST].reset_index(drop=True)
    usual = table.groupby(["signal", "elapsed_h"])["own"].transform("median")
    spare = table["refeeds"] - 1.0
    variance = (spare * table["own"] + _WORTH * usual) / (spare + _WORTH)
    # the median of n is less sure than their mean by pi / 2
    sd = np.sqrt(variance * (1.0 + np.pi / 2.0 / table["refeeds"]) + table["noise"] ** 2)
    half = stats.t.ppf(0.5 + HELD / 2.0, spare + _WORTH) * sd
    rises = (table["signal"] == "rise").to_numpy()
    for name, value in (("low", table["middle"] - half), ("middle", table["middle"]), ("high", table["middle"] + half)):
        table[name] = np.where(rises, 100.0 * np.expm1(value), value)
    table["unit"] = np.where(rises, "%", "pH")
    return table[_BAND.names].astype(_BAND.dtypes())


def in_mm(bands: pd.DataFrame, start_mm: pd.Series) -> pd.DataFrame:
    """Return rises as heights, where the height at the start is known.

    Parameters
    ----------
    bands : pandas.DataFrame
        As `expected_bands` gives them.
    start_mm : pandas.Series
        By culture, the height at which the dough will stand when fed [mm].

    Returns
    -------
    pandas.DataFrame
        The same with unit mm for those cultures.
    """
    start = bands["culture"].map(start_mm).astype(float)
    known = (bands["signal"] == "rise") & (bands["unit"] == "%") & start.notna()
    made = bands.copy()
    for name in ("low", "middle", "high"):
        made[name] = bands[name].mask(known, start * (1.0 + bands[name] / 100.0))
    made["unit"] = bands["unit"].mask(known, "mm")
    return made
