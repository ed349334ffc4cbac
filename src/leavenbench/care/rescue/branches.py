"""The steps of the trade in order, by what the curves say, each with its caution (common practice, no source)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import pandas as pd

from ...columns import RESULTS
from ...records.collection import Collection
from ..backups import forms
from ..cautions import MOULD, OLD_JAR, RAW, floor_caution
from ..feeding import FeedRatio
from ..flour import flour_stock
from ..habits import feed_ratios
from ..steps import CannotPlan, Wish, plan_steps
from .accounted import accounted
from .case import Case
from .last_curves import HARDLY, NONE, NORMAL, SLOW, UNREAD
from .practice import Practice

FEW_LEFT, YEAST_SHORT, IDENTITY, NOT_SLOW, READ_FIRST = (
    "too few are left", "yeast is short", "is it still itself?", "nothing is slow", "read first",
)  # fmt: skip
#: What people write of mould and of colours that mean discard, and of their absence.
_DISCARD = r"\b(?:mould\w*|mold\w*|pink\w*|orange|red|reddish|fuzz\w*)\b"
_NO_SUCH = r"\b(?:no|not|without|never)\s+(?:\w+\s+)?(?:mould\w*|mold\w*|pink\w*|orange|red|reddish|fuzz\w*)\b"
#: The whole forms in the order of the trade, and their words.
_FORMS = {"live_duplicate": "the live duplicate", "whole_dried": "a dried portion", "whole_frozen": "a frozen portion"}
_MAY_LIVE = ("proven", "unproven", "doubtful")
#: A lot under suspicion is left out from this share on (common practice, no source).
_SUSPECT_SHARE = 0.2
#: Rounds that another organism may have been in a jar before it shows (common practice, no source).
_UNSEEN_ROUNDS = 2.0

_STEPS = RESULTS["rescue_steps"]


class _Step(NamedTuple):
    """One step: what it is about, what to do, why now, what to mind."""

    step: str
    do: str
    why: str
    caution: str


def branch_of(case: Case) -> str:
    """Return the branch that the last curves lead to.

    Parameters
    ----------
    case : Case
        Of the culture.

    Returns
    -------
    str
        One of the names of this module. Nobody is called dead by rise while the pH is not read, or still falls; of a
        culture that hardly rises its acid alone tells.
    """
    rise, acid = (UNREAD if says == HARDLY else says for says in (case.says["rise"], case.says["acid"]))
    weak_rise, weak_acid = rise in (SLOW, NONE), acid in (SLOW, NONE)
    if acid == UNREAD:
        return NOT_SLOW if rise == NORMAL else READ_FIRST
    if rise == UNREAD:
        return FEW_LEFT if weak_acid else NOT_SLOW
    if weak_rise:
        return FEW_LEFT if weak_acid else YEAST_SHORT
    return IDENTITY if weak_acid else NOT_SLOW


def discard_signs(case: Case, collection: Collection) -> str:
    """Return the signs of mould or of a colour that were noted in the culture's last round; empty without any."""
    own = case.ground.values.loc[case.ground.own]
    last = own.loc[own["of_round"] == own["of_round"].iloc[-1], "refeed"]
    refeeds = collection["refeeds"]
    noted = refeeds.loc[refeeds["refeed"].isin(last), "signs"].dropna().astype("str")
    told = noted[noted.str.contains(_DISCARD, case=False) & ~noted.str.contains(_NO_SUCH, case=False)]
    return "; ".join(dict.fromkeys(told))


def rescue_steps(
    case: Case, collection: Collection, ranked: pd.DataFrame, practice: Practice | None = None
) -> pd.DataFrame:
    """Return the steps of the trade for a culture, in their order.

    Parameters
    ----------
    case : Case
        Of the culture.
    collection : Collection
        The same records.
    ranked : pandas.DataFrame
        As from `suspects.rank_suspects`: whether a lot is suspected.
    practice : Practice, optional
        The numbers.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["rescue_steps"]``.
    """
    practice = practice or Practice()
    signs = discard_signs(case, collection)
    steps = _discarded(case, collection, signs) if signs else _by_curves(case, collection, ranked, practice)
    table = pd.DataFrame(list(steps), columns=_Step._fields)
    table.insert(0, "order", range(1, len(table) + 1))
    return table[_STEPS.names].astype(_STEPS.dtypes())


def _discarded(case: Case, collection: Collection, signs: str) -> Iterator[_Step]:
    yield _Step("discard", f"discard the whole jar: noted was '{signs}'", "mould or colour", MOULD)
    yield from _from_backups(case, collection, "the jar is gone")


def _by_curves(case: Case, collection: Collection, ranked: pd.DataFrame, practice: Practice) -> Iterator[_Step]:
    branch = branch_of(case)
    yield _Step(
        "set aside",
        f"put {practice.set_aside_g:g} g of the jar, untouched, into the cold under its own name",
        "whatever comes next may make it worse",
        f"{OLD_JAR} {RAW}",
    )
    yield _instrument(case, collection, practice)
    if branch == READ_FIRST:
        yield _Step("read", "read rise and pH over the next feeding", "a signal was not read", _ALIVE)
        return
    if branch == NOT_SLOW:
        yield _Step(
            "nothing yet",
            "feed it as usual and read the next round",
            "its last curves are its own normal, or nearly",
            "A steady jar that is fed against its habits changes.",
        )
        return
    if branch == IDENTITY:
        yield from _identity(case, collection)
        return
    yield _warmth(case, collection, branch, practice)
    yield _seed_share(case, collection, branch, practice)
    yield from _old_lot(case, collection, ranked)
    yield _Step(
        "look after it",
        f"after {practice.feedings} feedings hold rise and pH against its own baseline",
        "to know whether it helps",
        floor_caution(collection.settings.floor_ph, collection.settings.floor_h),
    )
    still = set(case.says.values()) == {NONE}
    why = "nothing moves: wake it now, beside the feeding" if still else "if feeding does not bring it back"
    yield from _from_backups(case, collection, why)


_ALIVE = "Never call it dead by its rise while the pH still falls."


def _instrument(case: Case, collection: Collection, practice: Practice) -> _Step:
    """Check what was read before believing it, with what is known of it already."""
    known = accounted(case, collection)
    told = known.loc[known["worth"], ["what", "signal", "words"]].drop_duplicates("words")
    said = "; ".join(told["words"]) or "nothing is known to be off"
    return _Step(
        "check the instrument",
        f"hold the probe against two buffers (off by more than {practice.probe_off_ph:g} pH: put it right first); "
        "read ruler and thermometer twice",
        said,
        "Rinse the probe between jars.",
    )


def _warmth(case: Case, collection: Collection, branch: str, practice: Practice) -> _Step:
    low, high = practice.few_left_degC if branch == FEW_LEFT else practice.yeast_short_degC
    known = accounted(case, collection)
    words = known.loc[(known["what"] == "warmth") & (known["signal"] == "rise"), "words"]
    return _Step(
        "warmth",
        f"keep the dough at {low:g} to {high:g} °C, measured in the dough",
        words.iloc[0] if len(words) else "how warm it stood is not known",
        "Warmer than that favours the bacteria over the yeast.",
    )


def _seed_share(case: Case, collection: Collection, branch: str, practice: Practice) -> _Step:
    own = feed_ratios(collection).get(case.culture, FeedRatio(1.0, 2.0, 2.0))
    if branch == YEAST_SHORT:
        ratio = FeedRatio(own.seed * practice.yeast_short_share, own.flour, own.water)
        return _Step(
            "seed share",
            f"{_grams(ratio, practice)}, fed every {practice.yeast_short_every_h:g} h, {practice.feedings} times",
            "acid is normal and the rise poor: yeast is short, and less acid carried over lets it grow",
            "Only while it still sours in time.",
        )
    return _Step(
        "seed share",
        f"{_grams(practice.few_left, practice)}; the next feeding only when it has risen {practice.risen_pct:g} % "
        f"or come to pH {practice.soured_ph:g}",
        "rise and acid are both slow: too few survivors",
        f"A small share of seed would dilute what is left. {_ALIVE}",
    )


def _grams(ratio: FeedRatio, practice: Practice) -> str:
    """Write a ratio with the grams of a small jar."""
    parts = ":".join(f"{part / ratio.seed:g}" for part in ratio)
    try:
        step = plan_steps(Wish(ratio, practice.jar_g, steps=1, seed_at_hand_g=practice.jar_g)).iloc[0]
    except CannotPlan:
        return parts
    return f"{parts} ({step['seed_g']:g} g seed, {step['flour_g']:g} g flour, {step['water_g']:g} g water)"


def _old_lot(case: Case, collection: Collection, ranked: pd.DataFrame) -> Iterator[_Step]:
    """Go back to the lot before, where one is suspected, and what is left of it."""
    suspected = ranked[(ranked["factor"] == "lot") & (ranked["share"] >= _SUSPECT_SHARE)]
    if suspected.empty:
        return
    lot = str(suspected["level"].iloc[0])
    stock = flour_stock(collection, case.on).set_index("lot")
    flour = stock["flour"].get(lot)
    others = stock[(stock["flour"] == flour) & (stock.index != lot) & stock["usable"].fillna(False).astype(bool)]
    left = ", ".join(f"{name} ({mass:.0f} g left)" for name, mass in others["left_g"].items())
    yield _Step(
        "back to another lot",
        f"feed it on {left} instead of {lot}" if left else f"get another lot of {flour}; until then feed sparingly",
        f"lot {lot} is suspected ({suspected['share'].iloc[0]:.0%})",
        "The flour carries part of what the culture is: another lot of the same flour, not another flour.",
    )


def _identity(case: Case, collection: Collection) -> Iterator[_Step]:
    yield _Step(
        "check identity before feeding on",
        "have the portion set aside compared with an older one (plating, or a fingerprint)",
        "it rises as ever or better, and sours slowly: another organism may have taken it over",
        "Vigour is not identity. Do not send it out, and make no back-up of it, before it is known.",
    )
    # whoever took it over was there before it showed
    before = case.onset.on - pd.Timedelta(days=_UNSEEN_ROUNDS * collection.settings.round_days)
    yield from _from_backups(case, collection, "if it is no longer itself", made_before=before)


def _from_backups(
    case: Case, collection: Collection, why: str, made_before: pd.Timestamp | None = None
) -> Iterator[_Step]:
    """Go to the duplicate, then to what is dried, then to what is frozen; the safety net says what there is."""
    made = forms(collection, case.on)
    there = made[(made["culture"] == case.culture) & made["state"].isin(_MAY_LIVE)]
    if made_before is not None:
        there = there[there["made_on"] < made_before]
    for kind, words in _FORMS.items():
        own = there[there["kind"] == kind].sort_values("made_on", kind="stable")
        if own.empty:
            continue
        last = own.iloc[-1]
        left = "" if pd.isna(last["units_left"]) else f", {last['units_left']} left"
        yield _Step(
            f"from {words}",
            f"wake {last['backup']} (made {last['made_on']:%Y-%m-%d}{left}; {last['state']})",
            why,
            "Never the last one: wake one portion, keep the others."
            if kind != "live_duplicate"
            else "Take half of it, and leave the rest where it is.",
        )
    if not there["kind"].isin(list(_FORMS)).any():
        earlier = "" if made_before is None else f" from before {made_before:%Y-%m-%d}"
        yield _Step(
            "no whole back-up",
            f"there is none{earlier}: the portion set aside is all there is; ask the depositor and those it went to",
            why,
            "Isolates bring back organisms, not the community.",
        )
