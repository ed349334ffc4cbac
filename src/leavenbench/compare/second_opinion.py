"""A plain second opinion beside the mixed model: one number per witness, and Welch's test.

What repeats is averaged away instead of modelled: of a culture each round is one witness, of a flour, grain or origin
each culture. It knows nothing of days, jars and errors, but it rests on little, and whoever doubts a model can redo it.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from statsmodels.stats.oneway import anova_oneway

from .differences import Overall
from .mixed import CannotCompare
from .trait_means import without_steps

#: Witnesses of a group that it takes to see how they scatter.
_FEWEST = 2


def second_opinion(observed: pd.DataFrame, by: str = "culture") -> Overall:
    """Test whether all groups are the same, each witness counted once (Welch 1951).

    Groups with a single witness, or whose witnesses do not scatter at all, are left out.

    Parameters
    ----------
    observed : pandas.DataFrame
        From `observations.observations`; what a step does is taken out first.
    by : str
        What is compared: culture, flour, grain or origin.

    Returns
    -------
    Overall

    Raises
    ------
    CannotCompare
        Fewer than two groups have two witnesses.

    References
    ----------
    Welch 1951, Biometrika 38:330-336, doi 10.1093/biomet/38.3-4.330.

    Examples
    --------
    >>> rows = {"culture": list("AAAABBBB"), "round": [1, 1, 2, 2] * 2, "step": [1, 2] * 4, "trait": "rise extent"}
    >>> observed = pd.DataFrame({**rows, "value": [2.0, 2.4, 2.1, 2.5, 3.0, 3.3, 3.2, 3.6]})
    >>> round(second_opinion(observed).p, 3)
    0.048
    """
    told = without_steps(observed)
    witness = [by, "round"] if by == "culture" else [by, "culture"]
    means = told.groupby(witness)["value"].mean()
    own = {group: of.to_numpy(float) for group, of in means.groupby(level=0)}
    kept = [of for of in own.values() if len(of) >= _FEWEST and np.ptp(of) > 0.0]
    if len(kept) < 2:
        counts = pd.DataFrame({"group": list(own), "witnesses": [len(of) for of in own.values()]})
        raise CannotCompare(f"{len(kept)} {by} with {_FEWEST} {witness[1]}s or more: it takes two", counts)
    found = anova_oneway(kept, use_var="unequal")
    return Overall(float(found.statistic), (int(found.df_num), float(found.df_denom)), float(found.pvalue))
