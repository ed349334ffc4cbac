"""The page of one culture, for whoever gave it: how it does, how it was fed, what is kept of it, in plain words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import Element

import pandas as pd

from ...care.backups.cover import cover
from ...care.backups.forms import form_words, forms
from ...care.cautions import DEFER, MOULD, RAW
from ...care.feeding import FeedRatio
from ...care.flour import flour_used
from ...care.habits import feed_ratios
from ...records.as_of import days_of
from ...records.collection import Collection
from ...watch.watch_list import watch_list
from ..figures import plot_curve, plot_vigour
from ..figures.style import new_axes
from ..html_page import add, page_bytes
from ..secret_words import WITHHELD
from .page import add_list, add_picture, add_table, new_page
from .pictures import picture
from .reckoned import Reckoned

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: What each standing comes to, in plain words.
_STANDS = {
    "steady": "It is as strong as it usually is.",
    "slipping": "It is losing strength.",
    "low": "It no longer weakens, but it has settled under its own usual strength.",
    "urgent": "It needs help now: it has lost much of its strength, or shows no life.",
    "unknown": "There are too few sound readings to say how it does.",
}
_SOURED = {
    "met": "At its last feeding it soured far enough in time.",
    "missed": "At its last feeding it did not sour far enough in time. Until it does, nothing of it is passed on.",
    "not measured": "Whether it soured far enough at its last feeding was not measured.",
}
_COVERED = {
    "full": "Should its jar be lost, it can be brought back: a form of the whole community is kept, and came alive "
    "when it was last tried.",
    "unproven": "A form of the whole community is kept. Whether it comes alive is not proven.",
    "partial": "Isolates of its organisms are kept. They bring back organisms, not the community.",
    "none": "Nothing is kept of it beside its jar.",
}
#: Of the two pictures [inch]: both find room on the first sheet.
_SIZE = (6.3, 3.1)
_DRAWN = ("fitted", "peak not reached")
_SHARES = ["lag_h_prior_share", "max_rate_prior_share", "extent_prior_share"]


@dataclass(frozen=True)
class Told:
    """What is told of all cultures at once, from which each page takes its own.

    Attributes
    ----------
    reckoned : Reckoned
        The collection at the end of the year; no depositor may be named in it.
    listed, cover, forms : pandas.DataFrame
        The watch list, the cover by culture, and the back-ups, at the end of the year.
    fed, flour : pandas.DataFrame
        The refeeds of the year, and the flour fed in them.
    ratios : mapping of str to FeedRatio
        Each culture's feed ratio, where it is known.
    """

    reckoned: Reckoned
    listed: pd.DataFrame
    cover: pd.DataFrame
    forms: pd.DataFrame
    fed: pd.DataFrame
    flour: pd.DataFrame
    ratios: Mapping[str, FeedRatio]

    @classmethod
    def of(cls, reckoned: Reckoned) -> Told:
        """Tell it of a collection."""
        collection, on, year = reckoned.collection, reckoned.on, reckoned.year
        refeeds, used = collection["refeeds"], flour_used(collection, on)
        return cls(
            reckoned=reckoned,
            listed=watch_list(collection, reckoned.curves, reckoned.vigour, on, reckoned.causes),
            cover=cover(collection, on).set_index("culture"),
            forms=forms(collection, on),
            fed=refeeds[refeeds["fed_at"].dt.year == year],
            flour=used[used["used_on"].dt.year == year],
            ratios=feed_ratios(collection),
        )

    @property
    def year(self) -> int:
        """The year."""
        return self.reckoned.year

    @property
    def collection(self) -> Collection:
        """The records."""
        return self.reckoned.collection


def culture_page(told: Told, culture: str) -> bytes:
    """Return the page of one living culture.

    Parameters
    ----------
    told : Told
        What is told of all cultures at once.
    culture : str
        Which culture.

    Returns
    -------
    bytes
        A page that needs nothing beside it.
    """
    row: dict[str, Any] = told.listed.set_index("culture").loc[culture].to_dict()
    page, main = new_page(f"{culture} in {told.year}")
    add(main, "h1", f"{culture} in {told.year}")
    title = told.collection.settings.title
    whose = "the collection's records" if WITHHELD in title else f"the records of {title}"
    add(main, "p", f"What is told here stands in {whose} up to the end of {told.year}.")
    _add_how_it_does(main, told, culture, row)
    _add_how_it_was_fed(main, told, culture)
    _add_what_is_kept(main, told, culture)
    _add_what_happened(main, told, culture)
    add(main, "h2", "To bear in mind")
    add_list(main, ["How strong a culture is says nothing of whether it is still itself.", RAW, MOULD, DEFER])
    return page_bytes(page)


def _add_how_it_does(main: Element, told: Told, culture: str, row: dict[str, Any]) -> None:
    add(main, "h2", "How it does")
    add(main, "p", _STANDS[row["standing"]])
    add_list(main, [line for line in (_level(row), _change(row), _SOURED.get(row["floor"], ""), _itself(row)) if line])
    own = told.reckoned.vigour[told.reckoned.vigour["culture"] == culture].dropna(subset="vigour_pct_own")
    if own.empty:
        add(main, "p", "No strength could be reckoned from its readings.", class_="missing")
        return
    first, last = own["fed_at"].min(), own["fed_at"].max()
    since = f"{len(own)} feedings in {own['round'].nunique()} rounds, {first:%B %Y} to {last:%B %Y}"
    caption = (
        f"Its strength over its rounds: {since}. 100 % is what is usual for it; each round against its own "
        "baseline, what the whole shelf shared taken out; the band and the fan hold in eight of ten cases."
    )
    alt = f"Strength of {culture} against its own usual, round by round: {since}. {_level(row)}"
    drawn = picture("vigour", caption, alt, lambda: _draw_vigour(told, culture))
    add_picture(main, drawn)
    _add_curve(main, told, culture)


def _add_curve(main: Element, told: Told, culture: str) -> None:
    """Add its last curve that stands on its own readings."""
    leading = told.collection["cultures"].set_index("culture")["leading_signal"].get(culture)
    signal = leading if isinstance(leading, str) else "rise"
    curves = told.reckoned.curves
    own = curves[(curves["culture"] == culture) & curves["status"].isin(_DRAWN)]
    own = own[(own["signal"] == signal) & (own["fed_at"].dt.year == told.year)]
    own = own[(own[_SHARES].fillna(0.0) == 0.0).all(axis=1)]
    if own.empty:
        add(main, "p", f"No curve of {told.year} could be drawn from its readings alone.", class_="missing")
        return
    last = own.iloc[-1].to_dict()
    what = "rise" if signal == "rise" else "souring"
    size = f"{last['extent']:.0f} %" if signal == "rise" else f"{last['extent']:.1f} pH units"
    read = f"{last['readings']} readings of {last['fed_at']:%d %B %Y}"
    caption = f"Its last {what} that could be drawn: {read}; the fitted curve ({last['model']}) with its 95 % band."
    alt = f"The {what} of {culture} over the hours since feeding, {read}: it comes to {size}."
    drawn = picture("curve", caption, alt, lambda: _draw_curve(told, last["refeed"], signal))
    add_picture(main, drawn)


def _draw_vigour(told: Told, culture: str) -> Axes:
    known, axes = told.reckoned, new_axes(*_SIZE)
    return plot_vigour(told.collection, known.vigour, culture, causes=known.causes, listed=told.listed, ax=axes)


def _draw_curve(told: Told, refeed: str, signal: str) -> Axes:
    return plot_curve(told.collection, refeed, signal, ax=new_axes(*_SIZE))


def _add_how_it_was_fed(main: Element, told: Told, culture: str) -> None:
    add(main, "h2", "How it was fed")
    fed = told.fed[told.fed["culture"] == culture]
    if fed.empty:
        add(main, "p", f"No feeding is noted in {told.year}.", class_="missing")
        return
    grams = told.flour[told.flour["culture"] == culture].groupby("flour")["mass_g"].sum()
    rounds = fed["round"].nunique()
    fed_words = f"It was fed {_times(len(fed))} in {told.year}, in {rounds} round{'' if rounds == 1 else 's'}"
    flours = ", ".join(f"{mass:,.0f} g of {flour}" for flour, mass in grams.items())
    ratio = told.ratios.get(culture)
    parts = f" Its parts of seed, flour and water are {':'.join(f'{part:g}' for part in ratio)}." if ratio else ""
    add(main, "p", f"{fed_words}{f', with {flours}' if flours else ''}.{parts}")
    table = _rounds_of(fed, told.reckoned.vigour)
    add_table(main, table, f"Its rounds: {len(fed)} feedings in {told.year}; strength is the middle of the steps read.")


def _add_what_is_kept(main: Element, told: Told, culture: str) -> None:
    add(main, "h2", "What is kept of it")
    row = told.cover.loc[culture]
    add(main, "p", _COVERED[row["cover"]])
    if pd.notna(row["identity_proven_on"]):
        add(main, "p", f"It was last proven to be itself on {row['identity_proven_on']:%d %B %Y}.")
    own = told.forms[told.forms["culture"] == culture]
    if own.empty:
        return
    table = pd.DataFrame(
        {
            "form": own["kind"].map(form_words, na_action=None),
            "made on": own["made_on"],
            "portions left": own["units_left"],
            "known to live": own["state"],
            "last came alive": own["alive_on"],
        }
    )
    add_table(main, table, f"Its back-ups: {len(own)} at the end of {told.year}, as the records tell.")


def _add_what_happened(main: Element, told: Told, culture: str) -> None:
    events, sent = told.collection["events"], told.collection["dispatches"]
    own = events[(events["culture"] == culture) & (events["happened_on"].dt.year == told.year)]
    out = sent[(sent["culture"] == culture) & (sent["sent_on"].dt.year == told.year)]
    if own.empty and out.empty:
        return
    add(main, "h2", "What happened")
    add_list(
        main, [f"{row.happened_on:%d %B %Y}: {_kind(row.kind)}{_because(row.reason)}." for row in own.itertuples()]
    )
    add_list(
        main, [f"{row.sent_on:%d %B %Y}: a portion was sent out{_because(row.reason)}." for row in out.itertuples()]
    )


def _level(row: dict[str, Any]) -> str:
    if pd.isna(row["vigour_pct"]):
        return ""
    told = f"At its last round it had {row['vigour_pct']:.0f} % of its own usual strength"
    return f"{told} (in eight of ten cases {row['vigour_low_pct']:.0f} to {row['vigour_high_pct']:.0f} %)."


def _change(row: dict[str, Any]) -> str:
    if pd.isna(row["change_per_round_pct"]):
        return ""
    # + 0.0: nothing has no sign
    change, low, high = (f"{round(row[f'change_per_round_pct{side}'], 1) + 0.0:+.1f}" for side in ("", "_low", "_high"))
    return f"From round to round it changes by {change} % ({low} to {high} %)."


def _itself(row: dict[str, Any]) -> str:
    if not row["identity_doubt"] or pd.isna(row["identity_doubt"]):
        return ""
    return "It was stronger than it ever was before: whether it is still itself is to be looked into."


def _rounds_of(fed: pd.DataFrame, vigour: pd.DataFrame) -> pd.DataFrame:
    """Return the rounds of one culture in a year."""
    known = fed.merge(vigour[["refeed", "vigour_pct_own"]], how="left", on="refeed").sort_values(
        "fed_at", kind="stable"
    )
    known["day"] = days_of(known["fed_at"])
    rounds = known.groupby("round", dropna=False, sort=False)
    passed = rounds["passed"].last().map({True: "yes", False: "no"}).astype("str").fillna("not noted")
    return pd.DataFrame(
        {
            "begun on": rounds["day"].min(),
            "feedings": rounds.size(),
            "flour [g]": rounds["flour_g"].sum(min_count=1),
            "passed": passed,
            "strength [% of usual]": rounds["vigour_pct_own"].median(),
        }
    ).reset_index(drop=True)


def _kind(kind: object) -> str:
    return kind if isinstance(kind, str) else "something that was not named"


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


def _because(reason: object) -> str:
    return f" ({reason})" if isinstance(reason, str) else ""
