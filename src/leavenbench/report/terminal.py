"""Tables on a terminal: what fits its width, legible, in plain characters."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Callable

    from rich.console import Console

#: Width for pipes and files, where nothing tells one.
_PIPE_WIDTH = 110


def _console(*, stderr: bool = False) -> Console:
    from rich.console import Console

    class Screen(Console):
        def on_broken_pipe(self) -> None:  # rich would leave with 1, which means 'refused' here
            raise BrokenPipeError

    plain: dict[str, Any] = {"stderr": stderr, "highlight": False, "markup": False, "emoji": False}
    console = Screen(**plain)
    if not console.is_terminal and "COLUMNS" not in console._environ:
        console = Screen(**plain, width=_PIPE_WIDTH)
    return console


def print_table(table: pd.DataFrame, wide: tuple[str, ...] = ()) -> None:
    """Print a table within the width of the terminal.

    Parameters
    ----------
    table : pandas.DataFrame
        Texts, as they are to be shown; numbers belong right, so numeric dtypes go there.
    wide : tuple of str
        Columns that may wrap; the others keep to one line.
    """
    from rich import box
    from rich.table import Table
    from rich.text import Text

    drawn = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, padding=(0, 0), collapse_padding=True)
    for name in table.columns:
        right = pd.api.types.is_numeric_dtype(table[name])
        drawn.add_column(
            Text(str(name)), justify="right" if right else "left", no_wrap=name not in wide, overflow="fold"
        )
    for row in table.astype("str").fillna("").replace("<NA>", "").itertuples(index=False):
        drawn.add_row(*(Text(cell) for cell in row))
    _console().print(drawn)


def say(words: str = "", *, aside: bool = False) -> None:
    """Print a line; aside goes to standard error, beside the table, and is not wrapped, since it may hold a path."""
    _console(stderr=aside).print(words, soft_wrap=aside)


def say_indented(words: str) -> None:
    """Print a paragraph whose further lines stand in from the edge."""
    console = _console()
    console.print(textwrap.fill(words, width=max(console.width, 20), subsequent_indent="    "), soft_wrap=True)


@contextmanager
def progress_bar(task: str) -> Iterator[Callable[[int, int], None] | None]:
    """Show how far a long task is, on a terminal only; give a callable ``(done, total)``, or None elsewhere."""
    console = _console(stderr=True)
    if not console.is_terminal:
        yield None
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.completed} of {task.total}"))
    with Progress(*columns, TimeRemainingColumn(), console=console, transient=True) as bar:
        line = bar.add_task(task, total=None, visible=False)
        yield lambda done, total: bar.update(line, completed=done, total=total, visible=True)
