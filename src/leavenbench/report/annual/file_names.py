"""Names of cultures as names of files, on any file system."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

#: Names that one file system or another keeps for itself.
_KEPT = {"con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in range(1, 10))}
#: Bytes that any file system takes, an ending and a number included, are 255.
_LONGEST = 200


def file_names(names: Iterable[str], ending: str) -> dict[str, str]:
    """Return a file's name for each of some names, no two alike in whatever case.

    Examples
    --------
    >>> file_names(["Alba", "alba", "../rye", "a:b", "NUL"], ".html")
    {'Alba': 'Alba.html', 'alba': 'alba-2.html', '../rye': '_rye.html', 'a:b': 'a_b.html', 'NUL': '_NUL.html'}
    """
    taken: set[str] = set()
    found = {}
    for name in names:
        stem, number = _safe(name), 1
        wanted = stem
        while stem.casefold() in taken:
            number += 1
            stem = f"{wanted}-{number}"
        taken.add(stem.casefold())
        found[name] = stem + ending
    return found


def _safe(name: str) -> str:
    plain = re.sub(r"[^\w\- ]+", "_", unicodedata.normalize("NFC", name)).strip(" ")
    plain = plain.encode()[:_LONGEST].decode(errors="ignore") or "_"
    return f"_{plain}" if plain.casefold() in _KEPT else plain
