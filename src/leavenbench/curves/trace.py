"""One signal of one refeed: from its readings to its row of the curves table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from .activity import is_active, straight_line
from .choice import MODELS, Choice, choose
from .composed import CURVES
from .fall import Fall, visible_fall
from .models import Array
from .noise import INSTRUMENTS
from .quantities import shape
from .traits import PEAK_SHARE, Estimate, traits

#: Times at which a signal must have been read before a curve is fitted (design of the curves table).
TIMES_NEEDED = 4
#: Readings that begin later than this and show no change may have missed it all [h]; common practice, no source.
_READ_FROM_H = 2.0
#: A pH that stays above this since a late first reading has not fallen before it; common practice, no source.
_NOT_YET_SOUR_PH = 5.0
#: A fitted starting height under this share of the highest is none.
_START_SHARE = 0.01
#: Readings beyond this are no heights, volumes or pH, whatever they are.
_IMPOSSIBLE = 1e9


@dataclass(frozen=True)
class Trace:
    """What came of one signal of one refeed.

    Attributes
    ----------
    status, reason, model : str
        As in the curves table.
    readings : int
        Readings used.
    traits : dict of str to Estimate
        By the names in ``columns.TRAITS``; those that do not belong to the signal are absent.
    rms_residual, range_read : float
        Root mean square of the residuals, and the range of the readings used, in the unit read.
    until_h : float
        Hour of the last reading used [h].
    choice : Choice or None
        The fitted curve.
    """

    status: str
    reason: str
    model: str = ""
    readings: int = 0
    traits: dict[str, Estimate] = field(default_factory=dict)
    rms_residual: float = float("nan")
    range_read: float = float("nan")
    until_h: float = float("nan")
    choice: Choice | None = None

    def level(self, elapsed_h: Array) -> Array:
        """Return the fitted curve at hours since feeding, in the unit read; NaN where none was fitted."""
        if self.choice is None:
            return np.full(np.shape(elapsed_h), np.nan)
        return self.choice.fit.value(np.asarray(elapsed_h, float))

    def level_se(self, elapsed_h: Array) -> Array:
        """Return the standard error of the fitted curve by linear theory, in the unit read; NaN where unknown."""
        hours = np.asarray(elapsed_h, float)
        if self.choice is None:
            return np.full(np.shape(hours), np.nan)
        fit = self.choice.fit
        return np.array([fit.standard_error(row) for row in fit.model.jacobian(hours, fit.parameters)])


def sign_of(kind: str) -> float:
    """Return 1 for kinds of reading that rise, -1 for pH, which falls."""
    return -1.0 if INSTRUMENTS[kind].unit == "pH" else 1.0


def trace(elapsed_h: Array, values: Array, kind: str, models: Sequence[str] = MODELS) -> Trace:
    """Fit an activity curve to one signal of one refeed and read off its traits.

    Parameters
    ----------
    elapsed_h : numpy.ndarray, shape (n,)
        Hours since feeding, in any order.
    values : numpy.ndarray, shape (n,)
        The readings; those that are no number are passed over.
    kind : str
        Kind of the readings, a name in `noise.INSTRUMENTS`.
    models : sequence of str
        Growth curves to choose among, names in `models.GROWTH`.

    Returns
    -------
    Trace
        Always, whatever the readings are.

    Examples
    --------
    >>> hours = np.array([0.0, 1, 2, 3, 4, 6, 8, 22])
    >>> soured = trace(hours, np.array([5.9, 5.9, 5.7, 5.2, 4.7, 4.1, 3.9, 3.8]), "ph_direct")
    >>> soured.status, round(soured.traits["extent"].value, 1), round(soured.traits["time_to_ph_4_6_h"].value, 1)
    ('fitted', 2.1, 4.2)
    """
    t, y = _in_order(np.asarray(elapsed_h, float), np.asarray(values, float))
    times = len(np.unique(t))
    if not times:
        return Trace("no readings", "no reading that can be used")
    if times < TIMES_NEEDED:
        why = f"read at {_count(times, 'time')} only, {TIMES_NEEDED} are needed"
        return Trace("too few readings", why, readings=len(t))
    with np.errstate(all="ignore"):  # numbers out of all bounds end as a status
        fall = visible_fall(y, kind) if sign_of(kind) > 0.0 else None
        if fall is not None and not _can_carry(fall, times):
            return _up_to_the_peak(t, y, kind, models, fall)
        return _concluded(t, y, kind, models, None if fall is None else fall.peak)


def _in_order(t: Array, y: Array) -> tuple[Array, Array]:
    usable = np.isfinite(t) & np.isfinite(y) & (np.abs(y) < _IMPOSSIBLE) & (t >= 0.0) & (t < _IMPOSSIBLE)
    order = np.argsort(t[usable], kind="stable")
    return t[usable][order], y[usable][order]


def _can_carry(fall: Fall, times: int) -> bool:
    """Whether a collapse, which costs two more parameters, was read well enough to be fitted."""
    parameters = len(CURVES["logistic with collapse"].parameters) + 1
    return fall.fallen >= 2 and times > parameters + 1


def _up_to_the_peak(t: Array, y: Array, kind: str, models: Sequence[str], fall: Fall) -> Trace:
    """Fit the rise alone where the fall was read too seldom."""
    kept = slice(0, fall.first_fallen)
    why = f"it fell again, read {_count(fall.fallen, 'time')}, too few to fit the fall: fitted up to the peak"
    times = len(np.unique(t[kept]))
    if times < TIMES_NEEDED:
        return Trace("too few readings", f"{why}, read at {_count(times, 'time')} only", readings=len(t))
    return _concluded(t[kept], y[kept], kind, models, None, why)


def _concluded(t: Array, y: Array, kind: str, models: Sequence[str], peak: int | None, fell: str = "") -> Trace:
    """Choose the curve and reach the verdict on it."""
    choice = choose(t, y, sign_of(kind), models, peak, INSTRUMENTS[kind].resolution)
    if choice is None or not is_active(t, y, kind, choice):
        return _without_activity(t, y, kind, fell)
    if _came_up_unread(choice, t):
        why = f"it had come up before the first reading at {t[0]:.3g} h"
        return Trace(
            "too few readings", why if choice.sign > 0.0 else why.replace("come up", "soured"), readings=len(t)
        )
    rms, span = float(np.sqrt(choice.fit.rss / len(t))), float(np.ptp(y))
    if choice.sign > 0.0 and choice.fit.parameters[0] <= _START_SHARE * choice.fit.value(t).max():
        why = "the curve comes up from a height of nothing: without a starting height there is no rise in %"
        return Trace("poor fit", why, choice.name, len(t), {}, rms, span, float(t[-1]), choice)
    found = traits(choice, t, kind, fell_unfitted=bool(fell))
    if not choice.fit.settled:
        found = {name: it._replace(se=float("nan")) for name, it in found.items()}
    status = "peak not reached" if found["extent"].at_least and not fell else "fitted"
    return Trace(status, _reason(found, choice, fell), choice.name, len(t), found, rms, span, float(t[-1]), choice)


def _came_up_unread(choice: Choice, t: Array) -> bool:
    """Whether the first reading already stands at the peak, so that all before it would be made up."""
    levels = choice.curve.value(t, shape(choice))
    return bool(levels[0] >= PEAK_SHARE * levels.max())


def _without_activity(t: Array, y: Array, kind: str, fell: str) -> Trace:
    """Tell a jar in which nothing happened from one that was looked at too late."""
    soured_already = sign_of(kind) < 0.0 and y.mean() < _NOT_YET_SOUR_PH
    if t[0] > _READ_FROM_H and (soured_already or sign_of(kind) > 0.0):
        why = f"no change since the first reading at {t[0]:.3g} h: what came before was not read"
        return Trace("too few readings", why, readings=len(t))
    found, rms = straight_line(t, y, kind, sign_of(kind))
    why = "no change beyond what readings scatter, so no curve: extent and steepest slope by a straight line"
    reason = "; ".join(dict.fromkeys(said for said in (fell, why, *(it.why for it in found.values())) if said))
    return Trace("no activity", reason, "straight line", len(t), found, rms, float(np.ptp(y)))


def _reason(found: dict[str, Estimate], choice: Choice, fell: str) -> str:
    """Say why a number is missing, or only a bound, or without a standard error."""
    said = [fell, *(it.why for it in found.values())]
    open_ones = [name for name, it in found.items() if np.isnan(it.se) and not (it.at_least or it.why)]
    if not choice.fit.settled:
        said.append("the search for the best curve did not come to rest, so no standard errors")
    elif choice.fit.spare <= 0:
        said.append("as many numbers in the curve as readings, so no standard errors")
    elif open_ones:
        said.append(f"no standard error where the readings leave it open: {', '.join(open_ones)}")
    return "; ".join(dict.fromkeys(it for it in said if it))


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
