"""A culture's curves, small, over its rounds and steps: what changed can be seen at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from ...curves import Known, signals, trace_signal
from ...records.collection import Collection
from .curve import draw_trace
from .style import PALE

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Rounds shown, the last ones; more would be too small to read.
_MOST_ROUNDS = 8


def plot_culture(
    collection: Collection,
    culture: str,
    signal: str = "rise",
    rounds: int = _MOST_ROUNDS,
    *,
    known: Known | None = None,
) -> Figure:
    """Draw a culture's curves as small multiples, a column for each round and a row for each step.

    Parameters
    ----------
    collection : Collection
        The records.
    culture : str
        Which culture.
    signal : str
        rise or acid.
    rounds : int
        How many of its last rounds.
    known : Known, optional
        As for `plot_curve`.

    Returns
    -------
    matplotlib.figure.Figure
        All panels share their axes, so that heights compare.
    """
    import matplotlib.pyplot as plt

    own = collection["refeeds"][(collection["refeeds"]["culture"] == culture) & collection["refeeds"]["round"].notna()]
    last = sorted(own["round"].unique())[-rounds:]
    own = own[own["round"].isin(last)]
    steps = sorted(own["step"].dropna().unique())
    readings = collection["readings"][collection["readings"]["refeed"].isin(own["refeed"])]
    read = signals(readings, own, collection["vessels"])
    read = read[read["signal"] == signal]
    shape = (max(len(steps), 1), max(len(last), 1))
    figure, panels = plt.subplots(
        *shape,
        sharex=True,
        sharey=True,
        squeeze=False,
        layout="constrained",
        figsize=(1.1 + 1.05 * shape[1], 0.9 + 1.1 * shape[0]),
    )
    for panel in panels.flat:
        panel.tick_params(labelsize=7)
        panel.set_facecolor("white")
    for one in own.dropna(subset="step").to_dict("records"):
        panel = panels[steps.index(one["step"]), last.index(one["round"])]
        _draw_small(panel, read[read["refeed"] == one["refeed"]], signal, known)
    for place, number in enumerate(last):
        fed = own[own["round"] == number]["fed_at"].min()
        panels[0, place].set_title(f"round {number}\n{fed:%Y-%m}", fontsize=7.5)
    for place, step in enumerate(steps):
        panels[place, 0].set_ylabel(f"step {step}", fontsize=8)
    figure.supxlabel("Time since feeding [h]", fontsize=9)
    figure.supylabel("Rise over the start [%]" if signal == "rise" else "pH", fontsize=9)
    figure.suptitle(
        f"{culture}: {signal}, {len(own)} refeeds in its last {len(last)} rounds", fontsize=10, x=0.01, ha="left"
    )
    return figure


def _draw_small(panel, read: pd.DataFrame, signal: str, known: Known | None) -> None:  # type: ignore[no-untyped-def]
    if read.empty:
        panel.set_facecolor(PALE)
        return
    hours, values = (read.loc[~read["high_mark"], name].to_numpy() for name in ("elapsed_h", "value"))
    draw_trace(panel, hours, values, trace_signal(read, *(known or ())), signal)
    for line in panel.get_lines():
        line.set_markersize(2.0)
        line.set_linewidth(1.0)
    panel.margins(x=0.03)
