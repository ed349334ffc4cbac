"""The suspects ranked by evidence, each with its numbers, 'nothing stands out' among them.

For each suspect: what the culture's own refeeds say (`own_refeeds`), what the others that shared it say (`others`),
and both together, weighted by the inverse of their squared errors: effect e with standard error s. Against nothing it
has the Bayes factor of an effect that only ever slows, of a usual size t (half a normal distribution),

    2 Phi(-m / r) sqrt(r^2 / t^2) exp(m^2 / (2 r^2)),   1 / r^2 = 1 / s^2 + 1 / t^2,   m = r^2 e / s^2

(a normal mean with a normal prior; Kass & Raftery 1995, J Am Stat Assoc 90:773-795, doi
10.1080/01621459.1995.10476572, from memory). What may have begun with any of several rounds has the mean of the
factors of all of them; its effect is shown for the likeliest. Times its prior, over the sum of all: its share.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from scipy.special import log_ndtr, logsumexp

from ...columns import RESULTS
from .case import Case
from .ground import Ground
from .others import NOBODY, Others, Shared
from .own_refeeds import OwnRefeeds
from .suspected import ACID_ALONE, Suspect, suspected

NOTHING = "nothing stands out"
#: Suspects whose own refeeds are so alike (cosine), and whose company is (share of cultures), cannot be told apart.
_ALIKE, _SAME_COMPANY = 0.9, 0.8
#: The suspects that hold this share together are in the lead; one that holds less is not worth a word.
LEADING, WORTH_A_WORD = 0.90, 0.02

_SUSPECTS = RESULTS["suspects"]


@dataclass(frozen=True)
class Beliefs:
    """What is believed before the evidence; common practice, no source, and yours to set.

    Attributes
    ----------
    nothing : float
        That nothing of all this did anything: chance.
    each : dict of str to float
        Odds of each kind of suspect beside it; those on offer share what is left of 1 in these proportions, and
        several of one kind (two lots) share what the kind has. A kind that is left out is not suspected.
    usual_loss : float
        How large a cause usually is, where there is one [log]: .2 is 18 %.
    """

    nothing: float = 0.5
    each: dict[str, float] = field(
        default_factory=lambda: {
            "its own decline": 15.0,
            "its rise alone": 3.0,
            "its acid alone": 4.0,
            "lot": 10.0,
            "late round": 5.0,
            "room": 4.0,
            "store": 3.0,
            "person": 3.0,
            "probe": 3.0,
            "feed ratio": 3.0,
            "water source": 2.0,
            "day": 2.0,
            "whole shelf": 2.0,
            "vessel kind": 1.0,
        }
    )
    usual_loss: float = 0.2


class _Weighed(NamedTuple):
    """A suspect with what is said of it; `log_factor` is that of the onset shown."""

    suspect: Suspect
    own: tuple[float, float]
    others: Shared
    both: tuple[float, float]
    log_factor: float


def suspects(case: Case, beliefs: Beliefs | None = None) -> pd.DataFrame:
    """Rank everything that may have made the culture of a case sluggish; see `rank_suspects`."""
    return rank_suspects(case.ground, beliefs)


def rank_suspects(ground: Ground, beliefs: Beliefs | None = None) -> pd.DataFrame:
    """Rank everything that may have made a culture sluggish.

    Parameters
    ----------
    ground : Ground
        The shelf's refeeds.
    beliefs : Beliefs, optional
        What is believed beforehand.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["suspects"]``, the likeliest first.
    """
    beliefs = beliefs or Beliefs()
    own, others = OwnRefeeds(ground), Others(ground)
    tried: dict[str, list[_Weighed]] = {}
    for suspect in (one for one in suspected(ground) if one.factor in beliefs.each):
        one = _weigh(suspect, own, others, beliefs.usual_loss)
        if np.isfinite(one.log_factor):
            tried.setdefault(suspect.words, []).append(one)
    best = {words: max(of_it, key=lambda of: of.log_factor) for words, of_it in tried.items()}
    rows = [_row(best[words], of_it, own) for words, of_it in tried.items()]
    rows.append({"factor": NOTHING, "suspect": NOTHING, "onsets_tried": 1, "log_factor": 0.0, "log_factor_mean": 0.0})
    table = pd.DataFrame(rows, columns=_SUSPECTS.names)
    table["prior"] = _priors(table["factor"], beliefs)
    log_odds = np.log(table["prior"]) + table["log_factor_mean"].astype(float)
    table["share"] = np.exp(log_odds - logsumexp(log_odds))
    table = table.sort_values("share", ascending=False, kind="stable", ignore_index=True)
    table["rank"] = table.index + 1
    worth = table.loc[table["share"] >= WORTH_A_WORD, "suspect"]
    alike = [_alike(words, best, own) for words in table["suspect"]]
    table["cannot_tell_from"] = [", ".join(other for other in worth if other in of_it) for of_it in alike]
    table["words"] = [_told(row) for row in table.to_dict("records")]
    return table.astype(_SUSPECTS.dtypes())


def log_factor(effect: float, se: float, usual_loss: float) -> float:
    """Return the log Bayes factor of an effect that only ever slows, against none.

    Parameters
    ----------
    effect, se : float
        What was found, and its error [log]; slower is less than nothing.
    usual_loss : float
        How large such an effect usually is [log].

    Returns
    -------
    float

    Examples
    --------
    >>> round(log_factor(-0.3, 0.08, 0.2), 2), round(log_factor(0.0, 0.08, 0.2), 2)
    (5.76, -0.99)
    """
    variance = 1.0 / (1.0 / se**2 + 1.0 / usual_loss**2)
    middle = variance * effect / se**2
    away = -middle / np.sqrt(variance)
    return float(np.log(2.0) + log_ndtr(away) + 0.5 * np.log(variance / usual_loss**2) + 0.5 * away**2)


def _weigh(suspect: Suspect, own: OwnRefeeds, others: Others, usual_loss: float) -> _Weighed:
    mine = own.effect(suspect.met, suspect.loading)
    told = NOBODY
    if suspect.shared and np.isfinite(mine[0]):
        value = "acid_over_rise" if suspect.loading == ACID_ALONE else "level"
        told = others.told(suspect.met, suspect.begins, value, suspect.told_by)
    both = _together([mine, (told.effect, told.se)])
    factor = log_factor(*both, usual_loss) if np.isfinite(mine[0]) else float("nan")
    return _Weighed(suspect, mine, told, both, factor)


def _together(told: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """Return the mean of effects weighted by the inverse of their squared errors, and its error."""
    known = [(effect, se) for effect, se in told if np.isfinite(effect)]
    precision = sum(se**-2 for _, se in known)
    if not known:
        return float("nan"), float("nan")
    return sum(effect * se**-2 for effect, se in known) / precision, precision**-0.5


def _row(best: _Weighed, tried: list[_Weighed], own: OwnRefeeds) -> dict[str, object]:
    suspect = best.suspect
    since = pd.NaT if np.isnan(suspect.begins) else pd.Timestamp(suspect.begins, unit="D").normalize()
    with_it = int((suspect.met[own.rows] > 0.0).sum())
    return {
        "suspect": suspect.words,
        "factor": suspect.factor,
        "level": suspect.level,
        "since": since,
        "own_with": with_it,
        "own_without": len(own.rows) - with_it,
        "own_effect": best.own[0],
        "own_effect_se": best.own[1],
        "others_with": len(best.others.met),
        "others_without": len(best.others.spared),
        "others_effect": best.others.effect,
        "others_effect_se": best.others.se,
        "effect": best.both[0],
        "effect_se": best.both[1],
        "onsets_tried": len(tried),
        "log_factor": best.log_factor,
        "log_factor_mean": float(logsumexp([of.log_factor for of in tried]) - np.log(len(tried))),
    }


def _priors(factors: pd.Series, beliefs: Beliefs) -> pd.Series:
    """Return the prior of each row: nothing has its own; kinds on offer share the rest, and so those of a kind."""
    many = factors[factors != NOTHING].value_counts()
    kinds = pd.Series(beliefs.each).reindex(many.index)
    each = (1.0 - beliefs.nothing) * kinds / kinds.sum() / many
    return factors.map({NOTHING: beliefs.nothing} | each.to_dict())


def _alike(words: str, best: dict[str, _Weighed], own: OwnRefeeds) -> set[str]:
    """Return the suspects that nearly the same refeeds of nearly the same cultures met."""
    if words not in best:
        return set()
    one = best[words]
    mine = own.met(one.suspect.met, one.suspect.loading)
    found = set()
    for name, other in best.items():
        theirs = own.met(other.suspect.met, other.suspect.loading)
        cosine = float(mine @ theirs) / np.sqrt(float(mine @ mine) * float(theirs @ theirs))
        if name != words and cosine >= _ALIKE and _same_company(one.others.met, other.others.met):
            found.add(name)
    return found


def _same_company(one: frozenset[str], other: frozenset[str]) -> bool:
    """Whether nobody else met either, or nearly the same others met both."""
    return len(one & other) >= _SAME_COMPANY * len(one | other)


def _told(row: dict[str, Any]) -> str:
    """Say in words what a row comes to."""
    if row["factor"] == NOTHING:
        return "chance: as far as this a culture wanders by itself"
    of_own = f"its own refeeds {_percent(row['own_effect'], row['own_effect_se'])} with it"
    if not row["others_with"]:
        return of_own + ("" if row["factor"].startswith("its ") else "; nobody else can tell")
    many = f"{row['others_with']:.0f} other{'s' if row['others_with'] != 1 else ''}"
    return f"{of_own}; {many} {_percent(row['others_effect'], row['others_effect_se'])}"


def _percent(effect: float, se: float) -> str:
    return f"{100.0 * np.expm1(effect):+.0f} ± {100.0 * np.exp(effect) * se:.0f} %"
