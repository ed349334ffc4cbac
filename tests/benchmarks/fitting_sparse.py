"""How good sparse, cut-off and misread curves are when a culture's past helps: measured, not asserted.

A user's two passes: `trace_shelf` by itself, then `history_prior` and `noise_by_kind` of what came of it, and
`trace_shelf` with both. What is asked for is traced as jars that were all fed on one day, after the earlier refeeds.

- An error is that of the refeed's own truth, relative. A trait that is missing, only 'at least', or that of a jar said
  to be idle is no answer: it counts as infinitely wrong in a median, and nowhere else.
- The free fit is the least-squares curve and nothing else: `search` of the logistic and the Gompertz curve, the one
  with the lower residual sum, its parameters as they are. Its extent is the asymptote, however far beyond the last
  reading; only the bounds of `search` hold it (an asymptote at most five times as far as the readings came). Three
  readings allow none.
- The past alone is the median of the culture's earlier answers in the first pass, without a look at the jar.
- Biases of extent and rate are those of logarithms: the geometric mean of estimate over truth, less 1. Of a lag, which
  may be zero, it is the plain mean. The median stands beside, and both of the free fit.
- Intervals reach 1.96 standard errors either way where anything was borrowed, else as many as Student's t asks for at
  readings less parameters. Those without a standard error are none: how many there are stands beside.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from itertools import product
from typing import NamedTuple

import numpy as np
import pandas as pd
from fitting_histories import (
    CUT_6,
    CUT_6_PH,
    CUT_12,
    FORMS,
    FULL_6,
    FULL_6_PH,
    FULL_10,
    FULL_12,
    FULL_40,
    HALF,
    HALF_UNASKED,
    NORMAL,
    Plan,
    Refeeds,
    as_kept,
    earlier,
    fed_now,
    in_its_unit,
    read_by,
    shelf,
)
from fitting_speed import SEED, Line, alternating
from scipy.stats import norm
from scipy.stats import t as student

from leavenbench.curves import history_prior, noise_by_kind, trace_shelf
from leavenbench.curves.noise import INSTRUMENTS, numbers_fitted
from leavenbench.curves.rows import Shelf
from leavenbench.curves.search import search
from leavenbench.curves.traces import trace_signals

TRAITS = ("extent", "max_rate", "lag_h")
CULTURES, JARS, JARS_TIMED = 150, 8, (40, 160)
MISREAD_MM = 30.0


class Past(NamedTuple):
    """The cultures, how they are read, and their earlier refeeds after the first pass, beside what the log knows."""

    cultures: Refeeds
    kind: str
    curves: pd.DataFrame


def past_of(cultures: Refeeds, kind: str) -> Past:
    """Feed each culture some rounds in a row, read it as a keeper does, and trace what was read."""
    rng = np.random.default_rng([SEED, 300])
    before = earlier(cultures, rng)
    return Past(cultures, kind, trace_shelf(as_kept(before, rng, kind)).merge(before.log(), on="refeed"))


class Answers(NamedTuple):
    """What the jars of a plan are and what is said of them: truth and free fit (3, m), rows of either pass."""

    plan: Plan
    truth: np.ndarray
    free: np.ndarray
    first: pd.DataFrame
    rows: pd.DataFrame


def with_a_past(smaller: int, rounds: int) -> Iterator[Line]:
    """Measure everything that a past is good for."""
    cultures = shelf(CULTURES // smaller, np.random.default_rng(SEED))
    past, by_probe = past_of(cultures, "height_mm"), past_of(cultures, "ph_direct")
    normal = [answered(past, plan, number) for number, plan in enumerate(NORMAL)]
    half = [answered(past, plan, len(NORMAL) + number) for number, plan in enumerate((*HALF, *HALF_UNASKED))]
    acid = [answered(by_probe, plan, 50 + number) for number, plan in enumerate((FULL_6_PH, CUT_6_PH))]
    yield from against_free((*normal, *acid))
    yield from errors(past, normal)
    yield from errors(by_probe, acid)
    yield from biases(half)
    yield from biases(normal)
    alone = [of._replace(rows=of.first) for of in (*normal, *acid) if of.plan.readings > len(TRAITS)]
    yield from coverage("coverage of 95 % intervals, each refeed by itself", alone, 0.92, 0.98)
    yield from coverage("coverage of 95 % intervals with history, no conflict", (*normal, *acid), 0.92, 0.98)
    yield from coverage("coverage of 95 % intervals with history, half strength", half, 0.88, 1.0)
    yield from conflicts(normal, half)
    yield from misread(past)
    yield from times(past, rounds)


def answered(past: Past, plan: Plan, number: int) -> Answers:
    """Feed the jars of a plan, read them, and ask."""
    rng = np.random.default_rng([SEED, number])
    jars = fed_now(past.cultures, JARS, plan, rng)
    observed = read_by(plan, jars, rng, past.kind)
    first, rows = both_passes(past, jars, observed)
    return Answers(plan, in_its_unit(jars.truth, past.kind), free_fit(observed, plan.readings, past.kind), first, rows)


def both_passes(past: Past, jars: Refeeds, observed: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Trace jars by themselves, then with what their cultures' past says of them."""
    first = trace_shelf(observed)
    return first, trace_shelf(observed, *_known(past, first.merge(jars.log(), on="refeed")))


def _known(past: Past, first: pd.DataFrame) -> tuple[pd.DataFrame, dict[str, float]]:
    """Return what the past lets expect of each jar, one of a culture at a time, and the noise."""
    alone = [of_each for _, of_each in first.groupby(first.groupby("culture").cumcount())]
    prior = pd.concat([history_prior(pd.concat([past.curves, of_each], ignore_index=True)) for of_each in alone])
    prior = prior[prior["refeed"].isin(first["refeed"])].reset_index(drop=True)
    return prior, noise_by_kind(pd.concat([past.curves, first], ignore_index=True))


def free_fit(observed: pd.DataFrame, readings: int, kind: str) -> np.ndarray:
    """Return asymptote, steepest rate and lag of the plain least-squares curve of each jar, as of its traits."""
    t, y = (observed[name].to_numpy().reshape(-1, readings).T.copy() for name in ("elapsed_h", "value"))
    if readings <= len(TRAITS):  # fewer than the numbers of a curve on its start
        return np.full((len(TRAITS), t.shape[1]), np.nan)
    logistic, gompertz = (search(form, t, INSTRUMENTS[kind].sign * y) for form in FORMS)
    worse = np.nan_to_num(logistic.rss, nan=np.inf) > np.nan_to_num(gompertz.rss, nan=np.inf)
    start, extent, rate, lag = np.where(worse, gompertz.parameters, logistic.parameters)
    by = 100.0 / start if kind == "height_mm" else 1.0
    return np.stack((by * extent, by * rate, lag))


def answers(rows: pd.DataFrame) -> np.ndarray:
    """Return the traits of curves, shape (3, m); NaN where there is no curve, or only 'at least'."""
    idle, bounds = rows["status"] == "no activity", rows["lower_bounds"].str
    return np.array([rows[trait].mask(idle | bounds.contains(rf"\b{trait}\b")).to_numpy() for trait in TRAITS])


def median_errors(found: np.ndarray, truth: np.ndarray) -> np.ndarray:
    """Return the median relative error of each trait; no answer is infinitely wrong."""
    return np.median(np.nan_to_num(np.abs(found / truth - 1.0), nan=np.inf), axis=1)


def against_free(asked: Sequence[Answers]) -> Iterator[Line]:
    """Compare with the free fit of the same readings."""
    figure = "error of the free fit over that with history"
    for of in asked:
        if np.isnan(of.free).all():
            continue
        free, ours = (median_errors(found, of.truth) for found in (of.free, answers(of.rows)))
        for place, (trait, least) in enumerate(zip(TRAITS, (5.0, 2.0, 1.8), strict=True)):
            times, asked_for = free[place] / ours[place], of.plan is CUT_12
            yield Line(
                figure,
                f"{of.plan.name}: {trait}",
                f">= {least:g}x" if asked_for else "",
                f"{times:.2f}x",
                times >= least if asked_for else None,
                f"free {free[place]:.1%}, with history {ours[place]:.1%}",
            )


def errors(past: Past, asked: Sequence[Answers]) -> Iterator[Line]:
    """Say how far off the answers are."""
    known = pd.DataFrame(answers(past.curves).T, columns=list(TRAITS)).groupby(past.curves["culture"]).median()
    alone = np.repeat(known.to_numpy().T, JARS, axis=1)
    for of in asked:
        found = answers(of.rows)
        ours, without = median_errors(found, of.truth), median_errors(alone, of.truth)
        shares = [of.rows[f"{trait}_prior_share"].median() for trait in TRAITS]
        for place, (trait, most) in enumerate(zip(TRAITS, (0.08, 0.12, None), strict=True)):
            asked_for = most is not None and of.plan in (FULL_6, CUT_6)
            yield Line(
                "median error with history",
                f"{of.plan.name}: {trait}",
                f"<= {most:.0%}" if asked_for else "",
                f"{ours[place]:.1%}",
                ours[place] <= most if asked_for else None,
                f"the past alone {without[place]:.1%}; borrowed {shares[place]:.0%} (median); "
                f"no answer {np.isnan(found[place]).mean():.1%}",
            )


def biases(asked: Sequence[Answers]) -> Iterator[Line]:
    """Say which way the answers are off, of jars that are no longer what their culture was, and of those that are."""
    for of in asked:
        ours, free = (biases_of(found, of.truth) for found in (answers(of.rows), of.free))
        for trait, (bias, middle), (free_bias, free_middle) in zip(TRAITS, ours, free, strict=True):
            asked_for = of.plan in HALF and trait != "lag_h"
            of_free = f"; free fit {free_bias:+.1%}, median {free_middle:+.1%}" if np.isfinite(free_bias) else ""
            yield Line(
                "bias with history at full strength",
                f"{of.plan.name}: {trait}",
                "within 5 %" if asked_for else "",
                f"{bias:+.1%}",
                abs(bias) <= 0.05 if asked_for else None,
                f"median {middle:+.1%}{of_free}",
            )


def biases_of(found: np.ndarray, truth: np.ndarray) -> list[tuple[float, float]]:
    """Return how far each trait is off on average, a lag as it is and the others by their logarithms, and median."""
    ratio = found / truth
    extent, rate, lag = np.nanmean(np.vstack((np.log(ratio[:2]), ratio[2:])), axis=1)
    means = (np.expm1(extent), np.expm1(rate), lag - 1.0)
    return list(zip(means, np.nanmedian(ratio, axis=1) - 1.0, strict=True))


def coverage(figure: str, asked: Sequence[Answers], least: float, most: float) -> Iterator[Line]:
    """Count the intervals that hold the truth; where most curves have none, those that do are no fair sample."""
    for of in asked:
        wide = quantiles(of.rows)
        for trait, found, truth in zip(TRAITS, answers(of.rows), of.truth, strict=True):
            away = np.abs(found - truth) / (wide * of.rows[f"{trait}_se"].to_numpy())
            told = np.isfinite(away)
            held, asked_for = float(np.mean(away[told] <= 1.0)), told.mean() > 0.5 and of.plan not in HALF_UNASKED
            yield Line(
                figure,
                f"{of.plan.name}: {trait}",
                "" if not asked_for else f"{least:.0%} to {most:.0%}" if most < 1.0 else f">= {least:.0%}",
                f"{held:.1%}",
                bool(least <= held <= most) if asked_for else None,
                f"an interval for {told.mean():.1%} of {len(told):,}",
            )


def quantiles(rows: pd.DataFrame) -> np.ndarray:
    """Return how many standard errors a 95 % interval reaches either way; NaN without a reading to spare."""
    borrowed = (rows[[f"{trait}_prior_share" for trait in TRAITS]] > 0.0).any(axis=1)
    spare = rows["readings"].astype(float) - rows["model"].map(numbers_fitted).astype(float)
    return np.where(borrowed, norm.ppf(0.975), student.ppf(0.975, spare.where(spare > 0.0)))


def conflicts(normal: Sequence[Answers], half: Sequence[Answers]) -> Iterator[Line]:
    """Count the jars said to contradict their past, where they do not and where they do."""
    for figure, asked in (("where nothing does (nominal 1 %)", normal), ("at half strength", half)):
        for of in asked:
            marked = f"{of.rows['unlike_history'].mean():.1%}"
            yield Line(f"said to contradict the past, {figure}", of.plan.name, "", marked, None)


# Misread heights


def misread(past: Past) -> Iterator[Line]:
    """Move one of each jar's readings by 3 cm, and compare the extents."""
    for number, plan in enumerate((FULL_10, FULL_6)):
        rng = np.random.default_rng([SEED, 100 + number])
        jars = fed_now(past.cultures, JARS, plan, rng)
        sound = read_by(plan, jars, rng)
        wild = sound.assign(value=sound["value"] + _slips(len(jars.culture), plan.readings, rng))
        both = zip(("by itself", "with history"), *(both_passes(past, jars, of) for of in (wild, sound)), strict=True)
        for passes, off, clean in both:
            error, least = (median_errors(answers(rows), jars.truth)[0] for rows in (off, clean))
            moved = np.nanmedian(np.abs(answers(off)[0] - answers(clean)[0]) / clean["extent_se"].to_numpy())
            aside = [f"{(rows['set_aside'] != '').mean():.1%}" for rows in (off, clean)]
            asked_for = plan is FULL_10
            yield Line(
                "error of extent, one reading off by 3 cm over none",
                f"1 of {plan.readings} readings, {passes}",
                "<= 1.3x" if asked_for else "",
                f"{error / least:.2f}x",
                error / least <= 1.3 if asked_for else None,
                f"{error:.1%} against {least:.1%}; moved by {moved:.2f} se (median); set aside in {aside[0]}, of the "
                f"sound in {aside[1]}",
            )


def _slips(jars: int, readings: int, rng: np.random.Generator) -> np.ndarray:
    slips = np.zeros((jars, readings))
    slips[np.arange(jars), rng.integers(0, readings, jars)] = MISREAD_MM * rng.choice([-1.0, 1.0], jars)
    return slips.ravel()


# Time


def times(past: Past, rounds: int) -> Iterator[Line]:
    """Compare the time with history against one plain pass, on a shelf of two years and on one of ten.

    The few complete curves that do need help cost some fifty milliseconds, however many others there are.
    """
    asked = ((FULL_6, 3.0), (CUT_12, 3.0), (FULL_12, 1.3), (FULL_40, 1.3))
    for (plan, most), jars_timed in product(asked, JARS_TIMED):
        rng = np.random.default_rng([SEED, 200])
        jars = fed_now(past.cultures, jars_timed, plan, rng)
        observed = read_by(plan, jars, rng)
        known, curves = _known(past, trace_shelf(observed).merge(jars.log(), on="refeed")), len(jars.culture)
        plain, ours = alternating(
            rounds, (partial(_plain, observed), curves), (partial(trace_shelf, observed, *known), curves)
        )
        ratio = float(np.median(ours) / np.median(plain))
        note = f"{np.median(plain) * 1e6:.0f} us a curve plain, {np.median(ours) * 1e6:.0f} with history"
        target, met = f"<= {most:g}x", ratio <= most
        yield Line(
            "time with history over one plain pass", f"{plan.name}: {curves:,}", target, f"{ratio:.2f}x", met, note
        )


def _plain(observed: pd.DataFrame) -> None:
    """Fit every curve once, without a look for misread heights, and write the same table."""
    read = Shelf.of(observed)
    read.told(trace_signals(read.observed))
