"""From the readings of a shelf to the signals that curves are fitted to, one row per usable observation.

A refeed's rise comes from one kind of reading only: heights where any were read, with volumes and percentages
turned into heights where the jar is known; else volumes or percentages, whichever were read more often. Its acid
comes from one way of measuring, in the dough itself or in a slurry. The smear line that the dough leaves on the glass
is the highest level, without its hour.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from .noise import INSTRUMENTS

_READ = [
    "refeed", "vessel", "elapsed_h", "height_mm", "volume_mL", "rise_pct", "high_mark_mm", "ph", "ph_method", "file",
    "row",
]  # fmt: skip
_OF_REFEED = ["refeed", "vessel", "fed_at", "cooled_at", "start_height_mm", "file", "row"]
_SIGNALS = ["refeed", "signal", "kind", "elapsed_h", "value", "sd", "high_mark", "file", "row"]
_HEIGHT, _VOLUME, _PERCENT = (INSTRUMENTS[kind].noise for kind in ("height_mm", "volume_mL", "rise_pct"))
#: A logger reads every few minutes [h]. Beside it a ruler's readings are so many times as unsure: its own noise is
#: smaller by more, but no curve is exactly a dough. Common practice, no source.
_LOGGED_EVERY_H, _BESIDE_A_LOGGER = 0.26, 1.5
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
        unit; a percentage counts from 100 at the start), sd (noise of the reading where it is not the usual one of
        its kind, in its unit), high_mark (the value is the highest level until that hour, infinite where unknown),
        file, row. In the order of the refeeds, rise before acid, by time. Readings after ``cooled_at`` are left out.
        The starting height noted when feeding is one more reading at 0 h. A pH without a method counts as read in
        the dough (common practice, no source).

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
    marks = known[known["high_mark_mm"].notna()]
    known = known[known["elapsed_h"] <= _warm_until(known, of_refeed) + _TOGETHER_H]
    rise = _rise(known, of_refeed, vessels)
    marked = _marks(marks, rise, of_refeed, vessels)
    starts = _starts(pd.concat([rise, marked]), of_refeed)
    together = pd.concat([rise, starts, marked, _acid(known)], ignore_index=True)
    place = {refeed: number for number, refeed in enumerate(of_refeed.index)}
    together["place"] = together["refeed"].map(place)
    together["later"] = together["signal"] == "acid"
    together = together.sort_values(["place", "later", "elapsed_h"], kind="stable", ignore_index=True)
    return together[_SIGNALS]


def _warm_until(readings: pd.DataFrame, of_refeed: pd.DataFrame) -> pd.Series:
    """Hour at which the jar of each reading went into the cold [h]; infinite where it is not known to."""
    fed, cooled = (pd.to_datetime(of_refeed[name], utc=True) for name in ("fed_at", "cooled_at"))
    warm_h = (cooled - fed).dt.total_seconds() / 3600.0
    return readings["refeed"].map(warm_h.where(warm_h > 0.0)).astype(float).fillna(np.inf)


def _rise(readings: pd.DataFrame, of_refeed: pd.DataFrame, vessels: pd.DataFrame | None) -> pd.DataFrame:
    """Rise of every refeed in one kind of reading."""
    height, volume, percent = (readings[name].astype(float) for name in ("height_mm", "volume_mL", "rise_pct"))
    start = readings["refeed"].map(of_refeed["start_height_mm"]).astype(float)
    per_mL = _mm_per_mL(readings, of_refeed, vessels)
    as_height = height.fillna(volume * per_mL).fillna(start * (1.0 + percent / 100.0))
    converted = np.select(
        [height.notna(), (volume * per_mL).notna()], [np.nan, _VOLUME * per_mL], _PERCENT / 100 * start
    )
    heights, volumes, percents = (of.groupby(readings["refeed"]).transform("count") for of in (height, volume, percent))
    by_volume = volumes >= percents
    logged = _logged(readings, height)
    beside = height.notna() & ~logged & logged.groupby(readings["refeed"]).transform("any")
    return _signal(
        readings,
        "rise",
        np.select([heights > 0, by_volume], ["height_mm", "volume_mL"], "rise_pct"),
        np.select([heights > 0, by_volume], [as_height, volume], 100.0 + percent),
        sd=np.select([heights == 0, beside], [np.nan, _BESIDE_A_LOGGER * _HEIGHT], converted),
    )


def _logged(readings: pd.DataFrame, height: pd.Series) -> pd.Series:
    """Whether a height stands so near the ones before and after it that a logger must have read it."""
    read = readings.loc[height.notna(), ["refeed", "elapsed_h"]].sort_values(["refeed", "elapsed_h"], kind="stable")
    hours = read.groupby("refeed")["elapsed_h"]
    near = (hours.diff() < _LOGGED_EVERY_H) & (hours.diff(-1) > -_LOGGED_EVERY_H)
    return near.reindex(readings.index, fill_value=False)


def _marks(
    marks: pd.DataFrame, rise: pd.DataFrame, of_refeed: pd.DataFrame, vessels: pd.DataFrame | None
) -> pd.DataFrame:
    """Return the smear lines in the kind of the other readings, with the hour until which they speak."""
    kinds = rise.drop_duplicates("refeed").set_index("refeed")["kind"]
    kind = marks["refeed"].map(kinds).astype("str").fillna("height_mm")
    start = marks["refeed"].map(of_refeed["start_height_mm"]).astype(float)
    height, per_mL = marks["high_mark_mm"].astype(float), _mm_per_mL(marks, of_refeed, vessels)
    factor = np.select([kind == "height_mm", kind == "volume_mL"], [1.0, 1.0 / per_mL], 100.0 / start)
    until = np.fmin(marks["elapsed_h"].fillna(np.inf), _warm_until(marks, of_refeed))
    return _signal(marks.assign(elapsed_h=until), "rise", kind, height * factor, high_mark=True)


def _mm_per_mL(readings: pd.DataFrame, of_refeed: pd.DataFrame, vessels: pd.DataFrame | None) -> pd.Series:
    """Height of a mL [mm] in a straight jar of known diameter d [mm]: V = pi d^2 / 4 h / 1000."""
    if vessels is None:
        return pd.Series(np.nan, index=readings.index)
    straight = vessels[vessels.reindex(columns=["shape"])["shape"].ne("tapered")].drop_duplicates("vessel")
    diameter = straight.set_index("vessel")["inner_diameter_mm"].astype(float)
    jar = readings["vessel"].astype("str").fillna(readings["refeed"].map(of_refeed["vessel"]).astype("str"))
    across = jar.map(diameter.where(diameter > 0.0)).astype(float)
    return 4000.0 / (np.pi * across**2)


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


def _signal(
    rows: pd.DataFrame, signal: str, kind: object, value: object, sd: object = np.nan, *, high_mark: bool = False
) -> pd.DataFrame:
    """Set rows under the names of a signal, without those that have no value."""
    told = rows.assign(signal=signal, kind=kind, value=value, sd=sd, high_mark=high_mark)[_SIGNALS]
    told = told[told["value"].notna() & told["elapsed_h"].notna()]
    numbers = dict.fromkeys(("elapsed_h", "value", "sd"), float)
    return told.astype(numbers | {"kind": "str", "high_mark": bool, "file": "str", "row": "Int64"})
