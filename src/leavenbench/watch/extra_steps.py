"""What extra steps say: a jar that had to be fed once more before it passed.

In each of the last rounds an extra step, or none, has a likelihood ratio for a weak culture against a healthy one. It
counts a fifth in the log: a jar that was slow to pass shows it in its curves as well, and nothing may count twice.
"""

from __future__ import annotations

import numpy as np

from .series import Array, Series

#: Share of the rounds of a weak culture that take an extra step, and that of healthy ones where a shelf cannot tell
#: (common practice, no source).
_WEAK, _HEALTHY = 0.4, 0.03
#: The usual share counts as so many rounds of a shelf, the shelf's as so many of a culture.
_SHELF_COUNTS, _CULTURE_COUNTS = 50.0, 10.0
_LAST_ROUNDS = 3
_COUNTS, _LEAST, _MOST = 0.2, -0.2, 1.0


def evidence_of_extra_steps(series: Series, extra_steps: Array) -> Array:
    """Return the log odds that the last rounds' extra steps add to a decline.

    Parameters
    ----------
    series : Series
        The levels of a shelf.
    extra_steps : numpy.ndarray, shape (n,)
        Extra steps of each round; missing (NaN) where passing is not recorded, which says nothing.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Looking back only.
    """
    told = ~np.isnan(extra_steps)
    extra = (np.where(told, extra_steps, 0.0) > 0.0).astype(float)
    healthy = _usual_share(series, told, extra)
    ratio = np.where(extra > 0.0, np.log(_WEAK / healthy), np.log((1.0 - _WEAK) / (1.0 - healthy)))
    each = _COUNTS * np.where(told, ratio, 0.0)
    whole = np.zeros(len(each))
    for back in range(min(_LAST_ROUNDS, len(each))):
        whole[back:] += np.where(series.nth[back:] >= back, each[: len(each) - back], 0.0)
    return np.clip(whole, _LEAST, _MOST)


def _usual_share(series: Series, told: Array, extra: Array) -> Array:
    """Return the share of rounds with an extra step that is usual for each culture, from its earlier rounds."""
    order = np.argsort(series.at, kind="stable")
    rounds, extras = (np.empty(len(order)) for _ in range(2))
    rounds[order], extras[order] = np.cumsum(told[order]), np.cumsum(extra[order])
    shelf = (extras - extra + _SHELF_COUNTS * _HEALTHY) / (rounds - told + _SHELF_COUNTS)
    before = [np.cumsum(of) - of for of in (extra, told.astype(float))]
    own_extras, own_rounds = (of - of[series.first] for of in before)
    share = (own_extras + _CULTURE_COUNTS * shelf) / (own_rounds + _CULTURE_COUNTS)
    return np.clip(share, 0.005, 0.9 * _WEAK)
