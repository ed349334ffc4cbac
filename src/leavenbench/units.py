"""Units at the edge: the one pint registry, and the conversion of what people type.

Inside the package every number is a plain float in a canonical unit, with the unit in the column's name.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

from .errors import LeavenbenchError

if TYPE_CHECKING:
    import numpy as np
    import pint

#: What people write for a temperature, beside the names that pint knows ("C" alone would be coulomb).
_TEMPERATURES = {
    "c": "degC", "°c": "degC", "ºc": "degC", "℃": "degC", "celsius": "degC", "degc": "degC",
    "f": "degF", "°f": "degF", "ºf": "degF", "℉": "degF", "fahrenheit": "degF", "degf": "degF",
    "k": "kelvin",
}  # fmt: skip
#: What people write and pint takes for another unit: its "gr" is the grain, its "Mm" the megametre.
_WRITTEN = {"gr": "g", "mm": "mm", "cm": "cm", "ml": "mL", "fl oz": "fluid_ounce"}


class UnknownUnit(LeavenbenchError):
    """A unit that cannot be read, or that measures something else."""


@lru_cache(maxsize=1)
def registry() -> pint.UnitRegistry:
    """Return the package's only unit registry, made on first use.

    Examples
    --------
    >>> str(registry()("2.5 inch").to("mm"))
    '63.5 millimeter'
    """
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=False)


@lru_cache(maxsize=256)
def _unit(written: str, canonical: str) -> Any:
    wanted = _parsed(canonical)
    spelling = _WRITTEN.get(written.strip().casefold(), written.strip())
    if wanted is not None and wanted.dimensionality == registry().kelvin.dimensionality:
        spelling = _TEMPERATURES.get(spelling.replace(" ", "").casefold(), spelling)
    for case_sensitive in (True, False):
        unit = _parsed(spelling, case_sensitive=case_sensitive)
        if unit is not None and wanted is not None and unit.dimensionality == wanted.dimensionality:
            return unit
    raise UnknownUnit(f"'{written}' is not a unit for what is measured in {canonical}; use {canonical}")


def _parsed(spelling: str, *, case_sensitive: bool = True) -> Any:
    """Return pint's unit; None where it knows none, or where powers of powers would keep it busy for ever."""
    if len(spelling) > 40 or sum(sign.isdigit() for sign in spelling) > 2:
        return None
    try:
        return registry().parse_units(spelling, case_sensitive=case_sensitive)
    except Exception:  # beside its own errors, pint's tokenizer raises all kinds on stray brackets and signs
        return None


def to_canonical(values: np.ndarray | float, written: str, canonical: str) -> Any:
    """Convert numbers from the unit that somebody wrote to the canonical one.

    Parameters
    ----------
    values : array_like or float
        Numbers in the written unit; temperatures may be on an offset scale.
    written : str
        The unit as typed in a header or cell, such as ``cm``, ``degF`` or ``oz``.
    canonical : str
        The unit of the column's declaration.

    Returns
    -------
    numpy.ndarray or float
        The same quantities in `canonical`.

    Raises
    ------
    UnknownUnit
        The unit cannot be read, or measures something else.

    Examples
    --------
    >>> round(to_canonical(77.0, "degF", "degC"), 6)
    25.0
    >>> round(to_canonical(4.5, "cm", "mm"), 6)
    45.0
    """
    if written == canonical:
        return values
    unit = _unit(written, canonical)
    return registry().Quantity(values, unit).to(canonical).magnitude
