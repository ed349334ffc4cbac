"""The table of the early warning, for shelves from values and from readings alike.

- `declines`: every method at the same false alerts, ours beside the targets.
- `by_our_dial`: what the package's own thresholds make of the keeper's dial; the oracle has the dial's rate exactly.
- `steps`: steps, dips, and healthy cultures at `low`, at the dial at 1.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from fitting_speed import Line
from warning_methods import Method, at_rate, methods
from warning_scores import SOON, Rate, delays, false_alerts, mean_delay, share, soon, summed_up
from warning_shelves import DIALS, PACES, SHELVES, Watched, study

from leavenbench.watch.alert import FEWEST_ROUNDS, in_alert

#: What is asked: found in time and median rounds of warning, by pace; and the delay against the oracle's, by the dial.
IN_TIME = dict(zip(PACES, (0.99, 0.99, 0.99, 0.98), strict=True))
WARNING = dict(zip(PACES, (15.0, 8.0, 5.0, 3.0), strict=True))
AGAINST_ORACLE = dict(zip(DIALS, (1.25, 1.20, 1.15), strict=True))
#: The achieved false alerts over the dial, healthy cultures at low, and steps of 30 % seen.
FALSE_ALERTS, AT_LOW, STEPS_SEEN = 1.2, 0.01, 0.97
CELLS = "found % / warning / mean delay, at 3, 5, 8, 12 %"


def from_values(smaller: int, rounds: int) -> Iterator[Line]:
    """Measure the table on shelves of vigour values."""
    shelves = study(SHELVES // smaller)
    found = methods(shelves)
    yield from declines("values", shelves, found)
    yield from by_our_dial("values", shelves, found)


def steps_from_values(smaller: int, rounds: int) -> Iterator[Line]:
    """Measure steps, dips and standings at low on shelves of vigour values."""
    yield from steps("values", study(SHELVES // smaller))


def declines(source: str, shelves: Watched, found: dict[str, list[Method]]) -> Iterator[Line]:
    """Compare the methods at the same false alerts, each with its limit found by bisection."""
    for rate in DIALS:
        told = {name: at_rate(shelves, of, rate) for name, of in found.items()}
        at = f"{source}, at {rate:g} false alert{'s' * (rate > 1)} per 100 healthy culture-years"
        for name, of in told.items():
            yield in_short(f"{at}: {CELLS}", name, of)
        if rate == 1.0:
            yield from in_time(f"{at}: found before half strength", told["ours"])
            yield from warnings(f"{at}: median rounds of warning", told["ours"])
        oracle = mean_delay(told["oracle"])
        for name, of in told.items():
            if name != "oracle":
                most = AGAINST_ORACLE[rate] if name == "ours" else None
                yield against(f"{at}: mean delay over the oracle's", name, mean_delay(of) / oracle, most)


def in_short(figure: str, case: str, found: pd.DataFrame) -> Line:
    """Tell in one line what was found, pace by pace; the figure is the mean delay over the paces."""
    each = summed_up(found, 1).values()
    cells = (f"{100 * one.in_time[0]:.1f}/{one.warning[0]:.0f}/{one.mean[0]:.2f}" for one in each)
    low, high = np.quantile(mean_delay(found)[1:], (0.025, 0.975))
    note = f"{'  '.join(cells)}; mean {low:.2f}-{high:.2f}"
    return Line(figure, case, "", f"{mean_delay(found, 1)[0]:.2f}", None, note)


def in_time(figure: str, found: pd.DataFrame) -> Iterator[Line]:
    """Hold the share found in time against what is asked, pace by pace."""
    for pace, one in summed_up(found).items():
        told, target = float(one.in_time[0]), IN_TIME[pace]
        note = f"{one.words('in_time', '.1f', 100.0)}, {one.declines} declines"
        yield Line(figure, f"{pace:g} % a round", f">= {target:.0%}", f"{told:.1%}", told >= target, note)


def warnings(figure: str, found: pd.DataFrame) -> Iterator[Line]:
    """Hold the median rounds between an alert and half strength against what is asked, pace by pace."""
    for pace, one in summed_up(found).items():
        told, target = float(one.warning[0]), WARNING[pace]
        note = one.words("warning", ".0f")
        yield Line(figure, f"{pace:g} % a round", f">= {target:g}", f"{told:.0f}", told >= target, note)


def against(figure: str, case: str, ratio: np.ndarray, most: float | None) -> Line:
    """Tell the mean over the paces against the oracle's."""
    low, high = np.quantile(ratio[1:], (0.025, 0.975))
    met = None if most is None else bool(ratio[0] <= most)
    target = "" if most is None else f"<= {most:.2f}"
    return Line(figure, case, target, f"{ratio[0]:.3f}", met, f"{low:.3f}-{high:.3f}")


def by_our_dial(source: str, shelves: Watched, found: dict[str, list[Method]]) -> Iterator[Line]:
    """Tell what the package's own thresholds make of the dial."""
    by = f"{source}, by the package's own thresholds"
    alerts = {dial: in_alert(shelves.evidence, shelves.threshold[dial]) for dial in DIALS}
    for dial, alert in alerts.items():
        yield achieved(f"{by}: false alerts", dial, false_alerts(shelves, alert), FALSE_ALERTS * dial)
    told = {dial: delays(shelves, alert) for dial, alert in alerts.items()}
    for dial, of in told.items():
        yield in_short(f"{by}: {CELLS}", f"dial at {dial:g}", of)
    for dial, of in told.items():
        ratio = mean_delay(of) / mean_delay(at_rate(shelves, found["oracle"], dial))
        yield against(f"{by}: mean delay over the oracle's", f"dial at {dial:g}", ratio, AGAINST_ORACLE[dial])


def achieved(figure: str, dial: float, rate: Rate, most: float) -> Line:
    """Tell the false alerts that a dial made."""
    note = f"{rate.low:.2f}-{rate.high:.2f}; {rate.alerts} in {rate.years:,.0f} culture-years"
    return Line(figure, f"dial at {dial:g}", f"<= {most:.3g}", f"{rate.per_100:.2f}", rate.per_100 <= most, note)


def steps(source: str, shelves: Watched) -> Iterator[Line]:
    """Tell what becomes of steps and dips, and how many healthy cultures stand at low."""
    alert = in_alert(shelves.evidence, shelves.threshold[1.0])
    low = shelves.looks_low & ~alert & (shelves.series.nth >= FEWEST_ROUNDS - 1)
    figure = f"{source}, dial at 1: within {SOON} rounds of a step or dip"
    for story, percent in (("step", 30.0), ("step", 15.0), ("dip", 25.0)):
        for name, stands in (("alert or low", alert | low), ("alert", alert)):
            seen, note = share(soon(shelves, stands, story, percent))
            case = f"{story} of {percent:g} %: {name}"
            asked = case == "step of 30 %: alert or low"
            target, met = (f">= {STEPS_SEEN:.0%}", seen >= STEPS_SEEN) if asked else ("", None)
            yield Line(figure, case, target, f"{seen:.1%}", met, note)
    at_low, note = share(low[shelves.healthy])
    figure = f"{source}, dial at 1: healthy cultures standing at low"
    yield Line(figure, "share of their rounds", f"<= {AT_LOW:.0%}", f"{at_low:.2%}", at_low <= AT_LOW, note)
