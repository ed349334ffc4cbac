"""How much surer the vigour of a refeed would be if its jar were read more often, or less."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from ..records.collection import Collection
from ..records.living import history_numbers
from .traits import TRAITS, log_traits
from .worth import worth_of

#: A trait counts when so many of the refeeds show it.
_USUALLY = 0.5


def variance_by_readings(
    collection: Collection, curves: pd.DataFrame, times: Sequence[float] = (0.5, 1.0, 2.0)
) -> dict[float, float]:
    """Say how the variance of a refeed's vigour changes with the number of its readings.

    Parameters
    ----------
    collection : Collection
        The records.
    curves : pandas.DataFrame
        Its curves table.
    times : sequence of float
        Readings of a refeed, over those made now.

    Returns
    -------
    dict of float to float
        By those, what is added to the variance of log vigour of a single refeed. The errors of its traits fall with
        the root of the number of readings; how far traits stray by themselves stays. Zero where no trait is known.
    """
    refeeds = collection["refeeds"][["refeed", "culture", "step", "fed_at"]]
    own = refeeds.assign(history=history_numbers(collection))
    traits = log_traits(collection, curves)
    traits = traits.assign(refeed=traits["refeed"].astype("str")).merge(own, how="inner", on="refeed")
    sound = traits[traits["value"].notna() & ~traits["at_least"].astype(bool)]
    if sound.empty:
        return dict.fromkeys(times, 0.0)
    worth = worth_of(traits)
    told = sound.groupby("trait", observed=False)["se"].agg(["median", "size"]).reindex(TRAITS)
    shown = (told["size"] >= _USUALLY * told["size"].max()).to_numpy() & (worth.loading > 0.0)
    error = told["median"].to_numpy()[shown]

    def variance(of: float) -> float:
        sd = np.sqrt(worth.alone[shown] ** 2 + error**2 / of)
        weight = worth.loading[shown] / sd
        return float(1.0 / (weight @ np.linalg.solve(worth.correlation[np.ix_(shown, shown)], weight)))

    return {of: variance(of) - variance(1.0) for of in times}
