"""From the readings of a shelf to the signals that curves are fitted to, one row per usable observation.

A refeed's rise comes from one kind of reading only: heights where any were read, with volumes and percentages
turned into heights where the jar is known; else volumes or percentages, whichever were read more often. Its acid
comes from one way of measuring, in the dough itself or in a slurry.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

_READ = ["refeed", "vessel", "elapsed_h", "height_mm", "volume_mL", "rise_pct", "ph", "ph_method", "file", "row"]
_OF_REFEED = ["refeed", "vessel", "fed_at", "cooled_at", "start_height_mm", "file", "row"]
_SIGNALS = ["refeed", "signal", "kind", "elapsed_h", "value", "file", "row"]
#: A reading made as the jar goes into the cold still belongs to the curve [h].
_TOGETHER_H = 1e-6


def signals(readings: pd.DataFrame, refeeds: pd.DataFrame, vessels: pd.DataFrame | None = None) -> pd.DataFrame:
    """Turn readings into signals.

    Parameters
    ----------
    readings : pandas.DataFrame
        Under the inside names of ``columns.TABLES``; every reading names its refeed and its ``elapsed_h``.
    refeeds : pandas.DataFrame
        Under the inside names of ``columns.TABLES``.
    vessels : pandas.DataFrame, optional
        Jars, whose inner diameter turns a volume into a height.

    Returns
    -------
    pandas.DataFrame
        Columns refeed, signal (rise, acid), kind (a name in `noise.INSTRUMENTS`), elapsed_h, value (in the kind's
        unit; a percentage counts from 100 at the start), file, row. In the order of the refeeds, rise before acid,
        by time. Readings after ``cooled_at`` are left out. The starting height noted when feeding is one more
        reading at 0 h. A pH without a method counts as read in the dough (common practice, no source).

    Examples
    --------
    >>> fed = pd.DataFrame({"refeed": ["r1"], "fed_at": ["2025-03-01 08:00Z"], "start_height_mm": [40.0]})
    >>> read = pd.DataFrame({"refeed": "r1", "elapsed_h": [4.0, 2.0], "height_mm": [60.0, 44.0], "ph": [5.8, None]})
    >>> signals(read, fed)[["signal", "kind", "elapsed_h", "value"]]
      signal       kind  elapsed_h  value
    0   rise  height_mm        0.0   40.0
    1   rise  height_mm        2.0   44.0
    2   rise  height_mm        4.0   60.0
    3   acid  ph_direct        4.0    5.8
    """
    of_refeed = refeeds.reindex(columns=_OF_REFEED).drop_duplicates("refeed").set_index("refeed")
    known = readings.reindex(columns=_READ)
    known = known[known["refeed"].isin(of_refeed.index)]
    known = known[~_in_the_cold(known, of_refeed)]
    rise = _rise(known, of_refeed, vessels)
    together = pd.concat([rise, _starts(rise, of_refeed), _acid(known)], ignore_index=True)
    place = {refeed: number for number, refeed in enumerate(of_refeed.index)}
    together["place"] = together["refeed"].map(place)
    together["later"] = together["signal"] == "acid"
    together = together.sort_values(["place", "later", "elapsed_h"], kind="stable", ignore_index=True)
    return together[_SIGNALS]


def _in_the_cold(readings: pd.DataFrame, of_refeed: pd.DataFrame) -> pd.Series:
    """Whether a reading was made after the jar had gone into the cold."""
    fed, cooled = (pd.to_datetime(of_refeed[name], utc=True) for name in ("fed_at", "cooled_at"))
    warm_h = (cooled - fed).dt.total_seconds() / 3600.0
    until = readings["refeed"].map(warm_h.where(warm_h > 0.0)).astype(float)
    return readings["elapsed_h"] > until + _TOGETHER_H


def _rise(readings: pd.DataFrame, of_refeed: pd.DataFrame, vessels: pd.DataFrame | None) -> pd.DataFrame:
    """Rise of every refeed in one kind of reading."""
    height, volume, percent = (readings[name].astype(float) for name in ("height_mm", "volume_mL", "rise_pct"))
    start = readings["refeed"].map(of_refeed["start_height_mm"]).astype(float)
    as_height = height.fillna(_height_of(volume, readings, of_refeed, vessels)).fillna(start * (1.0 + percent / 100.0))
    heights, volumes, percents = (of.groupby(readings["refeed"]).transform("count") for of in (height, volume, percent))
    by_volume = volumes >= percents
    return _signal(
        readings,
        "rise",
        np.select([heights > 0, by_volume], ["height_mm", "volume_mL"], "rise_pct"),
        np.select([heights > 0, by_volume], [as_height, volume], 100.0 + percent),
    )


def _height_of(
    volume: pd.Series, readings: pd.DataFrame, of_refeed: pd.DataFrame, vessels: pd.DataFrame | None
) -> pd.Series:
    """Height [mm] of a volume [mL] in a straight jar of known diameter d [mm]: V = pi d^2 / 4 h / 1000."""
    if vessels is None:
        return volume * np.nan
    straight = vessels[vessels.reindex(columns=["shape"])["shape"].ne("tapered")].drop_duplicates("vessel")
    diameter = straight.set_index("vessel")["inner_diameter_mm"].astype(float)
    jar = readings["vessel"].astype("str").fillna(readings["refeed"].map(of_refeed["vessel"]).astype("str"))
    across = jar.map(diameter.where(diameter > 0.0)).astype(float)
    return 4000.0 * volume / (np.pi * across**2)


def _starts(rise: pd.DataFrame, of_refeed: pd.DataFrame) -> pd.DataFrame:
    """Return what is known of the start without a reading: the height when fed, and that 0 % is 0 %."""
    kinds = rise.drop_duplicates("refeed").set_index("refeed")["kind"]
    read_at_start = rise.loc[rise["elapsed_h"] == 0.0, "refeed"]
    fed = of_refeed.loc[kinds.index].assign(kind=kinds, elapsed_h=0.0).reset_index()
    value = fed["start_height_mm"].astype(float).where(fed["kind"] == "height_mm")
    by_definition = (fed["kind"] == "rise_pct") & ~fed["refeed"].isin(read_at_start)
    return _signal(fed, "rise", fed["kind"], value.mask(by_definition, 100.0))


def _acid(readings: pd.DataFrame) -> pd.DataFrame:
    """Return the pH of every refeed in the way in which it was measured more often."""
    ph = readings["ph"].astype(float)
    slurry = readings["ph_method"].eq("slurry")
    of = readings["refeed"]
    slurries, directs = (ph.where(chosen).groupby(of).transform("count") for chosen in (slurry, ~slurry))
    in_slurry = slurries > directs
    kind = np.where(in_slurry, "ph_slurry", "ph_direct")
    return _signal(readings, "acid", kind, ph.where(slurry == in_slurry))


def _signal(rows: pd.DataFrame, signal: str, kind: object, value: object) -> pd.DataFrame:
    """Set rows under the names of a signal, without those that have no value."""
    told = rows.assign(signal=signal, kind=kind, value=value)[_SIGNALS]
    told = told[told["value"].notna() & told["elapsed_h"].notna()]
    return told.astype({"elapsed_h": float, "value": float, "kind": "str", "file": "str", "row": "Int64"})
