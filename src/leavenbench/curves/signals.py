"""From the readings of a shelf to the signals that curves are fitted to, one row per usable observation.

A refeed's rise comes from one kind of reading only: heights where any were read, with volumes and percentages
turned into heights where the jar is known; else volumes or percentages, whichever were read more often. Its acid
comes from one way of measuring, in the dough itself or in a slurry. The smear line that the dough leaves on the glass
is the highest level, without its hour.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from .models import Array
from .noise import INSTRUMENTS

_NUMBERS = ["elapsed_h", "height_mm", "volume_mL", "rise_pct", "high_mark_mm", "ph"]
_WORDS = ["refeed", "vessel", "ph_method", "file", "row"]
_OF_REFEED = ["refeed", "vessel", "fed_at", "cooled_at", "start_height_mm", "file", "row"]
#: Kinds of reading by number, those of a rise before those of an acid.
_KINDS = list(INSTRUMENTS)
_BY_HEIGHT, _BY_VOLUME, _BY_PERCENT, _DIRECT, _SLURRY = map(
    _KINDS.index, ("height_mm", "volume_mL", "rise_pct", "ph_direct", "ph_slurry")
)
#: Looks up the inner diameter of the jars of some readings [mm].
Across = Callable[[pd.DataFrame], Array]
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
    of_refeed = refeeds.reindex(columns=_OF_REFEED).drop_duplicates("refeed").reset_index(drop=True)
    words = readings.reindex(columns=_WORDS)
    known = pd.DataFrame({name: _floats(readings.reindex(columns=[name])[name]) for name in _NUMBERS})
    known["place"] = pd.Index(of_refeed["refeed"]).get_indexer(pd.Index(words["refeed"]))
    known["source"] = np.arange(len(known))
    until = np.append(_warm_until(of_refeed), -np.inf)[known["place"]]  # the last is for refeeds that are not there
    warm = known[known["elapsed_h"] <= until + _TOGETHER_H]
    marks = known[known["high_mark_mm"].notna() & (known["place"] >= 0)]
    marks = marks.assign(elapsed_h=np.fmin(marks["elapsed_h"].fillna(np.inf), until[marks["source"]]))
    across = _diameter_mm(words, of_refeed, vessels)
    rise = _rise(warm, of_refeed, across)
    marked = _marks(marks, rise, of_refeed, across)
    starts = _starts(pd.concat([rise, marked]), of_refeed, len(words))
    acid = _acid(warm, words["ph_method"].eq("slurry").to_numpy(dtype=bool, na_value=False))
    together = pd.concat([rise, starts, marked, acid], ignore_index=True)
    order = np.lexsort((together["elapsed_h"], 2 * together["place"] + (together["kind"] >= _DIRECT)))
    return _table(together.iloc[order], of_refeed, words)


def _table(numbers: pd.DataFrame, of_refeed: pd.DataFrame, words: pd.DataFrame) -> pd.DataFrame:
    """Write observations under the names of a signal, each with where it was written."""
    place, kind = numbers["place"].to_numpy(), numbers["kind"].to_numpy()
    written = pd.concat([words[["file", "row"]], of_refeed[["file", "row"]]], ignore_index=True)
    written = written.astype({"file": "str", "row": "Int64"}).take(numbers["source"])
    told = {
        "refeed": of_refeed["refeed"].array.take(place),
        "signal": pd.array(["rise", "acid"], dtype="str").take((kind >= _DIRECT).astype(int)),
        "kind": pd.array(_KINDS, dtype="str").take(kind),
        **{name: numbers[name].array for name in ("elapsed_h", "value", "sd", "high_mark")},
    }
    return pd.DataFrame(told).assign(file=written["file"].array, row=written["row"].array)


def _floats(numbers: pd.Series) -> Array:
    return numbers.to_numpy(dtype=float, na_value=np.nan)


def _warm_until(of_refeed: pd.DataFrame) -> Array:
    """Hour at which the jar of each refeed went into the cold [h]; infinite where it is not known to."""
    fed, cooled = (pd.to_datetime(of_refeed[name], utc=True) for name in ("fed_at", "cooled_at"))
    warm_h = _floats((cooled - fed).dt.total_seconds() / 3600.0)
    return np.where(warm_h > 0.0, warm_h, np.inf)


def _rise(read: pd.DataFrame, of_refeed: pd.DataFrame, across: Across) -> pd.DataFrame:
    """Rise of every refeed in one kind of reading."""
    place = read["place"].to_numpy()
    height, volume, percent = (read[name].to_numpy() for name in ("height_mm", "volume_mL", "rise_pct"))
    start = _floats(of_refeed["start_height_mm"])[place]
    per_mL = _mm_per_mL(read, ~np.isnan(volume), across)
    by_jar, by_start = volume * per_mL, start * (1.0 + percent / 100.0)
    measured, poured = ~np.isnan(height), ~np.isnan(by_jar)
    as_height = np.select([measured, poured], [height, by_jar], by_start)
    converted = np.select([measured, poured], [np.nan, _VOLUME * per_mL], _PERCENT / 100 * start)
    heights, volumes, percents = (_in_refeed(place, ~np.isnan(of)) for of in (height, volume, percent))
    logged = _logged(read, measured)
    beside = measured & ~logged & (_in_refeed(place, logged) > 0)
    which = [heights > 0, volumes >= percents]
    return _observed(
        read,
        np.select(which, [_BY_HEIGHT, _BY_VOLUME], _BY_PERCENT),
        np.select(which, [as_height, volume], 100.0 + percent),
        sd=np.select([heights == 0, beside], [np.nan, _BESIDE_A_LOGGER * _HEIGHT], converted),
    )


def _in_refeed(place: Array, some: Array) -> Array:
    """Count some of the readings in each one's refeed."""
    return np.bincount(place[some], minlength=place.max(initial=0) + 1)[place]


def _logged(read: pd.DataFrame, measured: Array) -> Array:
    """Whether a height stands so near the ones before and after it that a logger must have read it."""
    place, hour = (read[name].to_numpy()[measured] for name in ("place", "elapsed_h"))
    order = np.lexsort((hour, place))
    near = (np.diff(place[order]) == 0) & (np.diff(hour[order]) < _LOGGED_EVERY_H)
    both = np.zeros(len(order), bool)
    both[order[1:-1]] = near[1:] & near[:-1]
    logged = np.zeros(len(read), bool)
    logged[measured] = both
    return logged


def _marks(marks: pd.DataFrame, rise: pd.DataFrame, of_refeed: pd.DataFrame, across: Across) -> pd.DataFrame:
    """Return the smear lines in the kind of the other readings, with the hour until which they speak."""
    place = marks["place"].to_numpy()
    kind = _kind_of(rise, len(of_refeed), _BY_HEIGHT)[place]
    start = _floats(of_refeed["start_height_mm"])[place]
    per_mL = _mm_per_mL(marks, kind == _BY_VOLUME, across)
    factor = np.select([kind == _BY_HEIGHT, kind == _BY_VOLUME], [1.0, 1.0 / per_mL], 100.0 / start)
    return _observed(marks, kind, marks["high_mark_mm"] * factor, high_mark=True)


def _kind_of(observed: pd.DataFrame, refeeds: int, otherwise: int) -> Array:
    """Return the kind in which the rise of each refeed was read, shape (refeeds,)."""
    kind = np.full(refeeds, otherwise)
    kind[observed["place"]] = observed["kind"]
    return kind


def _diameter_mm(words: pd.DataFrame, of_refeed: pd.DataFrame, vessels: pd.DataFrame | None) -> Across:
    """Return how to look up the inner diameter [mm] of the straight jars of some readings."""
    if vessels is None:
        return lambda of: np.full(len(of), np.nan)
    straight = vessels[vessels.reindex(columns=["shape"])["shape"].ne("tapered")].drop_duplicates("vessel")
    diameter = straight.set_index("vessel")["inner_diameter_mm"].astype(float)
    diameter = diameter.where(diameter > 0.0)

    def across(read: pd.DataFrame) -> Array:
        of_reading = words["vessel"].take(read["source"]).astype("str").reset_index(drop=True)
        jar = of_reading.fillna(of_refeed["vessel"].take(read["place"]).astype("str").reset_index(drop=True))
        return _floats(jar.map(diameter))

    return across


def _mm_per_mL(read: pd.DataFrame, wanted: Array, across: Across) -> Array:
    """Height of a mL [mm] in a straight jar of known diameter d [mm]: V = pi d^2 / 4 h / 1000; where it is wanted."""
    found = np.full(len(read), np.nan)
    found[wanted] = 4000.0 / (np.pi * across(read[wanted]) ** 2)
    return found


def _starts(rise: pd.DataFrame, of_refeed: pd.DataFrame, readings: int) -> pd.DataFrame:
    """Return what is known of the start without a reading: the height when fed, and that 0 % is 0 %.

    Where it was written is counted on after the readings.
    """
    kind = _kind_of(rise, len(of_refeed), -1)
    at_start = np.isin(np.arange(len(of_refeed)), rise.loc[rise["elapsed_h"] == 0.0, "place"])
    height = _floats(of_refeed["start_height_mm"])
    by_definition = np.where((kind == _BY_PERCENT) & ~at_start, 100.0, np.nan)
    fed = pd.DataFrame({"place": np.arange(len(of_refeed)), "elapsed_h": 0.0})
    fed["source"] = readings + fed["place"]
    return _observed(fed, kind, np.where(kind == _BY_HEIGHT, height, by_definition))


def _acid(read: pd.DataFrame, slurries: Array) -> pd.DataFrame:
    """Return the pH of every refeed in the way in which it was measured more often."""
    place, ph, slurry = read["place"].to_numpy(), read["ph"].to_numpy(), slurries[read["source"]]
    told = ~np.isnan(ph)
    in_slurry = _in_refeed(place, told & slurry) > _in_refeed(place, told & ~slurry)
    kind = np.where(in_slurry, _SLURRY, _DIRECT)
    return _observed(read, kind, np.where(slurry == in_slurry, ph, np.nan))


def _observed(
    rows: pd.DataFrame, kind: Array, value: Array, sd: Array | float = np.nan, *, high_mark: bool = False
) -> pd.DataFrame:
    """Set rows under the numbers of an observation, without those that have no value."""
    told = rows[["place", "source", "elapsed_h"]].assign(kind=kind, value=value, sd=sd, high_mark=high_mark)
    return told[told["value"].notna() & told["elapsed_h"].notna()]
