"""Draw the eight hard cases of the test suite: `python tests/benchmarks/hard_cases.py` makes hard_cases.png.

Each panel is a jar as the curves table tells of it, beside what is true: with the help of the culture's earlier refeeds
where it was read too seldom, and in words what its readings say by themselves. Heights are in % of the start as fitted.
"""

from __future__ import annotations

import runpy
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import matplotlib as mpl
import numpy as np
import pandas as pd

from leavenbench.curves import Trace, trace_signal
from leavenbench.curves.noise import INSTRUMENTS
from leavenbench.curves.trace import Trait
from leavenbench.report.figures.curve import as_drawn, draw_trace
from leavenbench.report.figures.style import INK, finished

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

CASES = runpy.run_path(str(Path(__file__).parents[1] / "curves" / "hard_cases" / "cases.py"))
NOISE = {kind: it.noise for kind, it in INSTRUMENTS.items()}
SHAPE, SIZE_IN, DPI = (2, 4), (14.0, 7.8), 100
#: Truth is shown at least until this hour [h], also where the readings end.
_SHOWN_H = 12.0
_TOLD = {"extent": ("extent", "%"), "max_rate": ("slope", "%/h")}
_SAYS = "Eight hard cases, all invented: what is told of each jar (± standard error), and the truth"
_ALONE = {"color": INK, "markerfacecolor": "white"}
_BEYOND = {"found": 1.07, "alone": 1.14}


def main() -> None:
    """Draw the figure beside this file."""
    mpl.use("Agg")
    drawn().savefig(Path(__file__).with_suffix(".png"), dpi=DPI, pil_kwargs={"optimize": True})


def drawn() -> Figure:
    """Return the figure."""
    import matplotlib.pyplot as plt

    observed, prior = CASES["observed"](), CASES["prior"]()
    figure, panels = plt.subplots(*SHAPE, figsize=SIZE_IN, layout="constrained")
    figure.get_layout_engine().set(w_pad=0.1, h_pad=0.1)
    for ax, (case, truth) in zip(panels.flat, CASES["truths"]().items(), strict=True):
        read = observed[observed["refeed"] == case]
        rise, acid = (read[read["signal"] == signal] for signal in ("rise", "acid"))
        alone, found = trace_signal(rise, None, NOISE), trace_signal(rise, prior, NOISE)
        _draw(ax, rise[~rise["high_mark"]], alone, found, truth.height_mm)
        said = _verdict(alone, found)
        if len(acid):
            said[0] += f"; pH: {trace_signal(acid, None, NOISE).status}"
        ax.set_title(case.capitalize(), loc="left", fontsize=11, fontweight="bold", pad=46)
        ax.text(
            0.0, 1.03, "\n".join(said), transform=ax.transAxes, fontsize=8, va="bottom", linespacing=1.4
        ).set_in_layout(False)
    _legend(figure, panels.flat)
    figure.suptitle(_SAYS, x=0.01, ha="left", fontsize=10)
    return figure


def _draw(ax: Axes, read: pd.DataFrame, alone: Trace, found: Trace, truth: Callable[[np.ndarray], np.ndarray]) -> None:
    hours, values = read["elapsed_h"].to_numpy(), read["value"].to_numpy()
    draw_trace(ax, hours, values, found, "rise")
    until = max(hours.max(), _SHOWN_H)
    fine = np.linspace(0.0, until, 400)
    in_truth = as_drawn(truth(fine), values, found, "rise")
    ax.plot(fine, in_truth, color=INK, linestyle=(0, (1, 1.5)), linewidth=1.3, label="truth", zorder=2)
    _draw_extent(ax, _BEYOND["found"] * until, found.traits["extent"], "extent ± 1.96 se", {"color": INK})
    if found.traits["extent"].prior_share > 0.0:
        _draw_extent(ax, _BEYOND["alone"] * until, alone.traits["extent"], "the same, alone", _ALONE)
    finished(ax, "", "Time since feeding [h]", "Rise over the start [%]")


def _draw_extent(ax: Axes, at: float, told: Trait, says: str, how: dict[str, str]) -> None:
    """Draw an extent with its 95 % interval to the right of the curve; one that is only a bound as an arrow."""
    if told.at_least:
        ax.plot(at, told.value, "^", markersize=6, label="alone, at least", **how)
        return
    half = 1.96 * told.se
    ax.errorbar(at, told.value, half, fmt="D", markersize=4.5, capsize=2.5, linewidth=1.0, label=says, **how)
    ax.set_ylim(top=max(ax.get_ylim()[1], told.value + 1.2 * half))


def _verdict(alone: Trace, found: Trace) -> list[str]:
    """Say in three lines what is told of a jar."""
    status = found.status if found.status == alone.status else f"{found.status} (alone: {alone.status})"
    said = f"{found.readings} readings used: {status}" if found.readings > 1 else f"1 reading and smear line: {status}"
    extent, slope = (_trait(name, alone, found) for name in _TOLD)
    collapse = found.traits.get("collapse_h")
    if collapse is not None and np.isfinite(collapse.value):
        extent += f"; collapse at {_number(collapse, 'h')}"
    return [said, extent, slope]


def _trait(name: str, alone: Trace, found: Trace) -> str:
    """Say of a trait what is told, and where anything was borrowed, how much, and what it would be alone."""
    said, unit = _TOLD[name]
    told = found.traits[name]
    line = f"{said} {_number(told, unit)}"
    if told.prior_share == 0.0:
        return line
    unhelped = _number(alone.traits[name], unit) if name in alone.traits else "unknown"
    return f"{line} ({100 * told.prior_share:.0f} % borrowed; alone: {unhelped})"


def _number(told: Trait, unit: str) -> str:
    """Write a number with its standard error, hardly finer than that is."""
    if told.at_least:
        return f"at least {told.value:.0f} {unit}"
    digits = min(max(0, -int(np.floor(np.log10(told.se)))), 2)
    return f"{told.value:.{digits}f} ± {told.se:.{digits}f} {unit}"


def _legend(figure: Figure, panels: np.ndarray) -> None:
    """Write what the marks of all panels mean, each once, under them."""
    known: dict[str, object] = {}
    for ax in panels:
        for handle, label in zip(*ax.get_legend_handles_labels(), strict=True):
            known.setdefault(label, handle)
    how = {"ncols": len(known), "fontsize": 8.5, "frameon": False, "columnspacing": 1.4}
    figure.legend(known.values(), known.keys(), loc="outside lower center", **how)


if __name__ == "__main__":
    main()
