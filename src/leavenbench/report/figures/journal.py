"""Figures for a journal: SVG and PDF at the widths of its columns, their fonts inside."""

from __future__ import annotations

import base64
import io
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ...errors import CannotRead
from ..save import check_ending, write_whole
from .style import SVG

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Widths of one column and of two [mm], as many journals print them (common practice, no source).
COLUMN_MM, PAGE_MM = 89.0, 183.0
_MM_PER_INCH = 25.4
#: TrueType fonts are embedded whole in a PDF (type 42), so that a journal can edit its text.
_RULES: Any = {"pdf.fonttype": 42, **SVG}


def save_figure(figure: Figure, path: str | Path, width: float = COLUMN_MM) -> Path:
    """Save a figure at a width, its fonts embedded; text stays text.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        What to save, such as ``axes.figure``; its height keeps its ratio to the width, and its size on the screen
        stays as it was.
    path : str or pathlib.Path
        Where to, ending in .svg or .pdf; a file that stands there is replaced, whole or not at all.
    width : float
        Width [mm], such as `COLUMN_MM` (89) or `PAGE_MM` (183).

    Returns
    -------
    pathlib.Path
        Where it was saved.

    Raises
    ------
    CannotRead
        The ending is another, the width is none, or the file cannot be written.
    """
    target = Path(path)
    content = figure_bytes(figure, check_ending(target, (".svg", ".pdf")), width)

    def write(aside: Path) -> None:
        aside.write_bytes(content)

    write_whole(target, write, replacing=True)
    return target


def figure_bytes(figure: Figure, ending: str, width: float = COLUMN_MM) -> bytes:
    """Return the file of a figure at a width, as `save_figure` saves it.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        What to save.
    ending : str
        .svg or .pdf.
    width : float
        Width [mm].

    Returns
    -------
    bytes

    Raises
    ------
    CannotRead
        The width is none.
    """
    import matplotlib as mpl

    if not 0.0 < width < 1000.0:
        raise CannotRead(f"a width of {width} mm cannot be drawn; journals print columns of {COLUMN_MM:g} mm")
    wide, high = figure.get_size_inches()
    made = io.BytesIO()
    try:
        figure.set_size_inches(width / _MM_PER_INCH, high / wide * width / _MM_PER_INCH)
        with mpl.rc_context(_RULES):
            stamp = {"Date": None} if ending == ".svg" else {"CreationDate": None}
            figure.savefig(made, format=ending[1:], metadata=stamp)
    finally:
        figure.set_size_inches(wide, high)
    return _with_fonts(made.getvalue().decode()).encode() if ending == ".svg" else made.getvalue()


def _with_fonts(svg: str) -> str:
    """Put the letters of the font that a drawing is set in into it, so that it looks alike on every machine."""
    faces = [_face(name, svg) for name in dict.fromkeys(re.findall(r"font(?:-family)?: [^;\"']*'([^']+)'", svg))]
    style = f'<style type="text/css">{" ".join(faces)}</style>'
    return svg.replace("<defs>", f"<defs>\n  {style}", 1) if faces else svg


def _face(name: str, letters: str) -> str:
    """Return a font, with no more than some letters in it, as a rule of a style sheet."""
    from fontTools import subset
    from matplotlib import font_manager

    options, made = subset.Options(), io.BytesIO()
    options.drop_tables += ["FFTM"]  # a font editor's dates, of which the subsetter complains aloud
    with subset.load_font(font_manager.findfont(name), options) as font:
        only = subset.Subsetter(options)
        only.populate(text=letters)
        only.subset(font)
        font.save(made)
    coded = base64.b64encode(made.getvalue()).decode()
    return f"@font-face {{ font-family: '{name}'; src: url(data:font/ttf;base64,{coded}); }}"
