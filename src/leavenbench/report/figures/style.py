"""How every figure looks: one place for sizes, shades and marks.

Nothing is told by hue alone: lines differ in dash, points in shape, fields in lightness.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Dark to light; they keep their order in grey.
INK, DEEP, MIDDLE, PALE = "#1b1b1b", "#0b5394", "#c0631b", "#d9d9d9"
#: Shape of the points of each step of a round, over and over beyond the last.
STEP_MARKS = ("o", "s", "^", "D", "v")
#: A map from low to high whose lightness rises evenly.
LIGHTNESS_MAP = "cividis"

#: An SVG keeps its text as text, and is the same file each time.
SVG: Any = {"svg.fonttype": "none", "svg.hashsalt": "leavenbench"}

_RULES: Any = {
    "font.size": 9,
    "axes.titlesize": 10,
    "axes.titlelocation": "left",
    "axes.labelsize": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "legend.frameon": False,
    "legend.fontsize": 8,
    "figure.dpi": 120,
    **SVG,
}


def new_axes(width_in: float = 6.3, height_in: float = 3.6) -> Axes:
    """Return axes on a new figure, sized for a page [inch]."""
    import matplotlib.pyplot as plt

    with plt.rc_context(_RULES):
        _, axes = plt.subplots(figsize=(width_in, height_in), layout="constrained")
    return axes


def finished(axes: Axes, title: str, x: str, y: str) -> Axes:
    """Write title and axis labels in the figures' own sizes."""
    axes.set_title(title, loc="left", fontsize=_RULES["axes.titlesize"])
    axes.set_xlabel(x, fontsize=_RULES["axes.labelsize"])
    axes.set_ylabel(y, fontsize=_RULES["axes.labelsize"])
    axes.tick_params(labelsize=8)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return axes
