"""Columns of text in which the same words come again and again: each distinct text is kept once and looked at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from pandas.api.types import union_categoricals

#: So many cells tell whether the words of a column repeat.
_SOME = 1000
Answers = TypeVar("Answers", pd.Series, pd.DataFrame)


def distinct(cells: pd.Series) -> pd.Series:
    """Return cells of text without the spaces around them; as categories, where the same words come again and again.

    Parameters
    ----------
    cells : pandas.Series of str
        Cells; empty ones are empty text.

    Returns
    -------
    pandas.Series of category or str
        The same cells.

    Examples
    --------
    >>> distinct(pd.Series(["4.5", " 4.5", "", "", "4.5", "4.5"])).cat.categories.tolist()
    ['4.5', '']
    """
    some = cells.head(_SOME)
    if 2 * some.nunique() > len(some):
        return cells.str.strip()
    if 2 * len(stretches(some)) > len(some):
        which, texts = pd.factorize(cells)
    else:
        begins = stretches(cells)
        which, texts = pd.factorize(cells.iloc[begins])
        which = np.repeat(which, np.diff(begins, append=len(cells)))
    bare = texts.str.strip()
    if not bare.equals(texts):  # with and without a space, they may be one text
        again, bare = pd.factorize(bare)
        which = again[which]
    return pd.Series(pd.Categorical.from_codes(which, bare, validate=False), index=cells.index)


def texts_of(cells: pd.Series) -> pd.Series:
    """Return the distinct texts of a column, where it has been told apart; any other column as it is."""
    return pd.Series(cells.cat.categories) if _is_distinct(cells) else cells


def spread(answers: Answers, cells: pd.Series) -> Answers:
    """Return for every cell what was found out about its text."""
    return answers.take(cells.array.codes).set_axis(cells.index) if _is_distinct(cells) else answers


def each_once(cells: pd.Series, look: Callable[[pd.Series], pd.Series]) -> pd.Series:
    """Ask of each text once what depends on the text alone.

    Parameters
    ----------
    cells : pandas.Series
        Cells; where they are no categories, each cell is asked.
    look : callable
        Answers for a Series of texts, aligned with it.

    Returns
    -------
    pandas.Series
        The answers, aligned with the cells.

    Examples
    --------
    >>> each_once(pd.Series(["7", "12", "7"], dtype="category"), lambda texts: texts.str.len()).tolist()
    [1, 2, 1]
    """
    return spread(look(texts_of(cells)), cells)


def stretches(cells: pd.Series) -> np.ndarray:
    """Return where each stretch of equal cells begins: the rows of one refeed mostly stand together.

    Examples
    --------
    >>> stretches(pd.Series(["a", "a", "b", "a"])).tolist()
    [0, 2, 3]
    """
    text = pa.array(cells)
    other = pc.fill_null(pc.not_equal(text[1:], text[:-1]), True).to_numpy(zero_copy_only=False)
    return np.flatnonzero(np.append(True, other)[: len(text)])


def places_in(known: pd.Series | pd.Index, names: pd.Series) -> pd.Series:
    """Return where each name stands among known names, each stretch looked up once; -1 where it does not."""
    begins = stretches(names)
    heads, told = pa.array(names.iloc[begins]), pa.array(known)
    if heads.type == told.type:
        places = pc.fill_null(pc.index_in(heads, value_set=told), -1).to_numpy()
    else:
        places = pd.Index(known).get_indexer(names.iloc[begins])
    return pd.Series(np.repeat(places, np.diff(begins, append=len(names))), index=names.index)


def at_places(values: Answers, places: pd.Series) -> Answers:
    """Return what stands at each place, aligned with the places; missing at -1."""
    return values.reset_index(drop=True).reindex(places).set_axis(places.index)


def joined(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """Put tables of cells below each other; what is distinct texts in all of them stays so."""
    alike = [name for name in parts[0] if all(name in part and _is_distinct(part[name]) for part in parts)]
    others = pd.concat([part.drop(columns=alike) for part in parts], ignore_index=True)
    return others.assign(**{name: union_categoricals([part[name] for part in parts]) for name in alike})


def _is_distinct(cells: pd.Series) -> bool:
    return isinstance(cells.dtype, pd.CategoricalDtype)
