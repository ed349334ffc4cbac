"""The order of work on the bench: gluten-free first, flour by flour, suspect jars last, clean tools between.

Common practice, no source.
"""

from __future__ import annotations

import pandas as pd

from ...records.collection import Collection
from ..habits import last_jars


def gluten_free(collection: Collection, cultures: pd.Series) -> pd.Series:
    """Tell which cultures are handled as gluten-free, by the flour they are kept on."""
    free = collection["flours"].set_index("flour")["gluten_free"].fillna(False).astype(bool)
    flour = cultures.map(collection["cultures"].set_index("culture")["flour"])
    return flour.map(free).astype("boolean").fillna(False).astype(bool)


def suspicions(collection: Collection, listed: pd.DataFrame, cultures: pd.Series) -> pd.Series:
    """Return in words what speaks against trusting each jar; empty where nothing does."""
    jars = last_jars(collection)
    by_culture = listed.set_index("culture")
    found = []
    for culture in cultures:
        told = []
        signs = jars["signs"].get(culture)
        if signs is not None and not pd.isna(signs):
            told.append(f"signs noted: {signs}")
        if culture in by_culture.index:
            row = by_culture.loc[culture]
            if pd.notna(row.get("identity_doubt")) and row["identity_doubt"]:
                told.append("perhaps not itself")
            if row.get("floor") == "missed":
                told.append("did not sour far enough in time")
        found.append("; ".join(told))
    return pd.Series(found, index=cultures.index, dtype="str")


def in_order(rows: pd.DataFrame) -> pd.DataFrame:
    """Put the jars of a sheet in the order of work.

    Parameters
    ----------
    rows : pandas.DataFrame
        With culture, flour, shelf, shelf_order, gluten_free, suspect.

    Returns
    -------
    pandas.DataFrame
        In order, with position (from 1) and clean_before. A suspect gluten-free jar is the last of the gluten-free
        ones: flour with gluten never comes before it.

    Examples
    --------
    >>> rows = pd.DataFrame({"culture": list("abcd"), "flour": ["rye", "rice", "wheat", "rye"], "shelf": "",
    ...     "shelf_order": 1, "gluten_free": [False, True, False, False], "suspect": [True, False, False, False]})
    >>> in_order(rows)[["position", "culture", "clean_before"]].values.tolist()
    [[1, 'b', True], [2, 'd', True], [3, 'c', True], [4, 'a', True]]
    """
    last = rows["suspect"] & ~rows["gluten_free"]
    block = pd.Series(1, index=rows.index).mask(rows["gluten_free"], 0).mask(last, 2)
    ordered = rows.assign(block=block).sort_values(
        ["block", "suspect", "flour", "shelf", "shelf_order", "culture"], kind="stable", ignore_index=True
    )
    ordered["position"] = ordered.index + 1
    before = ordered.shift()
    same = (ordered["flour"] == before["flour"]) & (ordered["block"] == before["block"])
    ordered["clean_before"] = ~same | ordered["suspect"] | before["suspect"].eq(True)
    return ordered.drop(columns="block")
