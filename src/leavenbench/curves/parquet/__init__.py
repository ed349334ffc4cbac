"""Curves of a shelf that is kept in a folder of Parquet files, fitted part by part on whatever runs dask.

A refeed needs no other, so the parts of a folder go to the workers of a cluster, and each is fitted as
`shelf.trace_shelf` fits a table: the rows are the same. All it takes is that no refeed is fitted in pieces. Loggers
write a file a day or a month, so some refeeds begin in one file and end in another. These are found beforehand, by
their names alone, and their readings are brought together before they are fitted.

In the order of reading: `files` reads them, `parts` says what is read and fitted at once, `trace` fits it, and
`written` writes the curves, whole or not at all.
"""

from .trace import lazy_curves, trace_parquet

__all__ = ["lazy_curves", "trace_parquet"]
