"""From a growth curve to what is read off a jar: a start that is fitted, and a collapse after the peak.

`collapsing` lets a growth curve fall again, `from_start` sets it on the level at which the jar stood, and `hold`
keeps one parameter where it is put. Each makes a new `Model` out of a `Model`.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from .models import GROWTH, Array, Model, sigmoid


def collapsing(growth: Model) -> Model:
    """Let a rise fall again: the growth curve times the share 1 / (1 + exp((t - c) / w)) of its gas still held.

    The share falls from 1 to 0 around the hour ``c = half_gone_h`` over a width ``w = fall_width_h``, so the curve
    falls back to its start in the end. A real dough stays above that: only the part that was read is used. The
    form is chosen for its simplicity; common practice, no source.

    Parameters
    ----------
    growth : Model
        One of `GROWTH`.

    Returns
    -------
    Model
        The same with the two parameters ``half_gone_h`` and ``fall_width_h`` [h] at the end.

    Examples
    --------
    >>> rise_and_fall = collapsing(GROWTH["logistic"])
    >>> rise_and_fall.value(np.array([5.0, 12.0, 30.0]), np.array([10, 2, 3, 12, 1.5])).round(3).tolist()
    [3.976, 4.973, 0.0]
    """
    grown = len(growth.parameters)

    def value(t: Array, p: Array) -> Array:
        return growth.value(t, p[:grown]) * sigmoid((p[grown] - t) / p[grown + 1])

    def jacobian(t: Array, p: Array) -> Array:
        centre, width = p[grown:]
        held = sigmoid((centre - t) / width)
        going = growth.value(t, p[:grown]) * held * (1.0 - held) / width
        stacked = np.empty((*going.shape, grown + 2))
        stacked[..., :grown] = growth.jacobian(t, p[:grown]) * held[..., None]
        stacked[..., grown] = going
        stacked[..., grown + 1] = going * (t - centre) / width
        return stacked

    parameters = (*growth.parameters, "half_gone_h", "fall_width_h")
    return Model(parameters, value, jacobian, (*growth.positive, "fall_width_h"))


def from_start(curve: Model, sign: float) -> Model:
    """Set a curve on a fitted starting level: start + sign times curve.

    Parameters
    ----------
    curve : Model
        A curve that begins at 0.
    sign : float
        1 for a level that rises, -1 for one that falls.

    Returns
    -------
    Model
        The same with the parameter ``start``, in the level's unit, in front.

    Examples
    --------
    >>> from_start(GROWTH["logistic"], -1.0).value(np.array([5.0]), np.array([6, 2, 0.5, 3])).round(3).tolist()
    [5.0]
    """

    def value(t: Array, p: Array) -> Array:
        return p[0] + sign * curve.value(t, p[1:])

    def jacobian(t: Array, p: Array) -> Array:
        derivatives = curve.jacobian(t, p[1:])
        stacked = np.empty((*derivatives.shape[:-1], derivatives.shape[-1] + 1))
        stacked[..., 0] = 1.0
        stacked[..., 1:] = sign * derivatives
        return stacked

    return Model(("start", *curve.parameters), value, jacobian, curve.positive)


def hold(model: Model, parameter: str, at: float) -> Model:
    """Keep one parameter where it is put, and leave the others free.

    Parameters
    ----------
    model : Model
        The curve.
    parameter : str
        One of its parameters.
    at : float
        Its value.

    Returns
    -------
    Model
        The same curve with one parameter fewer.

    Examples
    --------
    >>> at_once = hold(GROWTH["logistic"], "lag_h", 0.0)
    >>> at_once.parameters, at_once.value(np.array([2.0]), np.array([10, 2])).round(3).tolist()
    (('extent', 'max_rate'), [4.013])
    """
    place = model.place(parameter)

    def whole(p: Array) -> Array:
        return np.concatenate((p[:place], np.full_like(p[:1], at), p[place:]))

    def value(t: Array, p: Array) -> Array:
        return model.value(t, whole(np.asarray(p, float)))

    def jacobian(t: Array, p: Array) -> Array:
        return np.delete(model.jacobian(t, whole(np.asarray(p, float))), place, axis=-1)

    return Model(
        tuple(name for name in model.parameters if name != parameter),
        value,
        jacobian,
        tuple(name for name in model.positive if name != parameter),
    )


def slope(curve: Model, t: Array, p: Array) -> Array:
    """Steepness of a curve [its unit/h].

    Every curve here moves along the time axis with its ``lag_h`` and ``half_gone_h``, so its slope in time is
    minus the sum of its derivatives with respect to those.

    Parameters
    ----------
    curve : Model
        One of `CURVES`.
    t : numpy.ndarray, shape (n,)
        Time [h].
    p : numpy.ndarray, shape (len(curve.parameters),)
        The parameters.

    Returns
    -------
    numpy.ndarray, shape (n,)
        dy/dt.

    Examples
    --------
    >>> slope(CURVES["logistic"], np.array([5.5]), np.array([10.0, 2.0, 3.0])).round(6).tolist()
    [2.0]
    """
    derivatives = curve.jacobian(t, p)
    moves = [place for place, name in enumerate(curve.parameters) if name in ("lag_h", "half_gone_h")]
    return -derivatives[..., moves].sum(axis=-1)


#: What a collapsing curve is called after its growth.
WITH_COLLAPSE = " with collapse"

#: The curves of a signal from 0 upwards, with and without a collapse.
CURVES: dict[str, Model] = GROWTH | {f"{name}{WITH_COLLAPSE}": collapsing(growth) for name, growth in GROWTH.items()}


@cache
def level_curve(name: str, sign: float) -> Model:
    """Return one of `CURVES` set on a fitted start, as the readings show it (made once).

    Parameters
    ----------
    name : str
        A name in `CURVES`.
    sign : float
        1 for a rise, -1 for the fall of a pH.

    Returns
    -------
    Model
        With the parameter ``start`` in front.

    Examples
    --------
    >>> level_curve("gompertz", -1.0).parameters
    ('start', 'extent', 'max_rate', 'lag_h')
    """
    return from_start(CURVES[name], sign)
