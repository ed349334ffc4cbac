"""How a culture's pace depends on temperature: its own cardinal temperatures, as far as those tried can tell.

An end of an interval that no temperature tried can close stays open; then there is no estimate either, only a bound.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..columns import RESULTS
from ..records.collection import Collection
from ..vigour.warmth import Warmth
from .cardinal_fit import Interval, intervals

#: The model has four numbers; with fewer temperatures, or refeeds, than this it is not fitted.
_FEWEST_TEMPERATURES, _FEWEST_REFEEDS = 4, 7
#: A slope of which more than this came from earlier refeeds, of other temperatures, tells nothing of this one.
_BORROWED = 0.5
_RESPONSE = RESULTS["temperature_response"]


def rates_by_temperature(
    collection: Collection,
    curves: pd.DataFrame,
    signal: str = "rise",
    purposes: tuple[str, ...] = ("round", "test"),
    step: int | None = None,
) -> pd.DataFrame:
    """Return the steepest slope of each refeed with the temperature of its dough meanwhile.

    Parameters
    ----------
    collection : Collection
        The records.
    curves : pandas.DataFrame
        Its curves table.
    signal : str
        rise or acid.
    purposes : tuple of str
        Refeeds of these purposes.
    step : int, optional
        Only this step of rounds: like is compared with like; refeeds of purpose test have no step and stay.

    Returns
    -------
    pandas.DataFrame
        refeed, culture, temperature_degC, rate [%/h or pH/h, by the clock; 0 where nothing moved]. Left out are
        refeeds without a sound curve or a noted temperature, and slopes mostly borrowed or known as 'at least' only.
    """
    of = collection["refeeds"].set_index("refeed")[["purpose", "step"]]
    own = curves[(curves["signal"] == signal) & curves["refeed"].isin(of.index)].join(of["purpose"], on="refeed")
    own = own[own["purpose"].isin(purposes)]
    if step is not None:
        own = own[(own["step"] == step) | (own["purpose"] == "test")]
    at_least = own["lower_bounds"].fillna("").str.split(", ").map(lambda names: "max_rate" in names).astype(bool)
    own = own[~at_least & ~(own["max_rate_prior_share"] > _BORROWED)]
    still = own["status"] == "no activity"
    own = own.assign(rate=own["max_rate"].mask(still, 0.0))
    own = own[own["status"].isin(("fitted", "peak not reached", "no activity")) & own["rate"].notna()]
    warmth = Warmth.of(collection)
    number = warmth.refeeds.get_indexer(own["refeed"])
    steep_at = own["lag_h"].clip(lower=0.0) + 0.5 * own["extent"] / own["max_rate"]
    degC = warmth.at(number, steep_at.where(own["rate"] > 0.0).fillna(0.0).clip(0.0, 24.0).to_numpy(dtype=float))
    told = own.assign(temperature_degC=degC)[["refeed", "culture", "temperature_degC", "rate"]]
    return told[warmth.noted[number]].reset_index(drop=True)


def temperature_response(rates: pd.DataFrame, signal: str = "rise", level: float = 0.95) -> pd.DataFrame:
    """Fit the cardinal temperature model to each culture.

    Parameters
    ----------
    rates : pandas.DataFrame
        As from `rates_by_temperature`: culture, temperature_degC, rate; one row per refeed.
    signal : str
        Which signal they are of.
    level : float
        Level of the intervals, between 0 and 1.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["temperature_response"]``, one row per culture in the order of their names. Of what
        is left open there is no estimate, and the end of the interval that is open is missing.

    Notes
    -----
    How often the intervals hold the truth in simulated trials is stored beside ``tests/benchmarks/compare_curves.py``.
    The model overstates the pace of sourdough's own organisms above their optimum (`leavenbench.temperature`).

    Examples
    --------
    >>> from leavenbench.temperature import Cardinal, relative_rate
    >>> degC = np.repeat([10.0, 15.0, 20.0, 24.0, 27.0, 30.0, 33.0], 2)
    >>> rate = 40.0 * relative_rate(degC, Cardinal(5.0, 28.0, 36.0)) * np.tile([0.95, 1.05], 7)
    >>> found = temperature_response(pd.DataFrame({"culture": "A", "temperature_degC": degC, "rate": rate})).iloc[0]
    >>> found[["optimum_degC", "highest_degC"]].astype(float).round(1).tolist()
    [28.0, 36.0]
    """
    rows = [_row(str(culture), own, signal, level) for culture, own in rates.groupby("culture")]
    return pd.DataFrame(rows, columns=_RESPONSE.names).astype(_RESPONSE.dtypes())


def _row(culture: str, own: pd.DataFrame, signal: str, level: float) -> dict[str, object]:
    degC, rate = (own[name].to_numpy(dtype=float) for name in ("temperature_degC", "rate"))
    tried = len(np.unique(np.round(degC)))
    row: dict[str, object] = {"culture": culture, "signal": signal, "refeeds": len(own), "temperatures": tried}
    row |= {"coldest_degC": degC.min(), "warmest_degC": degC.max()}
    if tried < _FEWEST_TEMPERATURES or len(own) < _FEWEST_REFEEDS or not (rate > 0.0).any():
        needed = (
            f"at least {_FEWEST_REFEEDS} refeeds at {_FEWEST_TEMPERATURES} temperatures, some of which rise or sour"
        )
        return row | {"words": f"{len(own)} refeeds at {tried} temperatures cannot tell: it takes {needed}"}
    told = _as_far_as_tried(intervals(degC, rate, level), float(degC.min()), float(degC.max()))
    for name, interval in told.items():
        row |= {name: interval.value, f"{name}_low": interval.low, f"{name}_high": interval.high}
    return row | {"words": _words(told, float(degC.min()), float(degC.max()))}


def _as_far_as_tried(told: dict[str, Interval], coldest: float, warmest: float) -> dict[str, Interval]:
    """Open what the temperatures tried cannot close, and leave out estimates whose interval is open.

    An optimum that may lie beyond them was not reached; then what follows beyond it was not seen either, and an end
    of its interval is the form of the model alone. Where an estimate stands within an open stretch is chance.
    """
    told = dict(told)
    if not told["optimum_degC"].high <= warmest:
        for name in ("optimum_degC", "highest_degC", "optimal_rate"):
            told[name] = told[name]._replace(high=np.nan)
    if not told["optimum_degC"].low >= coldest:
        for name in ("optimum_degC", "lowest_degC"):
            told[name] = told[name]._replace(low=np.nan)
    closed = {name: np.isfinite([of.low, of.high]).all() for name, of in told.items()}
    return {name: of if closed[name] else of._replace(value=np.nan) for name, of in told.items()}


def _words(told: dict[str, Interval], coldest: float, warmest: float) -> str:
    """Say what was found and what was left open."""
    tried = f"{coldest:.0f} to {warmest:.0f} degC were tried"
    parts = []
    for name, what in (("lowest_degC", "stops below"), ("optimum_degC", "optimum"), ("highest_degC", "stops above")):
        value, low, high = told[name]
        if np.isfinite(value):
            parts.append(f"{what} {value:.1f} degC ({low:.1f} to {high:.1f})")
        elif np.isfinite(low):
            parts.append(f"{what} at least {low:.1f} degC, left open upwards: {tried}")
        elif np.isfinite(high):
            parts.append(f"{what} at most {high:.1f} degC, left open downwards: {tried}")
        else:
            parts.append(f"{what}: cannot be told, {tried}")
    return "; ".join(parts)
