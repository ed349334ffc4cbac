"""Whose cover is most needed: how soon a culture may be lost, and how little would bring it back.

priority = 100 x loss x unbacked x bound, where

- loss = accident + (1 - accident) x likely x nearness: `likely` is the greater of the watch list's probability of
  decline and what the standing, or a doubt of its identity, counts for at least; `nearness` is 1 / (1 + rounds left,
  the lower end), and 1 where there is no forecast or where the jar is perhaps another culture already;
- unbacked: what the cover leaves to chance;
- bound = 1 + a share for each reason, besides its back-ups, why it could not be had again.

Every factor is a column of the table, and every number that is a judgement stands in `Weights`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from ...columns import RESULTS
from .irreplaceable import other_reasons

_PRIORITY = RESULTS["backup_priority"]
_OF_LIST = ["culture", "standing", "decline_probability", "rounds_left_low", "identity_doubt"]
_OF_COVER = ["culture", "cover", "why", "rests_on", "to_test", "restock"]
_SLIPS = ("urgent", "slipping")


@dataclass(frozen=True)
class Weights:
    """The judgements in a priority (common practice, no source); a collection may set its own.

    Attributes
    ----------
    accident : float
        Chance that any jar is lost for reasons that no curve tells: dropped, mistaken, forgotten.
    by_standing : mapping of str to float
        What a standing counts for at least, 0 to 1.
    in_doubt : float
        What it counts for that the jar is perhaps not itself.
    unbacked : mapping of str to float
        Chance, by cover, that nothing brings the culture back.
    share_per_reason : float
        What each further reason adds.
    """

    accident: float = 0.02
    by_standing: Mapping[str, float] = field(
        default_factory=lambda: {"urgent": 0.9, "slipping": 0.6, "low": 0.2, "unknown": 0.2, "steady": 0.0}
    )
    in_doubt: float = 0.6
    unbacked: Mapping[str, float] = field(
        default_factory=lambda: {"full": 0.1, "unproven": 0.4, "partial": 0.9, "none": 1.0}
    )
    share_per_reason: float = 0.5


WEIGHTS = Weights()


def priority(
    listed: pd.DataFrame, covered: pd.DataFrame, told: pd.DataFrame, weights: Weights = WEIGHTS
) -> pd.DataFrame:
    """Return the living cultures, the one whose cover is most needed first.

    Parameters
    ----------
    listed : pandas.DataFrame
        The watch list; a culture that it does not name is unknown.
    covered : pandas.DataFrame
        As `cover` makes it for the same day.
    told : pandas.DataFrame
        As `irreplaceable` makes it.
    weights : Weights, optional
        The judgements.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["backup_priority"]``: every factor, what to do first, and how the place comes about.

    Examples
    --------
    >>> listed = pd.DataFrame({"culture": ["Alba"], "standing": ["slipping"], "decline_probability": [0.98],
    ...     "rounds_left_low": [1.0], "identity_doubt": [False]})
    >>> covered = pd.DataFrame({"culture": ["Alba"], "cover": ["none"], "why": ["nothing was ever put by"],
    ...     "rests_on": [""], "to_test": [""], "restock": [""]})
    >>> told = pd.DataFrame({"culture": ["Alba"], "reason": ["flour of a single source"], "holds": [True],
    ...     "evidence": ["einkorn from one mill"]})
    >>> made = priority(listed, covered, told)  # .02 + .98 x .98 x .5 = .5002; times 1.0, times 1.5
    >>> made[["loss", "unbacked", "bound", "priority"]].round(4).values.tolist()
    [[0.5002, 1.0, 1.5, 75.03]]
    """
    table = covered[_OF_COVER].merge(listed[_OF_LIST], on="culture", how="left")
    table["standing"] = table["standing"].fillna("unknown")
    doubted = table["identity_doubt"].astype("boolean").fillna(False).astype(bool)
    by_standing = table["standing"].map(dict(weights.by_standing)).astype(float)
    table["at_least"] = by_standing.where(~doubted, by_standing.clip(lower=weights.in_doubt))
    table["nearness"] = (1.0 / (1.0 + table["rounds_left_low"].astype(float).fillna(0.0))).mask(doubted, 1.0)
    table["accident"] = weights.accident
    likely = table[["decline_probability", "at_least"]].astype(float).max(axis=1)
    table["loss"] = weights.accident + (1.0 - weights.accident) * likely * table["nearness"]
    table["unbacked"] = table["cover"].map(dict(weights.unbacked)).astype(float)
    reasons = other_reasons(told).reindex(table["culture"])
    table["evidence"] = [held if isinstance(held, list) else [] for held in reasons]
    table["reasons"] = table["evidence"].map(len)
    table["bound"] = 1.0 + weights.share_per_reason * table["reasons"]
    table["priority"] = 100.0 * table["loss"] * table["unbacked"] * table["bound"]
    table["do"] = [_first(row) for row in table.to_dict("records")]
    table["words"] = [_words(row) for row in table.to_dict("records")]
    ordered = table.sort_values(["priority", "culture"], ascending=[False, True], kind="stable", ignore_index=True)
    ordered["rank"] = ordered.index + 1
    return ordered[_PRIORITY.names].astype(_PRIORITY.dtypes())


def _first(row: dict[str, Any]) -> str:
    """Return what to do first; a jar that is not itself, or dying, is no source of a back-up."""
    slips, batch, overdue = row["standing"] in _SLIPS, row["rests_on"], row["to_test"].split(", ")[0]
    if row["identity_doubt"] is True:
        return "check its identity before anything is put by from this jar; keep what was put by earlier"
    if row["cover"] in ("none", "partial"):
        return "rescue it, and put it by whole once it passes" if slips else "freeze or dry it whole at its next round"
    if slips and row["cover"] == "unproven":
        return f"wake {batch} now, while its jar can be compared"
    if slips:
        return f"rescue it; should that fail, bring it back from {batch}"
    if overdue:
        return f"wake {overdue} to see whether it lives"
    return f"make more: {row['restock'].replace('_', ' ')}" if row["restock"] else "nothing"


def _words(row: dict[str, Any]) -> str:
    told = [row["standing"]]
    if not pd.isna(row["decline_probability"]):
        told[0] += f", declining with probability {_rounded(row['decline_probability'])}"
    if row["standing"] in _SLIPS and not pd.isna(row["rounds_left_low"]):
        rounds = int(np.ceil(row["rounds_left_low"]))
        told[0] += (
            f", perhaps half strength within {rounds} rounds"
            if rounds > 1
            else ", perhaps at half strength within a round"
        )
    if row["identity_doubt"] is True:
        told.append("perhaps not itself")
    product = " x ".join(f"{row[name]:.3f}" for name in ("loss", "unbacked", "bound"))
    return "; ".join([*told, row["why"], *row["evidence"], f"100 x {product} = {row['priority']:.1f}"])


def _rounded(probability: float) -> str:
    return "over .99" if probability > 0.99 else "under .01" if probability < 0.01 else f"{probability:.2f}".lstrip("0")
