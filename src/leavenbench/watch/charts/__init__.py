"""The control charts that keepers and auditors know, CUSUM and EWMA, looking for a fall.

They stand beside the evidence for comparison; no standing rests on them. `statistics` follows a culture round by round,
`run_length` says how long a chart runs until it signals, and which limit makes it run as long as is wished. How long a
chart runs is known for independent normal levels about a known baseline. Vigour is neither: its rounds go with their
neighbours and its baseline comes from six of them. Neighbours correlated at .3, charts set to 600 rounds give false
signals about six times as often as that (simulated in their tests). That is why alerts are calibrated by simulation.
"""

from .run_length import limit_for, run_length_cusum, run_length_ewma
from .statistics import charts_of, cusum, ewma

__all__ = ["charts_of", "cusum", "ewma", "limit_for", "run_length_cusum", "run_length_ewma"]
