"""How far readings of a kind usually lie off a smooth curve, and which curves lie further off than that.

A single refeed has too few readings to tell its own noise from a curve that does not suit it. The shelf as a whole
can: the usual residual of its fitted curves, kind of reading by kind of reading.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
import pandas as pd

from .composed import LEVELS


class Instrument(NamedTuple):
    """A kind of reading: the unit it is in, the finest step it shows, and its usual noise (sd), in that unit."""

    unit: str
    resolution: float
    noise: float

    @property
    def sign(self) -> float:
        """1 for readings that activity raises, -1 for pH, which falls."""
        return -1.0 if self.unit == "pH" else 1.0


#: The kinds of reading; a ruler held by hand, a marked jar, a tape read in %, a pH probe. Common practice, no
#: source: they serve until a shelf has enough curves to speak for itself.
INSTRUMENTS: dict[str, Instrument] = {
    "height_mm": Instrument("mm", 0.3, 1.5),
    "volume_mL": Instrument("mL", 2.0, 10.0),
    "rise_pct": Instrument("%", 0.8, 4.0),
    "ph_direct": Instrument("pH", 0.005, 0.04),
    "ph_slurry": Instrument("pH", 0.005, 0.04),
}
#: What stands in place of a curve where nothing moved.
STRAIGHT_LINE = "straight line"
#: Curves of a kind from which its noise is estimated; common practice, no source.
_CURVES_NEEDED = 8
#: Readings that a curve must have to spare to count among them.
_SPARE_NEEDED = 2
#: Residuals beyond so many times the noise are a poor fit (design of the curves table).
_TOO_FAR = 3.0
#: No curve is exactly a dough: residuals of this share of the range read are no fault of the readings; common
#: practice, no source.
_CURVE_IS_ONLY_A_CURVE = 0.04


def noise_by_kind(curves: pd.DataFrame) -> dict[str, float]:
    """Estimate the noise of each kind of reading from the curves of a shelf.

    Parameters
    ----------
    curves : pandas.DataFrame
        As `shelf.trace_shelf` gives it: ``kind``, ``model``, ``readings``, ``status``, ``rms_residual``.

    Returns
    -------
    dict of str to float
        Standard deviation by kind, in the unit read: the median over the fitted curves that have two readings or
        more to spare, not under the instrument's resolution; the usual noise of the instrument where there are
        fewer than eight of them.

    Examples
    --------
    >>> round(noise_by_kind(pd.DataFrame(columns=["kind", "model", "readings", "status", "rms_residual"]))["rise_pct"])
    4
    """
    fitted = curves[curves["status"].isin(["fitted", "peak not reached"])]
    readings = fitted["readings"].astype(float)
    spare = readings - fitted_with(fitted["model"])
    rss, usual = fitted["rms_residual"] ** 2 * readings, _median_chi_square(spare.where(spare >= _SPARE_NEEDED))
    sd = np.sqrt(rss / usual).dropna()
    found = {kind: it.noise for kind, it in INSTRUMENTS.items()}
    for kind, of_kind in sd.groupby(fitted["kind"]):
        if len(of_kind) >= _CURVES_NEEDED:
            found[str(kind)] = max(float(of_kind.median()), INSTRUMENTS[str(kind)].resolution)
    return found


def _median_chi_square(degrees: pd.Series) -> pd.Series:
    """Median of the chi-square distribution, by which the median of few squares is one of a variance."""
    from scipy.special import chdtri

    return pd.Series(chdtri(degrees, 0.5), index=degrees.index)


def judged(curves: pd.DataFrame, noise: Mapping[str, float] | None = None) -> pd.DataFrame:
    """Name the poor fits among the curves of a shelf.

    Parameters
    ----------
    curves : pandas.DataFrame
        As `shelf.trace_shelf` makes it, with ``range_read``.
    noise : mapping of str to float, optional
        Noise by kind of reading; the usual noise of the instruments where it says nothing.

    Returns
    -------
    pandas.DataFrame
        A copy in which a residual beyond three times the noise, or 12 % of the range read if that is more, has the
        status ``poor fit``. Without activity there is no range to speak of, and the noise alone counts.

    Examples
    --------
    >>> curve = pd.DataFrame(
    ...     {"kind": ["height_mm"], "status": ["fitted"], "reason": [""], "rms_residual": [9.0], "range_read": [50.0]}
    ... )
    >>> judged(curve)[["status", "reason"]].iloc[0].tolist()
    ['poor fit', 'the readings lie 9 mm off the curve, usual are 1.5 mm']
    """
    usual = {kind: it.noise for kind, it in INSTRUMENTS.items()} | dict(noise or {})
    expected = curves["kind"].map(usual).astype(float)
    by_shape = _CURVE_IS_ONLY_A_CURVE * curves["range_read"].where(curves["status"] != "no activity", 0.0)
    poor = curves["rms_residual"] > _TOO_FAR * np.maximum(expected, by_shape)
    found = curves.copy()
    for row in curves.index[poor]:
        unit = INSTRUMENTS[curves.at[row, "kind"]].unit
        said = f"the readings lie {curves.at[row, 'rms_residual']:.2g} {unit} off the curve, usual are"
        before = curves.at[row, "reason"]
        found.at[row, "reason"] = f"{said} {expected[row]:.2g} {unit}" + (f"; {before}" if before else "")
        found.at[row, "status"] = "poor fit"
    return found


def fitted_with(models: pd.Series | np.ndarray) -> np.ndarray:
    """Count the numbers that many curves were fitted with, as `numbers_fitted` does; each name is looked up once."""
    number, names = pd.factorize(models)
    return np.array([*map(numbers_fitted, names), np.nan])[number]


def numbers_fitted(model: str) -> float:
    """Count the numbers that a curve on its start, or a straight line, was fitted with; NaN for none."""
    if model == STRAIGHT_LINE:
        return 2.0
    return float(len(LEVELS[model].parameters)) if model in LEVELS else float("nan")
