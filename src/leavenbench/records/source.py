"""One place where rows of a table stand, and how names are compared."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Source:
    """One place where rows of a table stand.

    Attributes
    ----------
    table : str
        The table's name.
    path : pathlib.Path
        The file.
    name : str
        The file as problems show it, relative to the collection's folder.
    sheet : str
        The sheet to read from a workbook; empty for the sheet of the table's name, else the first.
    """

    table: str
    path: Path
    name: str
    sheet: str = ""


def plain(words: str) -> str:
    """Return a name without case, spaces, hyphens and underscores, as headers are compared.

    Examples
    --------
    >>> plain("Start-Height")
    'startheight'
    """
    return re.sub(r"[\s_\-]+", "", words).casefold()
