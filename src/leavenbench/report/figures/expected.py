"""The band that a jar's own history lets expect, and the readings that came back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from ...care.bench.sheet import BenchSheet
from .style import DEEP, INK, PALE, finished, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LABELS = {"mm": "Height of the dough [mm]", "%": "Rise over the start [%]", "pH": "pH"}


def plot_expected(
    sheet: BenchSheet,
    culture: str,
    signal: str = "rise",
    laid: pd.DataFrame | None = None,
    *,
    ax: Axes | None = None,
) -> Axes:
    """Draw what a jar's history lets expect at a step, and what was read.

    Parameters
    ----------
    sheet : BenchSheet
        A bench sheet.
    culture : str
        One of its jars.
    signal : str
        rise or acid.
    laid : pandas.DataFrame, optional
        Readings that came back, as `care.bench.came_back` lays them.
    ax : matplotlib.axes.Axes, optional
        Where to draw.

    Returns
    -------
    matplotlib.axes.Axes
    """
    axes = new_axes(5.2, 3.2) if ax is None else ax
    band = sheet.bands[(sheet.bands["culture"] == culture) & (sheet.bands["signal"] == signal)]
    band = band.sort_values("elapsed_h")
    title = f"{culture}, step {sheet.step} on {sheet.day}"
    unit = band["unit"].iloc[0] if len(band) else "pH" if signal == "acid" else "mm"
    hours = band["elapsed_h"].to_numpy(float)
    low, middle, high = (band[name].to_numpy(float) for name in ("low", "middle", "high"))
    if len(band):
        told = f"nine in ten, from {int(band['refeeds'].max())} refeeds"
        axes.fill_between(hours, low, high, color=PALE, label=told)
        axes.plot(hours, middle, color=INK, linewidth=1.0, linestyle="--", label="middle")
    else:
        axes.text(0.5, 0.5, "no band: fewer than three refeeds\nwere read at this step", ha="center", va="center",
                  transform=axes.transAxes, fontsize=9)  # fmt: skip
    if laid is not None:
        own = laid[(laid["sheet"] == sheet.identity) & (laid["culture"] == culture) & (laid["signal"] == signal)]
        axes.plot(own["elapsed_h"], own["value"], "o", color=DEEP, markersize=5, label="read")
    if axes.get_legend_handles_labels()[0]:
        axes.legend(loc="best", frameon=False, fontsize=8)
    else:
        axes.set(xticks=[], yticks=[])
    return finished(axes, title, "Time since feeding [h]", _LABELS[unit])
