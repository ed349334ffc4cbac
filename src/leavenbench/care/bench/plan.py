"""From who is due to the bench sheets of a round."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import pandas as pd

from ...columns import RESULTS
from ...errors import CannotRead, Refused
from ...records.collection import Collection
from ..cautions import cautions_for
from ..expected import expected_bands, in_mm, usual_hours, usual_warmth_degC
from ..habits import TAKEN_OF_OLD_JAR, feed_ratios, last_jars, targets_g, usual_steps
from ..lots import lots_in_use, usual_blends
from ..steps import DENSITY, CannotPlan, Wish, plan_steps
from .order import gluten_free, in_order, suspicions
from .sheet import BenchSheet, identity_of

_SHEET = RESULTS["bench_sheet"]
#: What goes on no sheet with another group's.
ALL, EXTRA = "all", "extra"


def bench_sheets(
    collection: Collection, listed: pd.DataFrame, due: pd.DataFrame, on: dt.date, scale_g: float = 1.0
) -> list[BenchSheet]:
    """Make the bench sheets of a round, one for each step.

    Parameters
    ----------
    collection : Collection
        The records, read up to the end of that day.
    listed : pandas.DataFrame
        The watch list.
    due : pandas.DataFrame
        Who is fed: rows of `rounds.due_list`.
    on : datetime.date
        The day of the first step.
    scale_g : float
        What the scale shows [g].

    Returns
    -------
    list of BenchSheet
        Empty when nobody is due. Where a wish cannot be met, the row says so and what is planned instead.
    """
    if due.empty:
        return []
    kitchen = _Kitchen(collection, listed, on, scale_g)
    cultures, steps = due["culture"], round(collection.settings.steps_per_round)
    groups = due["group"].unique()
    group = groups[0] if len(groups) == 1 and groups[0] else ALL
    bands = {step: kitchen.bands(cultures, step, on) for step in range(1, steps + 1)}
    plans = {culture: kitchen.planned(culture, steps, bands) for culture in cultures}
    why = dict(zip(due["culture"], due["why"], strict=True))
    sheets: list[BenchSheet] = []
    for step in range(1, steps + 1):
        rows = pd.DataFrame([{**plans[culture][step - 1], "why": why[culture]} for culture in cultures])
        before = sheets[-1].flour if sheets else None
        sheets.append(kitchen.sheet(rows, on + dt.timedelta(days=step - 1), group, step, bands[step], before))
    return sheets


def extra_sheets(
    collection: Collection, listed: pd.DataFrame, cultures: Sequence[str], on: dt.date, scale_g: float = 1.0
) -> list[BenchSheet]:
    """Make the sheets of one more step, for jars that have not passed.

    Parameters
    ----------
    collection, listed, on, scale_g
        As for `bench_sheets`.
    cultures : sequence of str
        Whose jars.

    Returns
    -------
    list of BenchSheet
        One for each step that one of them comes to.

    Raises
    ------
    Refused
        A jar has passed.
    CannotRead
        A culture is unknown, or was never fed.
    """
    kitchen = _Kitchen(collection, listed, on, scale_g)
    steps: dict[int, list[str]] = {}
    for culture in dict.fromkeys(cultures):
        if culture not in kitchen.jars.index:
            raise CannotRead(f"'{culture}' was never fed in a round: there is no step to add. Correct the name.")
        jar = kitchen.jars.loc[culture]
        if pd.notna(jar["passed"]) and jar["passed"]:
            raise Refused(f"The jar of {culture} passed on {jar['fed_at']:%Y-%m-%d}: there is no step to add.")
        steps.setdefault(int(jar["step"]) + 1, []).append(culture)
    sheets = []
    for step, some in sorted(steps.items()):
        bands = kitchen.bands(pd.Series(some), step, on)
        rows = pd.DataFrame([{**kitchen.added(culture, step, bands), "why": "has not passed"} for culture in some])
        sheets.append(kitchen.sheet(rows, on, EXTRA, step, bands))
    return sheets


class _Kitchen:
    """Everything that the sheets of one day are made of."""

    def __init__(self, collection: Collection, listed: pd.DataFrame, on: dt.date, scale_g: float) -> None:
        self.collection, self.listed, self.scale_g = collection, listed, scale_g
        self.jars, self.usual = last_jars(collection), usual_steps(collection)
        self.ratios, self.targets = feed_ratios(collection), targets_g(collection)
        self.lots, self.blends = lots_in_use(collection, on), usual_blends(collection)
        self.flour_of_lot = collection["flour_lots"].set_index("lot")["flour"]
        self.vessels = collection["vessels"].set_index("vessel")
        self.told = collection["cultures"].set_index("culture")
        self.room_degC = usual_warmth_degC(collection, on)

    def bands(self, cultures: pd.Series, step: int, on: dt.date) -> pd.DataFrame:
        """Return what is expected at a step; one that is rarely fed is like the last usual one."""
        usual = round(self.collection.settings.steps_per_round)
        like = min(step, usual)
        hours = usual_hours(self.collection, like)
        return expected_bands(self.collection, cultures, like, hours, self.room_degC)

    def planned(self, culture: str, steps: int, bands: dict[int, pd.DataFrame]) -> list[dict]:
        """Return a culture's rows for all steps."""
        vessels = [self._vessel(culture, step) for step in range(1, steps + 1)]
        at_hand = TAKEN_OF_OLD_JAR * float(self.jars["mass_g"].get(culture, np.nan))
        wish = self._wish(culture, steps, at_hand, vessels, [bands[step] for step in range(1, steps + 1)])
        if isinstance(wish, str):
            return [self._row(culture, None, vessel, wish) for vessel in vessels]
        plan, remark = self._best(wish)
        rows = plan.to_dict("records") if plan is not None else [None] * steps
        return [self._row(culture, row, vessel, remark) for row, vessel in zip(rows, vessels, strict=True)]

    def added(self, culture: str, step: int, bands: pd.DataFrame) -> dict:
        """Return a culture's row for one more step, from the jar that has not passed."""
        vessel = self._vessel(culture, step)
        wish = self._wish(culture, 1, float(self.jars["mass_g"].get(culture, np.nan)), [vessel], [bands])
        if isinstance(wish, str):
            return self._row(culture, None, vessel, wish)
        plan, remark = self._best(wish._replace(usual_seed_g=()))
        return self._row(culture, None if plan is None else plan.to_dict("records")[0], vessel, remark)

    def sheet(
        self,
        rows: pd.DataFrame,
        day: dt.date,
        group: str,
        step: int,
        bands: pd.DataFrame,
        before: pd.DataFrame | None = None,
    ) -> BenchSheet:
        """Put rows in order, and everything around them; `before` is the flour of the step before."""
        cultures = rows["culture"]
        doubts = suspicions(self.collection, self.listed, cultures)
        why = rows["why"].where(doubts == "", rows["why"] + "; suspect: " + doubts)
        rows = rows.assign(
            gluten_free=gluten_free(self.collection, cultures),
            suspect=doubts != "",
            why=why,
            shelf=cultures.map(self.told["shelf"]).astype("str").fillna(""),
            shelf_order=cultures.map(self.told["shelf_order"]),
        )
        rows = in_order(rows)[_SHEET.names].astype(_SHEET.dtypes())
        flours = set(rows["flour"].dropna())
        known = self.collection["flours"]
        grains = {*flours, *known.loc[known["flour"].isin(flours), "grain"].dropna()}
        settings = self.collection.settings
        return BenchSheet(
            identity=identity_of(settings.title, day, group, step, rows),
            title=settings.title,
            day=day,
            group=group,
            step=step,
            rows=rows,
            hours=tuple(float(hour) for hour in sorted(bands["elapsed_h"].unique()))
            or usual_hours(self.collection, step),
            bands=in_mm(bands, self._starts_mm(rows, step)),
            flour=flour_to_bring(rows, before),
            room_degC=self.room_degC,
            cautions=tuple(
                cautions_for(sorted(grains), bool(rows["gluten_free"].any()), settings.floor_ph, settings.floor_h)
            ),
        )

    def _wish(
        self, culture: str, steps: int, at_hand: float, vessels: list[str], bands: list[pd.DataFrame]
    ) -> Wish | str:
        """Return what is wished of a culture, or what is not known to plan it."""
        ratio, target = self.ratios.get(culture), float(self.targets.get(culture, np.nan))
        if ratio is None or np.isnan(target):
            lacking = "feed ratio" if ratio is None else "target mass"
            return f"its {lacking} is not known: feed it as you think right, and write down what you weighed"
        seeds = [self._usual(culture, step, "seed_g") for step in range(1, steps + 1)]
        rises = [_usual_rise_pct(culture, band) for band in bands]
        jars = [float(self.vessels["volume_mL"].get(vessel, np.nan)) for vessel in vessels]
        return Wish(ratio, target, steps, at_hand, tuple(jars), tuple(rises), tuple(seeds), self.scale_g)

    def _best(self, wish: Wish) -> tuple[pd.DataFrame | None, str]:
        """Return the plan; where the target cannot be met, that of the most that can, and why."""
        try:
            return plan_steps(wish), ""
        except CannotPlan as error:
            said = str(error)
        low, high = 0.0, wish.target_g
        best = None
        for _ in range(12):
            middle = round((low + high) / 2.0 / wish.scale_g) * wish.scale_g
            try:
                best, low = plan_steps(wish._replace(target_g=middle)), middle
            except CannotPlan:
                high = middle
        if best is None:
            return None, f"{said[0].upper()}{said[1:]}"
        return best, f"{wish.target_g:g} g cannot be had ({said}); planned for {low:g} g"

    def _row(self, culture: str, planned: dict | None, vessel: str, remark: str) -> dict:
        row = dict.fromkeys(("seed_g", "flour_g", "water_g", "mass_g", "keep_g", "set_aside_g"), np.nan)
        row |= {name: planned[name] for name in row} if planned else {}
        return {
            "culture": culture,
            "name": self.told["name"].get(culture, pd.NA),
            "flour": self.told["flour"].get(culture, pd.NA),
            "lot": self._lot(culture, row["flour_g"]),
            "vessel": vessel,
            "tare_g": float(self.vessels["tare_g"].get(vessel, np.nan)),
            "remark": remark,
            **row,
        }

    def _lot(self, culture: str, flour_g: float) -> str:
        """Return the lot to weigh from; of a blend each lot with its mass."""
        flour = self.told["flour"].get(culture)
        blend = self.blends.get(culture, {})
        shares: dict[str, float] = {}
        for lot, share in blend.items():
            now = self.lots.get(self.flour_of_lot.get(lot), lot)
            shares[now] = shares.get(now, 0.0) + share
        if len(shares) > 1:
            return " + ".join(f"{lot} {mass:g} g" for lot, mass in parted(flour_g, shares, self.scale_g).items())
        return str(self.lots.get(flour, next(iter(shares), "")) or "")

    def _vessel(self, culture: str, step: int) -> str:
        """Return the jar that a culture usually has at a step, or had at the last one before it."""
        for at in range(step, 0, -1):
            vessel = self._usual(culture, at, "vessel")
            if isinstance(vessel, str):
                return vessel
        return ""

    def _usual(self, culture: str, step: int, what: str):  # type: ignore[no-untyped-def]
        return self.usual[what].get((culture, step), np.nan)

    def _starts_mm(self, rows: pd.DataFrame, step: int) -> pd.Series:
        """Return the height at which each dough will stand when fed [mm]: as usual in that jar, else by its width."""
        starts = {}
        for row in rows.to_dict("records"):
            per_g = self._usual(row["culture"], step, "start_mm_per_g")
            if np.isnan(per_g):
                across = float(self.vessels["inner_diameter_mm"].get(row["vessel"], np.nan))
                per_g = 4000.0 / (np.pi * across**2) / DENSITY
            starts[row["culture"]] = per_g * row["mass_g"]
        return pd.Series(starts, dtype=float)


def parted(flour_g: float, shares: dict[str, float], scale_g: float) -> dict[str, float]:
    """Part flour among lots, as the scale shows it, without a gram lost.

    Examples
    --------
    >>> parted(100, {"rye-1": 1 / 3, "wheat-1": 2 / 3}, 1.0)
    {'rye-1': 33.0, 'wheat-1': 67.0}
    """
    *first, last = shares
    parts = {lot: round(flour_g * shares[lot] / scale_g) * scale_g if flour_g > 0.0 else np.nan for lot in first}
    return parts | {last: round(flour_g - sum(parts.values()), 6)}


def flour_to_bring(rows: pd.DataFrame, before: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return how much of each lot a sheet needs, and with the steps before it so far, in the order of work."""
    needed: dict[str, list[float]] = {}
    for lot, flour_g in rows[["lot", "flour_g"]].itertuples(index=False):
        for part, mass in lots_of(lot, flour_g).items():
            needed.setdefault(part, []).append(mass)
    table = pd.DataFrame(
        [{"lot": lot, "mass_g": float(np.nansum(masses)), "jars": len(masses)} for lot, masses in needed.items()],
        columns=["lot", "mass_g", "jars"],
    )
    so_far = table["lot"].map({} if before is None else before.set_index("lot")["so_far_g"]).astype(float).fillna(0.0)
    return table.assign(so_far_g=so_far + table["mass_g"])


def lots_of(lot: str | float, flour_g: float) -> dict[str, float]:
    """Return the lots on a line with their masses [g].

    Examples
    --------
    >>> lots_of("rye-1 33 g + wheat-1 67 g", 100), lots_of("rye-1", 40)
    ({'rye-1': 33.0, 'wheat-1': 67.0}, {'rye-1': 40})
    """
    if not isinstance(lot, str) or not lot:
        return {}
    parts = lot.split(" + ")
    if len(parts) == 1:
        return {lot: flour_g}
    return {part.rsplit(" ", 2)[0]: float(part.rsplit(" ", 2)[1]) for part in parts}


def _usual_rise_pct(culture: str, bands: pd.DataFrame) -> float:
    """Return how far a culture usually rises at most [%]; 100 where that is not known (common practice, no source)."""
    own = bands[(bands["culture"] == culture) & (bands["signal"] == "rise")]
    return max(float(own["middle"].max()), 0.0) if len(own) else 100.0
