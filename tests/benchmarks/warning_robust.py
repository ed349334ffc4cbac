"""What else happens on a shelf: false alerts when something strikes many jars at once, or chance is another.

- Struck: a month at -20 %; the three days of one group's round at -25 %; a flour lot at -25 %, fed to ten cultures; a
  probe that reads 15 % low from round 12 on, with which half the shelf is read. The day, month or lot is drawn anew
  for each shelf. Of the healthy cultures that met it and were not in alert before, those are flagged whose alert
  begins within three rounds; at 1 false alert per 100 culture-years half a percent does so anyway.
- Early: a fifth of the stories begins at round 4 or 5, when three or four rounds tell what is normal. Their delays are
  held against those of the others on the same shelves.
- Changed: shelves of 30 and of 500 cultures; other carry-overs; wandering with the heavy tails of Student's t with 4
  degrees of freedom, scaled to the same sd.

Everything runs at the package's own thresholds.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator

import numpy as np
import pandas as pd
from fitting_speed import Line
from vigour_values import Values
from warning_methods import at_rate, methods
from warning_scores import delays, false_alerts, mean_delay, share, summed_up
from warning_shelves import DIALS, EARLY, NOISE, PACES, ROUNDS, SHELVES, Watched, study_shelf, watched
from warning_table import FALSE_ALERTS, achieved, in_time

from leavenbench.simulate import Simulated
from leavenbench.watch.alert import entries, in_alert

#: Shelves for each thing that strikes or changes, and those of other sizes, with as many culture-years.
STRUCK, OF_SIZE = 24, {30: 100, 500: 8}
CARRY_OVERS = (0.0, 0.5, 0.7)
MOST_WITH_CARRY_OVER, MOST_WITH_HEAVY_TAILS, MOST_WITH_PROBE, MOST_ADDED = 2.0, 2.5, 1.3, 0.5
_SOON, _SHARE_EARLY = 3, 0.2
_LOT_CULTURES, _PROBE_FROM = 10, 12
_SLOW_MONTH, _SLOW_DAYS, _POOR_LOT, _LOW_PROBE = np.log([0.80, 0.75, 0.75, 0.85])
#: Months from the first that may be struck, and their distance from the last.
_FROM_MONTH, _TO_MONTH = 14, -8


def struck_and_changed(smaller: int, rounds: int) -> Iterator[Line]:
    """Measure all of it."""
    yield from struck(smaller)
    yield from early(smaller)
    yield from changed(smaller)


def struck(smaller: int) -> Iterator[Line]:
    """Count the healthy cultures that are flagged after something struck them."""
    figure = f"dial at 1: flagged within {_SOON} rounds of what strikes many"
    for case, (strike, most) in _STRIKES.items():
        shelves = watched(study_shelf(seed, strike=strike) for seed in range(STRUCK // smaller))
        alert = in_alert(shelves.evidence, shelves.threshold[1.0])
        flagged, note = share(flagged_singly(shelves, alert))
        yield Line(figure, case, f"<= {most:.0%}", f"{flagged:.2%}", flagged <= most, note)
    shelves = watched(study_shelf(seed, strike=low_probe) for seed in range(STRUCK // smaller))
    rate = false_alerts(shelves, in_alert(shelves.evidence, shelves.threshold[1.0]))
    yield achieved("a probe that reads 15 % low from round 12 on: false alerts", 1.0, rate, MOST_WITH_PROBE)


def flagged_singly(shelves: Watched, alert: np.ndarray) -> np.ndarray:
    """Tell of each healthy culture that was struck whether its alert began within three rounds."""
    series = shelves.series
    levels = shelves.levels.assign(first=series.first, began=entries(alert, series.first), alert=alert)
    since = levels["round"] - levels["first"].map(levels[levels["struck"]].groupby("first")["round"].min())
    before = levels[since == -1].set_index("first")["alert"]
    told = (
        levels[since.between(0, _SOON - 1)]
        .groupby("first")
        .agg(began=("began", "any"), last=("round", "max"), onset=("onset", "first"))
    )
    already = before.reindex(told.index).fillna(False).astype(bool)
    return told.loc[(told["last"] < told["onset"]) & ~already, "began"].to_numpy()


def slow_month(shelf: Values, made: Simulated, rng: np.random.Generator) -> Values:
    """Strike a month."""
    month = rng.choice(np.sort(shelf.values["month"].unique())[_FROM_MONTH:_TO_MONTH])
    return _lowered(shelf, shelf.values["month"] == month, _SLOW_MONTH)


def slow_days(shelf: Values, made: Simulated, rng: np.random.Generator) -> Values:
    """Strike the three days of a group's round."""
    months = np.sort(shelf.values["month"].unique())[_FROM_MONTH:_TO_MONTH]
    begins = shelf.values[(shelf.values["step"] == 1) & shelf.values["month"].isin(months)]["fed_at"].dt.normalize()
    day = rng.choice(np.sort(begins.unique()))
    since = (shelf.values["fed_at"].dt.normalize() - day).dt.days
    return _lowered(shelf, since.between(0, 2), _SLOW_DAYS)


def poor_lot(shelf: Values, made: Simulated, rng: np.random.Generator) -> Values:
    """Give ten cultures a sack of their own of a lot, and a poor one."""
    fed = shelf.lots.merge(shelf.values[["refeed", "culture", "month"]], on="refeed")
    months = np.sort(fed["month"].unique())
    begins = fed.groupby("lot")["month"].min()
    lot = rng.choice(begins.index[begins.between(months[_FROM_MONTH], months[_TO_MONTH])])
    eaters = rng.choice(np.sort(fed.loc[fed["lot"] == lot, "culture"].unique()), _LOT_CULTURES, replace=False)
    refeeds = fed.loc[(fed["lot"] == lot) & fed["culture"].isin(eaters), "refeed"]
    lots = shelf.lots.assign(lot=shelf.lots["lot"].mask(shelf.lots["refeed"].isin(refeeds), f"{lot}, poor sack"))
    return _lowered(shelf._replace(lots=lots), shelf.values["refeed"].isin(refeeds), _POOR_LOT)


def low_probe(shelf: Values, made: Simulated, rng: np.random.Generator) -> Values:
    """Read half of the shelf with a probe that shows too little from some round on."""
    cultures = np.sort(shelf.values["culture"].unique())
    probe = dict(zip(cultures, rng.permutation(np.resize(["P1", "P2"], len(cultures))), strict=True))
    values = shelf.values.assign(probe=shelf.values["culture"].map(probe))
    read_low = (values["probe"] == "P2") & (values["round"] >= _PROBE_FROM)
    return _lowered(shelf._replace(values=values), read_low, _LOW_PROBE)


def heavy_tails(shelf: Values, made: Simulated, rng: np.random.Generator) -> Values:
    """Let cultures wander with the tails of Student's t in place of normal ones."""
    sd = made.truth["cultures"].set_index("culture")["round_sd"]
    fresh = rng.standard_t(4.0, (len(sd), ROUNDS)) / np.sqrt(2.0)  # t with 4 degrees of freedom has the variance 2
    fresh[:, 1:] *= np.sqrt(1.0 - NOISE.carry_over**2)
    for now in range(1, ROUNDS):
        fresh[:, now] += NOISE.carry_over * fresh[:, now - 1]
    place = (sd.index.get_indexer(shelf.values["culture"]), shelf.values["round"].to_numpy(int) - 1)
    wander = fresh[place] * sd.to_numpy()[place[0]]
    instead = shelf.values["log_vigour"] + wander - shelf.true["log_wander"]
    return shelf._replace(values=shelf.values.assign(log_vigour=instead))


def _lowered(shelf: Values, rows: pd.Series, by: float) -> Values:
    values = shelf.values
    return shelf._replace(values=values.assign(log_vigour=values["log_vigour"] + by * rows, struck=rows))


_STRIKES: dict[str, tuple[Callable[[Values, Simulated, np.random.Generator], Values], float]] = {
    "a month at -20 %": (slow_month, 0.01),
    "three days at -25 %": (slow_days, 0.01),
    "a lot at -25 %, ten cultures": (poor_lot, 0.02),
}


def early(smaller: int) -> Iterator[Line]:
    """Hold declines that begin at round 4 or 5 against later ones of the same shelves."""
    shelves = watched(study_shelf(seed, early=_SHARE_EARLY) for seed in range(SHELVES // smaller))
    ours = delays(shelves, in_alert(shelves.evidence, shelves.threshold[1.0]))
    figure = "dial at 1, onset at round 4 or 5: "
    yield from in_time(f"{figure}found before half strength", ours[ours["onset"] < EARLY])
    figure = f"{figure}added delay [rounds]"
    yield _added(figure, "ours", ours, MOST_ADDED)
    yield _added(figure, "the oracle's, at 1 false alert", at_rate(shelves, methods(shelves)["oracle"], 1.0), None)


def _added(figure: str, case: str, found: pd.DataFrame, most: float | None) -> Line:
    """Tell what the mean delay of early declines is over that of later ones."""
    soon, later = (found[of] for of in (found["onset"] < EARLY, found["onset"] >= EARLY))
    added = [
        one.mean[0] - other.mean[0]
        for one, other in zip(*(summed_up(of).values() for of in (soon, later)), strict=True)
    ]
    paces = ", ".join(f"{pace:g} %: {of:+.2f}" for pace, of in zip(PACES, added, strict=True))
    low, high = np.quantile((mean_delay(soon) - mean_delay(later))[1:], (0.025, 0.975))
    mean = float(np.mean(added))
    target, met = ("", None) if most is None else (f"<= {most:g}", mean <= most)
    return Line(figure, case, target, f"{mean:.2f}", met, f"{low:.2f}-{high:.2f}; {paces}; {len(soon)} early ones")


def changed(smaller: int) -> Iterator[Line]:
    """Count false alerts on shelves of other sizes and with other chances."""
    figure = "false alerts by the package's own thresholds: "
    for cultures, many in OF_SIZE.items():
        shelves = watched(study_shelf(seed, cultures=cultures) for seed in range(max(many // smaller, 1)))
        yield from _each_dial(f"{figure}{cultures} cultures", shelves, FALSE_ALERTS)
    for carry_over in CARRY_OVERS:
        noise = dataclasses.replace(NOISE, carry_over=carry_over)
        shelves = watched(study_shelf(seed, noise=noise) for seed in range(STRUCK // smaller))
        yield from _each_dial(f"{figure}carry-over {carry_over:g}", shelves, MOST_WITH_CARRY_OVER)
    shelves = watched(study_shelf(seed, strike=heavy_tails) for seed in range(STRUCK // smaller))
    yield from _each_dial(f"{figure}heavy tails", shelves, MOST_WITH_HEAVY_TAILS)


def _each_dial(figure: str, shelves: Watched, most: float) -> Iterator[Line]:
    for dial in DIALS:
        rate = false_alerts(shelves, in_alert(shelves.evidence, shelves.threshold[dial]))
        yield achieved(figure, dial, rate, most * dial)
