"""The case of one sluggish culture on one page: its history, since when it is slow, what its last curves say."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ...columns import RESULTS
from ...records.collection import Collection
from ...records.living import history_numbers
from ...vigour.causes import Causes
from ...vigour.index import Weighed, weigh
from ...watch.alert import Z80
from ...watch.levels import round_levels
from ...watch.stood import Shelf
from ...watch.watch_list import judge, outlook_of
from .ground import Ground, wander_of
from .last_curves import last_curves
from .onset import Onset, onset_of

#: What begins a new story of a culture; what came before tells nothing of a trouble since.
NEW_STORY = ("restored", "rescued")

_ROUNDS = RESULTS["rescue_rounds"]


@dataclass(frozen=True)
class Case:
    """One sluggish culture.

    Attributes
    ----------
    culture : str
        Which.
    on : datetime.date
        The day of the question; what is later is not known.
    standing, evidence : str
        How it stands on the watch list, and the checks that spoke.
    rounds : pandas.DataFrame
        The columns of ``RESULTS["rescue_rounds"]``: its level at each round as it was seen, shared causes still in,
        and with them out.
    events : pandas.DataFrame
        What happened to it: happened_on, kind, reason.
    shared : tuple of str
        The causes that the shelf shared at its last round.
    onset : Onset
        Since when it is slow.
    signals : pandas.DataFrame
        What its last curves say, as from `last_curves.last_curves`.
    ground : Ground
        The shelf's refeeds up to that day.
    """

    culture: str
    on: dt.date
    standing: str
    evidence: str
    rounds: pd.DataFrame
    events: pd.DataFrame
    shared: tuple[str, ...]
    onset: Onset
    signals: pd.DataFrame
    ground: Ground = field(repr=False)

    @property
    def says(self) -> dict[str, str]:
        """What rise and acid say: normal, slow, none or not read."""
        return dict(zip(self.signals["signal"], self.signals["says"], strict=True))

    def summary(self) -> pd.DataFrame:
        """Return the case in a few lines: what and told."""
        last = self.rounds.iloc[-1]
        since = f"{self.onset.on:%Y-%m-%d}, " if self.onset.stands_out else ""
        lines = [
            ("standing", self.standing + (f": {self.evidence}" if self.evidence else "")),
            ("last round", f"{last['fed_at']:%Y-%m-%d}, {last['vigour_pct']:.0f} % of its own baseline as seen, "
                           f"{last['own_pct']:.0f} % with shared causes out"),
            ("slow since", since + self.onset.words),
            *((row["signal"], _said(row)) for row in self.signals.to_dict("records")),
            ("shared causes", "; ".join(self.shared) or "none named at its last round"),
            *((of["kind"], f"{of['happened_on']:%Y-%m-%d} {of['reason']}") for of in self.events.to_dict("records")),
        ]  # fmt: skip
        return pd.DataFrame(lines, columns=["what", "told"])

    def _repr_html_(self) -> str:
        table = self.summary().to_html(index=False, header=False)
        return f"<b>{self.culture}, as known on {self.on}</b>{table}"


def case_of(
    collection: Collection,
    curves: pd.DataFrame,
    vigour: pd.DataFrame,
    causes: Causes,
    listed: pd.DataFrame,
    culture: str,
    on: dt.date,
    *,
    weighed: Weighed | None = None,
) -> Case:
    """Put together the case of a culture.

    Parameters
    ----------
    collection : Collection
        The records, read up to that day.
    curves, vigour : pandas.DataFrame
        Its curves and vigour tables.
    causes : Causes
        What the shelf shared.
    listed : pandas.DataFrame
        The watch list of that day.
    culture : str
        Which culture.
    on : datetime.date
        The day.
    weighed : Weighed, optional
        From `vigour.index.weigh`; weighed anew when not given.

    Returns
    -------
    Case

    Raises
    ------
    CannotRead
        The culture has no refeed with sound readings up to that day.
    """
    weighed = weigh(collection, curves) if weighed is None else weighed
    seen = outlook_of(collection, vigour)
    refeed_sd = weighed.shared.scatter if weighed.shared is not None else 0.06
    settings = collection.settings
    story = history_numbers(collection, NEW_STORY)
    by_refeed = pd.Series(story.to_numpy(), index=collection["refeeds"]["refeed"])
    wander = wander_of(seen, culture, refeed_sd)
    ground = Ground(weighed, culture, on, wander, settings.round_days, settings.timezone, by_refeed)
    judged = judge(Shelf.of(collection, curves, seen), vigour, on, {})
    rows = judged[judged["culture"] == culture].to_dict("records")
    levels = _levels(vigour, story, culture, on)
    signals = last_curves(ground, curves)
    row = listed[listed["culture"] == culture].iloc[:1]
    events = collection["events"]
    events = events[(events["culture"] == culture) & (events["happened_on"] <= pd.Timestamp(on))]
    last = ground.values.loc[ground.own].groupby("of_round").get_group(ground.own_rounds["of_round"].iloc[-1])
    return Case(
        culture,
        on,
        str(row["standing"].iloc[0]) if len(row) else "not on the list",
        str(row["evidence"].iloc[0]) if len(row) and not pd.isna(row["evidence"].iloc[0]) else "",
        _told(levels),
        events[["happened_on", "kind", "reason"]].fillna({"reason": ""}).reset_index(drop=True),
        tuple(causes.met.loc[causes.met["refeed"].isin(last["refeed"]), "cause"].unique()),
        onset_of(ground, signals, rows[0] if rows else {}),
        signals,
        ground,
    )


def _levels(vigour: pd.DataFrame, story: pd.Series, culture: str, on: dt.date) -> pd.DataFrame:
    """Return the levels of its rounds as they were seen, shared causes in, and with them out."""
    own = (vigour["culture"] == culture) & (
        vigour["fed_at"].dt.tz_localize(None) < pd.Timestamp(on) + pd.Timedelta(days=1)
    )
    vigour, story = vigour[own], story[own.to_numpy()]
    as_seen = vigour.assign(vigour_pct_own=vigour["vigour_pct"], vigour_pct_own_se=vigour["vigour_pct_se"])
    seen, out = round_levels(as_seen, story), round_levels(vigour, story)
    return seen.assign(own_level=out["level"])


def _told(levels: pd.DataFrame) -> pd.DataFrame:
    level, error = levels["level"], levels["level_se"]
    table = levels[["round", "fed_at", "refeeds", "history"]].assign(
        vigour_pct=100.0 * np.exp(level),
        vigour_low_pct=100.0 * np.exp(level - Z80 * error),
        vigour_high_pct=100.0 * np.exp(level + Z80 * error),
        own_pct=100.0 * np.exp(levels["own_level"]),
    )
    return table[_ROUNDS.names].astype(_ROUNDS.dtypes(str(levels["fed_at"].dt.tz)))


def _said(row: dict) -> str:
    if pd.isna(row["against_baseline_pct"]):
        return str(row["says"])
    interval = f"{row['against_baseline_pct']:.0f} % of its baseline, {row['low_pct']:.0f} to {row['high_pct']:.0f}"
    return f"{row['says']}: {interval} (80 %)"
