"""Rows by number: to which level each belongs, which round of its series it is, what it is a mixture of."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

#: What makes a history of a culture, and a round in it.
HISTORY = ["culture", "history"]
ROUND = [*HISTORY, "round"]


def level_numbers(values: pd.DataFrame, by: Sequence[str]) -> np.ndarray:
    """Return to which of the levels that columns make together each row belongs, by number.

    Parameters
    ----------
    values : pandas.DataFrame
        Rows.
    by : sequence of str
        Its columns that make a level.

    Returns
    -------
    numpy.ndarray of int, shape (n,)
        Numbers in the order in which levels come; -1 where a column is missing.

    Examples
    --------
    >>> fed = pd.DataFrame({"culture": ["Alba", "Alba", "Bora", None], "round": [1, 2, 1, 1]})
    >>> level_numbers(fed, ["culture", "round"]).tolist()
    [0, 1, 2, -1]
    """
    number = np.zeros(len(values), np.int64)
    for name in by:
        of_one, told = pd.factorize(values[name])
        number = np.where((number < 0) | (of_one < 0), -1, number * len(told) + of_one)
    return pd.factorize(np.where(number < 0, np.nan, number))[0]


def nth_round(values: pd.DataFrame, series: Sequence[str]) -> np.ndarray:
    """Return the number of rounds that came before each row's own in its series, for rows in order of time.

    Examples
    --------
    >>> fed = pd.DataFrame({"culture": ["Alba", "Bora", "Alba", "Alba"], "round": [4, 4, 4, 5]})
    >>> nth_round(fed, ["culture"]).tolist()
    [0, 0, 0, 1]
    """
    of_round = level_numbers(values, [*series, "round"])
    _, first = np.unique(of_round, return_index=True)
    begun = values.iloc[first].groupby(level_numbers(values, series)[first]).cumcount()
    return begun.to_numpy()[of_round]


def in_words(told: np.ndarray, words: Sequence[Sequence[str]]) -> np.ndarray:
    """Name what each row is made of; few mixtures come again and again.

    Parameters
    ----------
    told : numpy.ndarray of int or bool, shape (n, k)
        0 for what is not in a row, else by which of its words it is called, counted from 1.
    words : sequence of sequence of str, length k
        The words for each.

    Returns
    -------
    numpy.ndarray of object, shape (n,)
        The words of each row, between commas.

    Examples
    --------
    >>> in_words(np.array([[1, 2], [0, 1]]), [["rise"], ["acid", "acid (at least)"]]).tolist()
    ['rise, acid (at least)', 'acid']
    """
    places = (1 + max(map(len, words))) ** np.arange(len(words))
    _, first, which = np.unique(told @ places, return_index=True, return_inverse=True)
    rows = [[of[how - 1] for of, how in zip(words, row, strict=True) if how] for row in told[first].astype(int)]
    return np.array([", ".join(row) for row in rows], object)[which]
