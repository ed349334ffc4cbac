"""How the cultures did in a year: the vigour of each, and of all together, against the year before.

What a culture's level wanders by from round to round is chance, and so is the error of reading it: both stand in the
standard error of a change (`watch.scatter` tells their size). Of many cultures some seem to change by chance alone, so
each is judged with all in mind (Benjamini & Hochberg 1995, J R Stat Soc B 57:289-300, doi
10.1111/j.2517-6161.1995.tb02031.x).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

from ...columns import RESULTS
from ...records.as_of import days_of
from ...records.collection import Collection
from ...records.living import history_numbers
from ...vigour.causes import Causes
from ...watch.levels import round_levels
from ...watch.scatter import scatter_of
from ...watch.series import series_of
from .captioned import captioned, count_of, sentence
from .lives import living_on
from .period import Period

#: Chance at which a change is called one, of each culture with all in mind and of all together.
_CHANCE = 0.05
HIGHER, LOWER, CANNOT_TELL, NOTHING = RESULTS["year_vigour"].by_name["verdict"].choices
_NOT_JUDGED = "not judged"
_OWN, _AS_SEEN = RESULTS["year_vigour_change"].by_name["which"].choices


def tell_health(
    collection: Collection, vigour: pd.DataFrame, causes: Causes, lived: pd.DataFrame, period: Period
) -> tuple[dict[str, pd.DataFrame], str]:
    """Return the tables of vigour, and what is missing.

    Parameters
    ----------
    collection, vigour, causes : Collection, pandas.DataFrame, Causes
        The records, read up to the year's end, their vigour and what the shelf shared.
    lived : pandas.DataFrame
        As from `lives.lives`.
    period : Period
        The year.

    Returns
    -------
    tables : dict of str to pandas.DataFrame
        vigour, vigour_change, causes.
    said : str
    """
    history = history_numbers(collection)
    living = lived.loc[living_on(lived, period.last), "culture"]
    rounds = _rounds_of_both_years(round_levels(vigour, history), collection.settings.round_days, period)
    seen = vigour.assign(vigour_pct_own=vigour["vigour_pct"], vigour_pct_own_se=vigour["vigour_pct_se"])
    rounds_seen = _rounds_of_both_years(round_levels(seen, history), collection.settings.round_days, period)
    own = _by_culture(rounds[rounds["culture"].isin(living)])
    read = own["last_round_on"].notna()
    both = {_OWN: _read_in_both(rounds), _AS_SEEN: _read_in_both(rounds_seen)}
    compared = f"{period.year} against {period.year - 1}"
    living_read, read_twice = count_of(int(read.sum()), "living culture"), count_of(len(both[_OWN]), "culture")
    tables = {
        "vigour": captioned(
            "year_vigour",
            own[read],
            f"{living_read} read in {period.year}: level at the last round; {compared}: "
            "mean log level of the rounds, each against itself, error from reading and usual wandering",
        ),
        "vigour_change": captioned(
            "year_vigour_change",
            [_together(which, pairs) for which, pairs in both.items()],
            f"{read_twice} read in both years; {compared}: mean of the paired differences with 95 % t interval, causes "
            "that the shelf shared taken out (own) or left in (as seen); chance that all share is not in the error",
        ),
        "causes": _causes(causes, period),
    }
    return tables, _said(own, living, len(both[_OWN]), period)


def _rounds_of_both_years(levels: pd.DataFrame, round_days: float, period: Period) -> pd.DataFrame:
    """Return the rounds of the year, and those of the year before of the same history, with how they wander."""
    series = series_of(levels, round_days)
    scatter = scatter_of(series)
    rounds = levels.assign(at=series.at, variance=series.variance, sd=scatter.sd, carry_over=scatter.carry_over)
    rounds["on"] = days_of(rounds["fed_at"])
    rounds = rounds[rounds["on"].dt.year.isin((period.year - 1, period.year))]
    present = rounds["history"] == rounds.groupby("culture")["history"].transform("max")
    return rounds[present].assign(this_year=rounds["on"] >= period.first)


def _by_culture(rounds: pd.DataFrame) -> pd.DataFrame:
    """Return one row for each culture with a round in either year."""
    declared = RESULTS["year_vigour"].names
    told = pd.DataFrame([_of_culture(str(name), own) for name, own in rounds.groupby("culture")])
    told = told.reindex(columns=[*declared, "change"])
    tested = told["p"].notna()
    told["verdict"] = NOTHING
    if tested.any():
        told.loc[tested, "p_adjusted"] = stats.false_discovery_control(told.loc[tested, "p"].astype(float))
        told.loc[tested, "verdict"] = [
            _verdict(change, p < _CHANCE) for change, p in told.loc[tested, ["change", "p_adjusted"]].to_numpy(float)
        ]
    return told


def _of_culture(name: str, own: pd.DataFrame) -> dict[str, object]:
    now, before = own[own["this_year"]], own[~own["this_year"]]
    told: dict[str, object] = {"culture": name, "rounds": len(now), "rounds_before": len(before)}
    if len(now):
        last = now.iloc[-1]
        level = 100.0 * np.exp(last["level"])
        told |= {"last_round_on": last["on"], "level_pct": level, "level_pct_se": level * last["level_se"]}
        told["year_pct"] = 100.0 * np.exp(now["level"].mean())
    if len(before):
        told["year_before_pct"] = 100.0 * np.exp(before["level"].mean())
    if len(now) and len(before):
        change, se = _change(own)
        ratio = 100.0 * np.exp(change)
        told |= {"change": change, "change_pct": ratio - 100.0, "change_pct_se": ratio * se}
        told["p"] = 2.0 * stats.norm.sf(abs(change) / se)
    return told


def _change(own: pd.DataFrame) -> tuple[float, float]:
    """Return the change of the mean log level from the year before, and its standard error.

    The carried-over part of a level has the covariance sd^2 phi^|rounds apart| (see `watch.scatter`).
    """
    now = own["this_year"].to_numpy(bool)
    weight = np.where(now, 1.0 / now.sum(), -1.0 / (~now).sum())
    at, last = own["at"].to_numpy(), own.iloc[-1]
    wandering = last["sd"] ** 2 * last["carry_over"] ** np.abs(at[:, None] - at)
    variance = weight @ wandering @ weight + (weight**2 * own["variance"].to_numpy()).sum()
    return float(weight @ own["level"].to_numpy()), float(np.sqrt(variance))


def _read_in_both(rounds: pd.DataFrame) -> pd.DataFrame:
    """Return the vigour [%] of each culture read in both years: columns before and now."""
    middle = rounds.groupby(["culture", "this_year"])["level"].mean().unstack()
    return 100.0 * np.exp(middle.reindex(columns=[False, True]).dropna().set_axis(["before", "now"], axis=1))


def _together(which: str, pairs: pd.DataFrame) -> dict[str, object]:
    """Return the mean change; of 'as seen' no verdict, for what the shelf shares makes the cultures' changes one.

    Points, not logarithms: of a dead culture only the points that it lost are known.
    """
    told: dict[str, object] = {"which": which, "cultures": len(pairs), "verdict": NOTHING}
    if len(pairs) < 2:
        return told
    change = pairs["now"] - pairs["before"]
    mean, se = change.mean(), change.sem()
    reach = stats.t.ppf(1.0 - _CHANCE / 2.0, len(change) - 1) * se
    return told | {
        "year_pct": pairs["now"].mean(),
        "year_before_pct": pairs["before"].mean(),
        "change_points": mean,
        "change_points_se": se,
        "change_points_low": mean - reach,
        "change_points_high": mean + reach,
        "verdict": _NOT_JUDGED if which == _AS_SEEN else _verdict(mean, abs(mean) > reach),
    }


def _verdict(change: float, told: bool) -> str:
    return (HIGHER if change > 0.0 else LOWER) if told else CANNOT_TELL


def _causes(causes: Causes, period: Period) -> pd.DataFrame:
    of_year = causes.table[causes.table["month"].str.startswith(f"{period.year}-").astype(bool)]
    many = count_of(len(of_year), "cause")
    caption = f"{many} that the shelf shared in {period.year}, found month by month (score test)"
    return captioned("shared_causes", of_year, caption)


def _said(own: pd.DataFrame, living: pd.Series, paired: int, period: Period) -> str:
    read = int(own["last_round_on"].notna().sum())
    if not read:
        return f"No vigour can be told: no living culture had a round with sound readings in {period.year}."
    told = []
    if read < len(living):
        told.append(f"{count_of(len(living) - read, 'living culture')} had no round with sound readings")
    if not paired:
        told.append(f"there is no round of {period.year - 1} to compare with")
    return sentence(told)
