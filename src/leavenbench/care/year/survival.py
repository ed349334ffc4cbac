"""How long cultures last in the collection: survival since receipt, losses by reason and by source of flour."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

from ...columns import RESULTS
from ...records.collection import Collection
from ..flour.need import YEAR_D
from .captioned import captioned, count_of, sentence
from .collection import NOT_NOTED
from .kaplan_meier import at_risk_at, half_lost_at, kaplan_meier, log_rank
from .lives import living_on
from .period import Period

#: With fewer under watch a loss moves the curve by a fifth and more (common practice, no source).
_FEW = 5
_SOLE, _ELSEWHERE, _UNKNOWN = RESULTS["year_survival_by_source"].by_name["source"].choices


def tell_survival(collection: Collection, lived: pd.DataFrame, period: Period) -> tuple[dict[str, pd.DataFrame], str]:
    """Return the tables of survival, and what is missing.

    A culture received before its records began is under watch only from then on: had it been lost before, nobody
    would know of it. Of a culture that was restored, the life until its first loss counts.

    Parameters
    ----------
    collection : Collection
        The records, read up to the year's end.
    lived : pandas.DataFrame
        As from `lives.lives`.
    period : Period
        The year.

    Returns
    -------
    tables : dict of str to pandas.DataFrame
        survival, at_risk, lives, survival_by_source, losses.
    said : str
    """
    first, unknown = _first_lives(lived, period)
    entry, age, lost = (first[name].to_numpy() for name in ("entry_y", "age_y", "lost"))
    curve = kaplan_meier(entry, age, lost)
    counted = f"{count_of(len(first), 'life', 'lives')} since receipt, up to {period.last:%d %B %Y}"
    tables = {
        "survival": _survival(curve, f"{counted}: Kaplan-Meier, late entry at the first refeed, 95 % band"),
        "at_risk": _at_risk(entry, age, f"{counted}: how many were under watch at each age"),
        "lives": _summary(first, unknown, curve, f"{counted}; of a culture that was restored its first"),
        "survival_by_source": _by_source(collection, first, counted),
        "losses": _losses(lived, period),
    }
    return tables, _said(first, unknown, curve)


def _first_lives(lived: pd.DataFrame, period: Period) -> tuple[pd.DataFrame, int]:
    """Return the life since receipt of each culture that was under watch, and how many have no day of receipt."""
    first = lived[~lived["culture"].duplicated() & ~(lived["begun_on"] > period.last)]
    known = first["begun_on"].notna()
    unknown = int((~known & living_on(first, period.last)).sum())
    begun = first.loc[known, "begun_on"]
    until = first.loc[known, "ended_on"].fillna(period.last)
    late = begun < period.records_from
    entry = ((period.records_from - begun) / pd.Timedelta(days=YEAR_D)).where(late, -np.inf)
    told = first[known].assign(
        entry_y=entry.astype(float),
        age_y=(until - begun) / pd.Timedelta(days=YEAR_D),
        late=late,
        lost=first["ended_by"] == "lost",
    )
    return told[told["age_y"] > told["entry_y"]].reset_index(drop=True), unknown


def _survival(curve: pd.DataFrame, caption: str) -> pd.DataFrame:
    rows = curve[["at_risk", "lost", "left"]].assign(
        age_y=curve["age"],
        alive_pct=100.0 * curve["alive"],
        alive_pct_se=100.0 * curve["se"],
        alive_low_pct=100.0 * curve["low"],
        alive_high_pct=100.0 * curve["high"],
    )
    return captioned("year_survival", rows, caption)


def _at_risk(entry: np.ndarray, age: np.ndarray, caption: str) -> pd.DataFrame:
    """Count who is under watch at each whole year; who has just been received counts at 0."""
    years = np.arange(0.0, np.floor(age.max()) + 1.0) if len(age) else np.empty(0)
    rows = pd.DataFrame({"age_y": years, "at_risk": at_risk_at(entry, age, years)})
    return captioned("year_at_risk", rows, caption)


def _summary(first: pd.DataFrame, unknown: int, curve: pd.DataFrame, caption: str) -> pd.DataFrame:
    median, low, high = half_lost_at(curve)
    row = {
        "cultures": len(first),
        "late": first["late"].sum(),
        "lost": first["lost"].sum(),
        "withdrawn": (first["ended_by"] == "withdrawn").sum(),
        "living": (first["ended_by"] == "").sum(),
        "unknown": unknown,
        "median_y": median,
        "median_low_y": low,
        "median_high_y": high,
    }
    return captioned("year_lives", [row], caption)


def _by_source(collection: Collection, first: pd.DataFrame, counted: str) -> pd.DataFrame:
    kept_on = first["culture"].map(collection["cultures"].set_index("culture")["flour"])
    flours = collection["flours"]
    sole = kept_on.isin(flours.loc[flours["sole_source"].fillna(False).astype(bool), "flour"])
    known = kept_on.isin(flours["flour"])
    source = np.select([sole, known], [_SOLE, _ELSEWHERE], _UNKNOWN)
    table, chi_square = log_rank(
        first["entry_y"].to_numpy(), first["age_y"].to_numpy(), first["lost"].to_numpy(), source
    )
    freedom = int((table["expected"] > 0.0).sum()) - 1
    rows = table.rename(columns={"lives": "cultures"}).rename_axis("source").reset_index()
    rows = rows.assign(chi_square=chi_square, p=stats.chi2.sf(chi_square, max(freedom, 1)))
    caption = f"{counted}: log-rank test by who can send their flour; where few losses are expected its p is rough"
    return captioned("year_survival_by_source", rows, caption)


def _losses(lived: pd.DataFrame, period: Period) -> pd.DataFrame:
    lost = lived[lived["ended_by"] == "lost"]
    reason = lost["reason"].str.strip().fillna("")
    reason = reason.mask(reason == "", NOT_NOTED)
    of_year = period.holds(lost["ended_on"])
    counts = of_year.groupby(reason).agg(in_year="sum", in_records="size").rename_axis("reason").reset_index()
    counts = counts.sort_values(["in_records", "reason"], ascending=[False, True], kind="stable")
    caption = (
        f"{count_of(int(of_year.sum()), 'loss', 'losses')} in {period.year}, {len(lost)} in all records up to its end, "
        "by the reason written down"
    )
    return captioned("year_losses", counts, caption)


def _said(first: pd.DataFrame, unknown: int, curve: pd.DataFrame) -> str:
    if first.empty:
        return "No survival can be told: no day of receipt is noted." if unknown else "There is no life to tell of."
    told = []
    if unknown:
        told.append(f"{count_of(unknown, 'culture')} without a day of receipt could not be counted")
    fewest = curve.loc[curve["lost"] > 0, "at_risk"].min()
    if fewest < _FEW:
        told.append(f"at one of the losses only {count_of(int(fewest), 'culture')} of that age stood under watch")
    if not first["lost"].any():
        told.append("none was lost, so that the curve has no step and no band")
    return sentence(told)
