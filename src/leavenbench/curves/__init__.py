"""An activity curve for every refeed: models, fits, traits with standard errors."""

from .history import history_prior
from .noise import noise_by_kind
from .shelf import pool_culture, trace_refeed, trace_shelf
from .signals import signals
from .table import Known, curves_table, known_of, trace_collection
from .trace import Trace, trace, trace_signal

__all__ = [
    "Known",
    "Trace",
    "curves_table",
    "history_prior",
    "known_of",
    "noise_by_kind",
    "pool_culture",
    "signals",
    "trace",
    "trace_collection",
    "trace_refeed",
    "trace_shelf",
    "trace_signal",
]
