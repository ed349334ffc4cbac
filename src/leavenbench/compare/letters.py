"""Letters that groups share which are not shown to differ."""

from __future__ import annotations

from string import ascii_lowercase

import pandas as pd

#: How `differences` says that two groups differ.
DIFFER = "differ"


def shared_letters(means: pd.DataFrame, pairs: pd.DataFrame) -> pd.Series:
    """Return letters by group: two groups without a letter in common differ, and only those.

    Parameters
    ----------
    means : pandas.DataFrame
        As from `differences.means`: group, mean.
    pairs : pandas.DataFrame
        As from `differences.pairs`: first, second, verdict.

    Returns
    -------
    pandas.Series
        By group, in the order of falling means; the letter a goes to the highest.

    Notes
    -----
    Insert and absorb (Piepho 2004, J Comput Graph Stat 13:456-466, doi 10.1198/1061860043515, from memory). To share a
    letter is not to be the same.

    Examples
    --------
    >>> means = pd.DataFrame({"group": list("ABC"), "mean": [3.0, 2.0, 1.0]})
    >>> pairs = pd.DataFrame({"first": ["A"], "second": ["C"], "verdict": ["differ"]})
    >>> shared_letters(means, pairs).to_dict()
    {'A': 'a', 'B': 'ab', 'C': 'b'}
    """
    order = means.sort_values("mean", ascending=False, kind="stable")["group"].tolist()
    alike = [frozenset(order)]
    apart = pairs[pairs["verdict"].str.startswith(DIFFER)]
    for one, other in zip(apart["first"], apart["second"], strict=True):
        split = [part for of in alike for part in ((of - {one}, of - {other}) if {one, other} <= of else (of,))]
        alike = [of for of in dict.fromkeys(split) if not any(of < larger for larger in split)]
    alike.sort(key=lambda of: sorted(order.index(group) for group in of))
    told = {group: "".join(_letter(place) for place, of in enumerate(alike) if group in of) for group in order}
    return pd.Series(told, dtype="str")


def _letter(place: int) -> str:
    """Return the letter of a set of groups: a to z, then a1 and so on."""
    return ascii_lowercase[place % 26] + (str(place // 26) if place >= 26 else "")
