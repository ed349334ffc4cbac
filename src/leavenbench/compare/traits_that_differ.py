"""In which traits groups differ at all: one test a trait, adjusted for how many traits were looked at."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd
from scipy import stats

from ..columns import RESULTS
from ..records.collection import Collection
from .design import answerable
from .differences import CHANCE, overall
from .mixed import CannotCompare, compared
from .observations import COMPARED, every_trait
from .second_opinion import second_opinion


def traits_that_differ(
    collection: Collection,
    curves: pd.DataFrame,
    vigour: pd.DataFrame,
    by: str = "culture",
    traits: Sequence[str] = tuple(COMPARED),
    progress: Callable[[int, int], None] | None = None,
) -> pd.DataFrame:
    """Test trait by trait whether all groups are the same.

    Parameters
    ----------
    collection : Collection
        The records.
    curves, vigour : pandas.DataFrame
        Its curves and vigour tables.
    by : str
        What is compared: culture, flour, grain or origin.
    traits : sequence of str
        Which, of `COMPARED`; all by default.
    progress : callable, optional
        Called with how many traits are done and how many there are.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["traits_compared"]``, in the order of the traits; p is missing where the records
        cannot tell, and the words say why. p values are adjusted by the share of false findings.

    Raises
    ------
    CannotRead
        There is nothing such to compare by.

    References
    ----------
    Benjamini & Hochberg 1995, J R Stat Soc B 57:289-300, doi 10.1111/j.2517-6161.1995.tb02031.x.
    """
    observed = every_trait(collection, curves, vigour, by, traits)
    rows = []
    for number, (trait, told) in enumerate(observed.items(), 1):
        rows.append({"trait": trait, "by": by} | _row(answerable(told, by), by))
        if progress is not None:
            progress(number, len(observed))
    made = RESULTS["traits_compared"]
    table = pd.DataFrame(rows, columns=made.names).astype(made.dtypes())
    tested = table["p"].notna()
    if tested.any():
        p = stats.false_discovery_control(table.loc[tested, "p"].to_numpy(float))
        table.loc[tested, "p_adjusted"] = p
        table.loc[tested, "words"] = np.where(p < CHANCE, "differs", "no difference shown")
    return table


def _row(told: pd.DataFrame, by: str) -> dict[str, object]:
    row: dict[str, object] = {"groups": told[by].nunique(), "refeeds": len(told)}
    try:
        found = overall(compared(told, by))
    except CannotCompare as refusal:
        return row | {"words": str(refusal)}
    row |= {"F": found.F, "freedom_groups": found.freedom[0], "freedom_errors": found.freedom[1], "p": found.p}
    try:
        return row | {"p_plain": second_opinion(told, by).p}
    except CannotCompare:
        return row
