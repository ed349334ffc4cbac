"""Figures as files: the same picture is the same bytes on any machine, on any day."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ..figures.style import SVG

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_DPI, _SVG_DPI = 150, 72
#: White about a picture [inch].
_PAD = 0.07


@dataclass(frozen=True)
class Picture:
    """One figure.

    Attributes
    ----------
    name : str
        Of its files, without ending.
    caption : str
        n, period and method in one line.
    alt : str
        What it shows, for those who do not see it.
    svg, png : bytes
        The same figure in both forms; no PNG where none was asked for.
    """

    name: str
    caption: str
    alt: str
    svg: bytes
    png: bytes


def picture(name: str, caption: str, alt: str, draw: Callable[[], Axes | Figure], *, with_png: bool = False) -> Picture:
    """Draw a figure and close it.

    Parameters
    ----------
    name, caption, alt : str
        As in `Picture`.
    draw : callable
        Draws it, and returns its axes or itself.
    with_png : bool
        Make the PNG as well; without it there is none.

    Returns
    -------
    Picture
    """
    import matplotlib.pyplot as plt

    with _same_everywhere():
        drawn: Any = draw()
        figure = drawn if hasattr(drawn, "savefig") else drawn.figure
        svg, png = io.BytesIO(), io.BytesIO()
        _lay_out(figure)
        figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": "leavenbench", "Title": caption})
        if with_png:
            figure.savefig(png, format="png", dpi=_DPI, metadata={"Software": None})
        plt.close(figure)
    return Picture(name, caption, alt, svg.getvalue(), png.getvalue())


def _lay_out(figure: Figure) -> None:
    """Lay a figure out by itself; when saving does that, everything is drawn once more only to be measured."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    engine, dpi = figure.get_layout_engine(), figure.dpi
    if engine is None:
        return
    FigureCanvasSVG(figure)
    figure.set_dpi(_SVG_DPI)  # letters are measured as the SVG has them; the PNG's are a little wider
    engine.set(w_pad=_PAD, h_pad=_PAD)  # type: ignore[call-arg]
    engine.execute(figure)
    figure.set_layout_engine(None)
    figure.set_dpi(dpi)


@contextmanager
def _same_everywhere() -> Iterator[None]:
    """Draw without anybody's own settings; names of cultures are words, no formulas."""
    import matplotlib as mpl

    with mpl.rc_context(), warnings.catch_warnings():
        # the picture shows a box for a letter that the font lacks; the page has it in words
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        mpl.rcdefaults()
        mpl.rcParams.update({"text.parse_math": False, **SVG})
        yield
