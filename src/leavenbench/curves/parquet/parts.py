"""A folder of readings in parts that are fitted on their own: the readings of a refeed in one of them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from ..models import Array
from .files import Stretch, nothing, read, row_groups

if TYPE_CHECKING:
    from dask.dataframe import DataFrame as Lazy
    from distributed import Client

Part = tuple[Stretch, ...]


class Parts(NamedTuple):
    """A folder in parts.

    Attributes
    ----------
    parts : list of Part
        What is read at once.
    shared : list of numpy.ndarray of object
        The refeeds of each part that have readings in others as well.
    bundles : int
        Parts that the readings of all those refeeds make.
    curves : int
        Signals of refeeds in the folder.
    """

    parts: list[Part]
    shared: list[Array]
    bundles: int
    curves: int

    @classmethod
    def of(cls, folder: Path, client: Client | None, together: int) -> Parts:
        """Look through the names of a folder's refeeds; parts have about so many readings together."""
        import dask.dataframe as dd

        parts = _parts(row_groups(folder), together)
        found = dd.from_map(_named, parts, range(len(parts)), meta=_named((), 0)).compute(scheduler=client)
        places = found.drop_duplicates(["refeed", "part"])
        apart = found["refeed"].isin(places.loc[places["refeed"].duplicated(), "refeed"])
        of_part = found[apart].groupby("part")["refeed"].unique()
        shared = [np.asarray(of_part.get(part, []), object) for part in range(len(parts))]
        bundles = -(-int(found.loc[apart, "readings"].sum()) // together)
        return cls(parts, shared, bundles, len(found.drop_duplicates(["refeed", "signal"])))

    def readings(self) -> Lazy:
        """Return the readings, those of a refeed in one partition; refeeds shared by parts stand at the end."""
        import dask.dataframe as dd

        whole = dd.from_map(_read_but, self.parts, self.shared, meta=nothing())
        some = [part for part, refeeds in enumerate(self.shared) if len(refeeds)]
        if not some:
            return whole
        chosen = [self.parts[part] for part in some], [self.shared[part] for part in some]
        shared = dd.from_map(_read_only, *chosen, meta=nothing())
        # by tasks, their rows come in the same order every time
        return dd.concat([whole, shared.shuffle("refeed", npartitions=self.bundles, shuffle_method="tasks")])


def _parts(groups: pd.DataFrame, together: int) -> list[Part]:
    """Put row groups together to parts of about so many rows; a folder without any is one part."""
    part = (groups["rows"].cumsum() - groups["rows"]) // together
    numbers = groups.groupby([part, "file", "state"], sort=False)["group"].agg(tuple)
    parts: dict[int, Part] = {}
    for (of, file, state), of_file in numbers.items():
        parts[of] = (*parts.get(of, ()), Stretch(file, state, of_file))
    return [*parts.values()] or [()]


def _named(part: Part, number: int) -> pd.DataFrame:
    """Count the readings of each signal of each refeed of a part."""
    names = read(part, ["refeed", "signal"])
    return names.groupby(["refeed", "signal"], sort=False).size().reset_index(name="readings").assign(part=number)


def _read_but(part: Part, refeeds: Array) -> pd.DataFrame:
    """Read a part without some refeeds."""
    readings = read(part)
    return readings[~readings["refeed"].isin(refeeds)] if len(refeeds) else readings


def _read_only(part: Part, refeeds: Array) -> pd.DataFrame:
    """Read some refeeds of a part."""
    readings = read(part)
    return readings[readings["refeed"].isin(refeeds)]
