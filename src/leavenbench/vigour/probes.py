"""What a pH probe shows against what is there: offset and slope by the buffers that it was held against.

A probe that has lost a share of its slope shows falls of pH too small by as much, and one with an offset is off by
the same everywhere. Between two checks both are taken to change evenly.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..records.collection import Collection
from ..records.texts import places_in

#: pH at which a probe's electrodes are alike and only its offset shows.
_NEUTRAL = 7.0
#: Buffers at least so far apart [pH] tell a slope; a check with a slope outside this is none: buffers were mixed up.
_FAR_ENOUGH, _POSSIBLE = 1.5, (0.7, 1.1)
#: Checks within so many days are told by their median: a single one is off by a hundredth or two.
_TOGETHER_D = 45.0


def states(checks: pd.DataFrame) -> pd.DataFrame:
    """Return the state of every probe at each check.

    Parameters
    ----------
    checks : pandas.DataFrame
        The table ``probe_checks`` under its inside names.

    Returns
    -------
    pandas.DataFrame
        One row per probe and day: probe, checked_at, slope (1 is the full one), offset [pH] at pH 7, each the median
        over the checks of the last weeks; a check against a single buffer tells the offset only.

    Examples
    --------
    >>> at = pd.to_datetime(["2025-03-07 16:00Z"] * 2)
    >>> held = pd.DataFrame({"probe": "one", "checked_at": at, "buffer_ph": [4.0, 7.0], "reading_ph": [4.25, 7.1]})
    >>> states(held)[["probe", "slope", "offset"]].round(2)
      probe  slope  offset
    0   one   0.95     0.1
    """
    known = checks.dropna(subset=["probe", "checked_at", "buffer_ph", "reading_ph"])
    held = pd.DataFrame({"probe": known["probe"], "checked_at": known["checked_at"].dt.floor("D")})
    held["buffer"], held["shown"] = known["buffer_ph"].astype(float), known["reading_ph"].astype(float)
    of_day = held.groupby(["probe", "checked_at"])
    table, away = of_day.mean(), held[["buffer", "shown"]] - of_day.transform("mean")
    across = away.mul(away["buffer"], axis=0).groupby([held["probe"], held["checked_at"]]).sum()
    far_enough = of_day["buffer"].max() - of_day["buffer"].min() >= _FAR_ENOUGH
    table["slope"] = (across["shown"] / across["buffer"]).where(far_enough)
    table = table[~far_enough | table["slope"].between(*_POSSIBLE)].reset_index()
    if table.empty:
        return table.assign(offset=np.nan)[["probe", "checked_at", "slope", "offset"]]
    of_day = table["slope"]
    table["slope"] = _recent_median(table, "slope")
    table["slope"] = table.groupby("probe")["slope"].ffill().fillna(1.0)  # the last one known, where none is told
    table["offset"] = table["shown"] - _NEUTRAL - of_day.fillna(table["slope"]) * (table["buffer"] - _NEUTRAL)
    table["offset"] = _recent_median(table, "offset")
    return table[["probe", "checked_at", "slope", "offset"]]


def _recent_median(table: pd.DataFrame, name: str) -> pd.Series:
    timed = table.set_index("checked_at").groupby("probe")[name]
    return timed.rolling(f"{_TOGETHER_D}D").median().reset_index(drop=True)


def state_at(found: pd.DataFrame, probe: pd.Series, moment: pd.Series) -> pd.DataFrame:
    """Return slope and offset of probes at moments: between checks evenly, before the first and after the last as then.

    Parameters
    ----------
    found : pandas.DataFrame
        From `states`.
    probe, moment : pandas.Series
        Which probe, and when.

    Returns
    -------
    pandas.DataFrame
        slope and offset, aligned with `probe`; missing where the probe was never checked.
    """
    told = pd.DataFrame({"slope": np.nan, "offset": np.nan}, index=probe.index)
    for name, of_probe in found.groupby("probe"):
        own = probe.index[(probe == name) & moment.notna()]
        at, known = (pd.DatetimeIndex(of).as_unit("s").asi8 for of in (moment.loc[own], of_probe["checked_at"]))
        for column in told:
            told.loc[own, column] = np.interp(at, known, of_probe[column].to_numpy(dtype=float))
    return told


def probes_of(collection: Collection, among: pd.Series) -> pd.Series:
    """Return the first probe that was noted with each refeed, among some of the readings; aligned with the refeeds."""
    refeeds, readings = collection["refeeds"]["refeed"], collection["readings"]
    read = np.flatnonzero(among & readings["probe"].notna())[::-1]
    fed = places_in(refeeds, readings["refeed"]).to_numpy()[read]
    first = np.full(len(refeeds) + 1, -1)
    first[fed] = read  # the last one written stays
    return readings["probe"].reindex(first[:-1]).set_axis(refeeds.index)


def true_ph(shown: pd.Series, state: pd.DataFrame) -> pd.Series:
    """Return the pH that is there, by what a probe of a known state shows; as shown where none is known."""
    slope, offset = state["slope"].fillna(1.0), state["offset"].fillna(0.0)
    return _NEUTRAL + (shown - _NEUTRAL - offset) / slope
