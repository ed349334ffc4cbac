"""An activity curve for every refeed: models, fits, traits with standard errors."""

from .noise import noise_by_kind
from .shelf import curves_table, pool_culture, trace_collection, trace_refeed, trace_shelf
from .signals import signals
from .trace import Trace, trace

__all__ = [
    "Trace",
    "curves_table",
    "noise_by_kind",
    "pool_culture",
    "signals",
    "trace",
    "trace_collection",
    "trace_refeed",
    "trace_shelf",
]
