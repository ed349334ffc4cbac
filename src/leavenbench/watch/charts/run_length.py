"""How many rounds a chart runs until it signals, on average, and the limit that makes it run so long.

A chart's statistic is a walk from round to round. The rounds L(u) that it still has to run from u satisfy
L(u) = 1 + integral of L(y) f(y | u) over the y that do not signal, f being the density of its next place: Page 1954,
Biometrika 41:100-115, doi 10.1093/biomet/41.1-2.100, for the CUSUM; Crowder 1987, Technometrics 29:401-407,
doi 10.1080/00401706.1987.10488267, for the EWMA. Gauss-Legendre nodes make linear equations of it, as a grid of states
does in Brook & Evans 1972, Biometrika 59:539-549, doi 10.1093/biomet/59.3.539, but with many more digits for as many
places. (These sources are cited from memory.)

All of it holds for independent normal levels, standardised by their known mean and standard deviation; a fall and a
rise are mirror images. On real series run lengths are shorter: see `leavenbench.watch.charts`.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, partial
from math import ceil, inf, log, pi, sqrt

import numpy as np

from ...errors import CannotRead

Array = np.ndarray

#: Longer runs than this are infinite to us: rounding leaves them five digits, and one less for every tenfold.
LONGEST = 1e9
#: What the arguments may be. An EWMA of less weight would look back over hundreds of rounds.
RANGES = {"k": (0.0, 100.0), "h": (1e-9, 100.0), "weight": (0.01, 1.0), "limit": (1e-9, 10.0), "shift": (-100.0, 100.0)}
#: The statistic is followed to so many of its standard deviations on a side without a limit, where as good as no run
#: leads (6e-16 a round).
_FAR = 8.0
#: The walk is cut into panels of at most so many standard deviations of a step, each with so many nodes: more of them
#: change a run of 1,000 rounds by less than 1e-8.
_PANEL_SD, _NODES = 3.0, 16


def run_length_cusum(k: float, h: float, shift: float = 0.0, two_sided: bool = False) -> float:
    """Return how many rounds a CUSUM runs from zero until it signals, on average.

    Parameters
    ----------
    k : float
        The fall of a round [sd] that is passed over, 0 or more.
    h : float
        The limit [sd], above 0 and up to 100; the chart signals above it.
    shift : float
        How far all levels have moved [sd], positive in the direction in which a one-sided chart looks.
    two_sided : bool
        Whether a second CUSUM looks the other way.

    Returns
    -------
    float
        Rounds, 1 or more; infinite beyond 1e9.

    Raises
    ------
    CannotRead
        An argument lies outside its range.

    Notes
    -----
    Two CUSUMs of the same k and h never signal together, and when one does the other stands at zero, so that the
    rates of both add: 1/L = 1/L(fall) + 1/L(rise) (van Dobben de Bruyn 1968, Cumulative Sum Tests, Griffin, London;
    from memory). It holds at any shift.

    Examples
    --------
    >>> round(run_length_cusum(0.5, 5), 4), round(run_length_cusum(0.5, 5, two_sided=True), 4)
    (930.887, 465.4435)
    """
    hold(k=k, h=h, shift=shift)
    ways = (shift, -shift) if two_sided else (shift,)
    rate = sum(1.0 / _mean_run(0.0, h, 1.0, partial(_cusum_centre, k, way), gathers=True) for way in ways)
    return _told(1.0 / rate if rate else inf)


def run_length_ewma(weight: float, limit: float, shift: float = 0.0, two_sided: bool = False) -> float:
    """Return how many rounds an EWMA runs from zero until it signals, on average.

    Parameters
    ----------
    weight : float
        What a new level counts, from 0.01 to 1.
    limit : float
        The limit in standard deviations of the statistic after many rounds, above 0 and up to 10. It is fixed: in
        the first rounds, when the statistic still varies less, the chart signals more rarely than later.
    shift : float
        How far all levels have moved [sd], positive in the direction in which a one-sided chart looks.
    two_sided : bool
        Whether it signals on the other side as well. Without, nothing holds the statistic from wandering there.

    Returns
    -------
    float
        Rounds, 1 or more; infinite beyond 1e9.

    Raises
    ------
    CannotRead
        An argument lies outside its range.

    Examples
    --------
    >>> round(run_length_ewma(0.1, 2.814, two_sided=True), 4)
    499.5796
    """
    hold(weight=weight, limit=limit, shift=shift)
    sd = ewma_sd(weight)
    held = max(shift, -_FAR * sd)  # moved further away, it would take longer still and more nodes
    low = -limit * sd if two_sided else -_FAR * sd + min(held, 0.0)
    return _told(_mean_run(low, limit * sd, weight, partial(_ewma_centre, weight, shift if two_sided else held)))


def ewma_sd(weight: float) -> float:
    """Return the standard deviation of an EWMA of standardised levels after many rounds.

    Examples
    --------
    >>> round(ewma_sd(0.2), 6)
    0.333333
    """
    return sqrt(weight / (2.0 - weight))


@lru_cache(maxsize=64)
def limit_for(
    run_length: float, chart: str = "cusum", *, k: float = 0.5, weight: float = 0.2, two_sided: bool = False
) -> float:
    """Return the limit at which a chart runs so long while nothing has moved.

    Parameters
    ----------
    run_length : float
        The wished number of rounds until a false signal, on average. At six rounds a year one false signal in 100
        culture-years is 600.
    chart : str
        cusum or ewma.
    k : float
        Of a CUSUM, see `run_length_cusum`.
    weight : float
        Of an EWMA, see `run_length_ewma`.
    two_sided : bool
        Whether the chart looks both ways.

    Returns
    -------
    float
        h of the CUSUM, or the limit of the EWMA in standard deviations of the statistic.

    Raises
    ------
    CannotRead
        There is no such chart, an argument lies outside its range, or no limit gives that run length.

    Examples
    --------
    >>> round(limit_for(930.8870, "cusum"), 4), round(limit_for(499.7351, "ewma", two_sided=True), 4)
    (5.0, 2.962)
    """
    from scipy.optimize import brentq

    designs = {"cusum": ("k", k, "h", run_length_cusum), "ewma": ("weight", weight, "limit", run_length_ewma)}
    if chart not in designs:
        raise CannotRead(f"There is no chart '{chart}'; it is one of {', '.join(designs)}.")
    name, design, limit_name, of = designs[chart]
    lowest, largest = RANGES[limit_name]

    def runs(limit: float) -> float:
        return min(of(design, limit, two_sided=two_sided), 10.0 * LONGEST)

    reaches = (reach for reach in (1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, largest) if reach <= largest)
    enough = next((reach for reach in reaches if runs(reach) >= run_length), None)
    if enough is None or not runs(lowest) < run_length <= LONGEST:
        sides = "two-sided" if two_sided else "one-sided"
        least, most = runs(lowest), min(runs(largest), LONGEST)
        raise CannotRead(
            f"No {limit_name} makes a {sides} {chart.upper()} with {name} = {design:g} run {run_length:g} rounds; "
            f"ask for more than {least:.4g} and at most {most:.4g}."
        )
    too_little = 0.5 * enough if enough > 1.0 else lowest
    return float(brentq(lambda limit: log(runs(limit) / run_length), too_little, enough, xtol=1e-12))


def _cusum_centre(k: float, shift: float, place: Array) -> Array:
    """Return where a CUSUM goes next on average; what would be below zero is zero."""
    return place - k + shift


def _ewma_centre(weight: float, shift: float, place: Array) -> Array:
    """Return where an EWMA goes next on average."""
    return (1.0 - weight) * place + weight * shift


def _mean_run(
    low: float, high: float, step_sd: float, centre: Callable[[Array], Array], *, gathers: bool = False
) -> float:
    """Return the rounds from place 0 until a walk leaves low to high; where it gathers, it does not leave at the low.

    Its next place is normal about `centre` of the last. What would fall below `low` gathers there, at 0.
    """
    from scipy.special import ndtr

    nodes, weights = _quadrature(low, high, ceil((high - low) / (_PANEL_SD * step_sd)))
    place = np.append(nodes, 0.0)  # the start is a place of its own
    next_on_average = centre(place)[:, None]
    away = (nodes - next_on_average) / step_sd
    goes = np.zeros((len(place), len(place)))
    goes[:, :-1] = weights * np.exp(-0.5 * away**2) / (step_sd * sqrt(2.0 * pi))
    if gathers:
        goes[:, -1:] = ndtr((low - next_on_average) / step_sd)
    try:
        rounds = float(np.linalg.solve(np.eye(len(place)) - goes, np.ones(len(place)))[-1])
    except np.linalg.LinAlgError:  # to rounding, no round ever ends it
        return inf
    return rounds if rounds > 0.0 else inf  # below zero it is rounding that speaks: far beyond `LONGEST`


def _told(rounds: float) -> float:
    return rounds if rounds <= LONGEST else inf


def _quadrature(low: float, high: float, panels: int) -> tuple[Array, Array]:
    """Return the nodes and weights of Gauss and Legendre in panels of equal width."""
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    edges = np.linspace(low, high, panels + 1)
    half = 0.5 * (high - low) / panels
    return (edges[:-1, None] + half * (nodes + 1.0)).ravel(), np.tile(half * weights, panels)


def hold(**arguments: float) -> None:
    """Refuse an argument outside its range."""
    for name, value in arguments.items():
        low, high = RANGES[name]
        if not low <= value <= high:
            raise CannotRead(f"{name} = {value:g} cannot be used; give a number from {low:g} to {high:g}.")
