"""A table of the year, in its declared columns, with the line that says what is counted, when and how."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from ...columns import RESULTS


def captioned(name: str, rows: pd.DataFrame | Iterable[Mapping[str, object]], caption: str) -> pd.DataFrame:
    """Return a table in the columns declared for it, with its caption in `attrs`.

    Parameters
    ----------
    name : str
        A table of ``RESULTS``.
    rows : pandas.DataFrame or iterable of mapping
        Its rows; columns that are not declared are left out.
    caption : str
        n, period and method in one line.

    Returns
    -------
    pandas.DataFrame

    Examples
    --------
    >>> made = captioned("year_by_grain", [{"grain": "rye", "cultures": 2, "share_pct": 100.0}], "2 cultures")
    >>> made.attrs["caption"], made["cultures"].dtype
    ('2 cultures', Int64Dtype())
    """
    declared = RESULTS[name]
    table = rows if isinstance(rows, pd.DataFrame) else pd.DataFrame(list(rows), columns=declared.names)
    made = table[declared.names].reset_index(drop=True).astype(declared.dtypes())
    made.attrs["caption"] = caption
    return made


def sentence(told: list[str]) -> str:
    """Return what is told as one sentence; empty when it is nothing.

    Examples
    --------
    >>> sentence(["no flour was weighed", "2 gaps"]), sentence([])
    ('No flour was weighed; 2 gaps.', '')
    """
    words = "; ".join(told)
    return f"{words[0].upper()}{words[1:]}." if told else ""


def count_of(number: int, what: str, several: str = "") -> str:
    """Return a number with its noun.

    Examples
    --------
    >>> count_of(1, "culture"), count_of(2, "culture"), count_of(0, "loss", "losses")
    ('1 culture', '2 cultures', '0 losses')
    """
    return f"{number:,} {what if number == 1 else several or what + 's'}"
