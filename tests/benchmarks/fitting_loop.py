"""What a good user would write without a fitting engine: curve after curve in a loop.

The start search is the one of ``leavenbench.curves.starts``, written for one curve in as few NumPy calls as we could;
`same_starts` says whether both really begin at the same place. The models are plain NumPy expressions, with and without
a Jacobian.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable
from functools import cache
from math import log
from typing import Any

import numpy as np
from fitting_curves import Block
from scipy.optimize import curve_fit
from scipy.special import fdtri

Array = np.ndarray
CROSSED = (0.2, 0.7)
PLATEAUS, PLATEAU_BEFORE_A_FALL = np.array([1.0, 2.0, 1.0]), np.array([1.2])
PEAKS, WIDTHS, LEAKS = (1.05, 1.3), (1.0, 0.3), -3.0
LOG_2 = log(2.0)
#: Starts are scored on this many readings at most.
SCORED_ON = 20
#: A curve is not fitted when its start explains less than this share of jars where nothing moves would.
CHANCE = 0.2


def _logistic(x: Array, A: Any, mu: Any, lag: Any) -> Array:
    return A / (1.0 + np.exp(4.0 * mu / A * (lag - x) + 2.0))


def _logistic_rows(x: Array, A: float, mu: float, lag: float) -> tuple[Array, list[Array]]:
    since = 4.0 * mu / A * (x - lag)
    share = 1.0 / (1.0 + np.exp(2.0 - since))
    steep = share * (1.0 - share)
    bent = steep * since
    return A * share, [share - bent, bent * (A / mu), steep * (-4.0 * mu)]


def _gompertz(x: Array, A: Any, mu: Any, lag: Any) -> Array:
    return A * np.exp(-np.exp(mu * np.e / A * (lag - x) + 1.0))


def _gompertz_rows(x: Array, A: float, mu: float, lag: float) -> tuple[Array, list[Array]]:
    until = mu * np.e / A * (lag - x)
    still = np.exp(until + 1.0)
    share = np.exp(-still)
    steep = share * still
    bent = steep * until
    return A * share, [share + bent, bent * (-A / mu), steep * (-mu * np.e)]


_RISES = {"logistic": (_logistic, _logistic_rows), "gompertz": (_gompertz, _gompertz_rows)}
#: When a curve of extent 1, rate 1 and lag 0 stands at a share of its extent.
_UNIT_TIME = {
    "logistic": lambda share: (2.0 - np.log(1.0 / share - 1.0)) / 4.0,
    "gompertz": lambda share: (1.0 - np.log(-np.log(share))) / np.e,
}


def model_of(growth: str, *, start: bool, collapse: bool) -> tuple[Callable[..., Array], Callable[..., Array]]:
    """Return a plain model function of x and the parameters, and its Jacobian."""
    rise, rows = _RISES[growth]
    if collapse:
        return (
            lambda x, a, A, mu, lag, half, sharp: a + rise(x, A, mu, lag) * _held(x - lag, half, sharp),
            lambda x, a, A, mu, lag, half, sharp: _collapse_rows(x - lag, *rows(x, A, mu, lag), half, sharp),
        )
    if start:
        return (
            lambda x, a, A, mu, lag: a + rise(x, A, mu, lag),
            lambda x, a, A, mu, lag: np.array([np.ones_like(x), *rows(x, A, mu, lag)[1]]).T,
        )
    return rise, lambda x, A, mu, lag: np.array(rows(x, A, mu, lag)[1]).T


def _held(since: Array, half: Any, sharp: Any) -> Array:
    """Share of the gas still held since the lag: 1 there, 1/2 at `half`."""
    lost = np.exp(since * np.logaddexp(LOG_2, sharp) / half - np.logaddexp(0.0, sharp))
    return 1.0 / (1.0 / (1.0 + np.exp(-sharp)) + lost)


def _collapse_rows(since: Array, rise: Array, rows: list[Array], half: float, sharp: float) -> Array:
    times = np.logaddexp(LOG_2, sharp)
    still = 1.0 / (1.0 + np.exp(-sharp))
    lost = np.exp(since * times / half - np.logaddexp(0.0, sharp))
    held = 1.0 / (still + lost)
    level = rise * held
    slope = lost * held * level * (times / half)
    by_sharp = slope * (still * half / times - since / (times * (1.0 + 2.0 * np.exp(-sharp))))
    by_sharp -= held * level * (still * (1.0 - still))
    extent, rate, at = (row * held for row in rows)
    return np.array([np.ones_like(since), extent, rate, at + slope, slope * since / half, by_sharp]).T


def start_of(growth: str, t: Array, y: Array, peak: int | None = None) -> Array | None:
    """Find a start for one curve, with a start level: crossing times, guessed plateaus, a linear score; or none."""
    if len(t) > SCORED_ON:
        chosen = (np.arange(SCORED_ON) * ((len(t) - 1) / (SCORED_ON - 1))).round().astype(int)
        if peak is not None:
            nearest = int(np.abs(chosen - peak).argmin())
            chosen[nearest], peak = peak, nearest
        t, y = t[chosen], y[chosen]
    unit = _UNIT_TIME[growth]
    if peak is None:
        early, late = _crossings(t, y)
        span = t[-1] - t[0]
        even = [float(t[0] + share * span) for share in CROSSED]
        early, late = np.array([early, early, even[0]]), np.array([late, late, even[1]])
        plateaus = PLATEAUS
    else:
        early, late = _crossings(t, y[: peak + 1], cut=0 < peak < len(t) - 1)
        plateaus = PLATEAU_BEFORE_A_FALL
    soon, later = (unit(share / plateaus) for share in CROSSED)
    rate = (later - soon) / np.maximum(late - early, 1e-3 * (t[-1] - t[0]))
    lag = np.maximum(early - soon / rate, 0.0)
    shape = _RISES[growth][0](t, 1.0, rate[:, None], lag[:, None])
    fall: tuple[Array, ...] = ()
    if peak is not None:
        half, sharp = _falls(t, y, peak, lag)
        held = _held(t - np.tile(lag, len(half) // len(lag))[:, None], half[:, None], sharp[:, None])
        shape = (shape * held.reshape(-1, *shape.shape)).reshape(-1, len(t))
        rate, lag, fall = (*(np.tile(it, len(half) // len(it)) for it in (rate, lag)), (half, sharp))
    mean = y.mean()
    away = y - mean
    height = shape.mean(axis=1)
    along = shape @ away
    extents = along / ((shape * shape).sum(axis=1) - len(t) * height**2)
    explained = np.where(along > 0.0, along * extents, 0.0)
    best = int(explained.argmax())
    extent = extents[best]
    if not along[best] > 0.0 or (peak is None and _by_chance(explained[best], away @ away, len(t))):
        return None
    return np.array(
        [mean - extent * height[best], extent, rate[best] * extent, lag[best], *(guess[best] for guess in fall)]
    )


def _by_chance(explained: float, spread: float, readings: int) -> bool:
    """Whether four of five jars where nothing moves would show more: a level, extent, rate and lag are fitted."""
    spare = readings - 4
    return spare > 0 and explained / 3.0 / ((spread - explained) / spare) < _least_ratio(spare)


@cache
def _least_ratio(spare: int) -> float:
    return float(fdtri(3.0, spare, CHANCE))


def _falls(t: Array, y: Array, peak: int, lag: Array) -> tuple[Array, Array]:
    """Guess how long after each lag half the gas is gone, and how sharply: late, or evenly ever since the lag."""
    highest = y[peak]
    down = -y
    down[:peak] = -highest
    soon, later = _crossings(t, down)
    lost = (highest - y[peak:].min()) / (highest - y.min())
    pace = max(later - soon, 1e-3 * (t[-1] - t[0]))
    halves, sharps = [], []
    for more in PEAKS:
        held, still_held = (1.0 - share * lost / more for share in CROSSED)
        first, last = log(held / (1.0 - held)), log(still_held / (1.0 - still_held))
        width = pace / (first - last)
        after = np.maximum(soon + width * first - lag, 0.0)
        for narrower in WIDTHS:
            sharp = after / (narrower * width)
            halves.append(narrower * width * np.logaddexp(LOG_2, sharp))
            sharps.append(sharp)
        halves.append((later - lag) * LOG_2 / -log(still_held))
        sharps.append(np.full_like(lag, LEAKS))
    return np.concatenate(halves), np.concatenate(sharps)


def _crossings(t: Array, y: Array, *, cut: bool = False) -> list[float]:
    """When the lightly smoothed readings first pass the two shares of their range."""
    smooth = y.copy()
    smooth[1:-1] = 0.25 * y[:-2] + 0.5 * y[1:-1] + 0.25 * y[2:]
    if cut:  # the last would be smoothed with what is not there
        smooth = smooth[:-1]
    lowest = float(smooth.min())
    climbed = np.maximum.accumulate(smooth).tolist()
    found = []
    for share in CROSSED:
        level = lowest + share * (climbed[-1] - lowest)
        after = bisect_left(climbed, level)
        before = max(after - 1, 0)
        low, high = climbed[before], climbed[after]
        part = (level - low) / (high - low) if high > low else 1.0
        found.append(float(t[before] + part * (t[after] - t[before])))
    return found


def columns(block: Block, curves: int) -> list[tuple[Array, Array, int | None]]:
    """Return times, readings and peak of each of the first curves, each contiguous, as a loop would like them."""
    peaks = [None] * curves if block.peak is None else block.peak[:curves].tolist()
    return [(block.t[:, k].copy(), block.y[:, k].copy(), peaks[k]) for k in range(curves)]


def starts_of(block: Block, curves: Iterable[tuple[Array, Array, int | None]]) -> list[Array | None]:
    """Find a start for one curve after another."""
    from_place = 0 if block.has_start else 1
    found = (start_of(block.growth, *curve) for curve in curves)
    return [None if start is None else start[from_place:] for start in found]


def fit_loop(
    block: Block, curves: list[tuple[Array, Array, int | None]], starts: list[Array | None], *, derive: bool
) -> list[Array | None]:
    """Fit one curve after another with `curve_fit`, which estimates the covariance as well."""
    model, jacobian = model_of(block.growth, start=block.has_start, collapse=block.peak is not None)
    found: list[Array | None] = []
    for (t, y, _), start in zip(curves, starts, strict=True):
        try:
            if start is None:
                raise RuntimeError
            found.append(curve_fit(model, t, y, p0=start, jac=jacobian if derive else None, check_finite=False)[0])
        except RuntimeError:  # given up after curve_fit's own limit of calls
            found.append(None)
    return found


def same_starts(ours: Array, theirs: list[Array | None]) -> float:
    """Return the share of curves for which both searches begin at the same place, to a thousandth."""
    same = []
    for mine, other in zip(ours.T, theirs, strict=True):
        if other is None:
            same.append(bool(np.isnan(mine).any()))
        else:
            same.append(bool(np.allclose(mine, other, rtol=1e-3, atol=1e-3)))
    return float(np.mean(same))


def lmfit_loops(block: Block) -> dict[str, Callable[..., None]]:
    """Return loops over lmfit's two ways to fit a curve with a start level.

    Raises
    ------
    SystemExit
        lmfit is not installed.
    """
    try:
        import lmfit
    except ImportError:
        raise SystemExit("This benchmark compares with lmfit, which is not installed: pip install lmfit") from None
    rise = _RISES[block.growth][0]

    def level(x: Array, start: float, extent: float, max_rate: float, lag_h: float) -> Array:
        return start + rise(x, extent, max_rate, lag_h)

    def residual(parameters: Any, x: Array, y: Array) -> Array:
        return level(x, *parameters.valuesdict().values()) - y

    model = lmfit.Model(level)

    def by_model(curves: list[tuple[Array, Array, int | None]], starts: list[Array | None]) -> None:
        for (t, y, _), start in zip(curves, starts, strict=True):
            model.fit(y, x=t, **dict(zip(model.param_names, np.asarray(start), strict=True)))

    def by_minimize(curves: list[tuple[Array, Array, int | None]], starts: list[Array | None]) -> None:
        for (t, y, _), start in zip(curves, starts, strict=True):
            parameters = lmfit.create_params(**dict(zip(model.param_names, np.asarray(start), strict=True)))
            lmfit.minimize(residual, parameters, args=(t, y))

    return {"lmfit.Model": by_model, "lmfit.minimize": by_minimize}
