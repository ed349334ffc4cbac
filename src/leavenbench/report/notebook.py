"""Small things that a notebook needs: tables as plain text, a progress bar, a calm refusal, a pick list."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from functools import partial
from typing import Any

import pandas as pd

from ..errors import LeavenbenchError


def show(
    table: pd.DataFrame, columns: list[str] | None = None, rows: int = 12, digits: int | dict[str, int] = 0
) -> None:
    """Print the first rows of a table as plain text, rounded.

    Parameters
    ----------
    table : pandas.DataFrame
        Any table.
    columns : list of str, optional
        Which columns; all when not given.
    rows : int
        How many rows at most.
    digits : int or dict of str to int
        Decimals of numbers; by column, none where it is not named. What rounds to nothing but is more stands as <0.001.

    Examples
    --------
    >>> show(pd.DataFrame({"culture": ["Alba", "Bruno"], "vigour_pct": [97.26, 41.5]}), digits=1)
    culture  vigour_pct
       Alba        97.3
      Bruno        41.5
    """
    chosen = table if columns is None else table[columns]
    if chosen.empty:
        print("(nothing)")
        return
    shown = chosen.head(rows).copy()
    for name in shown.columns:
        places = digits if isinstance(digits, int) else digits.get(name, 0)
        if pd.api.types.is_datetime64_any_dtype(shown[name]):
            shown[name] = shown[name].dt.strftime("%Y-%m-%d")
        elif pd.api.types.is_float_dtype(shown[name]):
            shown[name] = shown[name].map(partial(_rounded, places=places))
    print(shown.astype("str").fillna("").replace("<NA>", "").to_string(index=False, max_colwidth=60))
    if len(chosen) > rows:
        print(f"... and {len(chosen) - rows} more rows")


def _rounded(value: float, places: int) -> str:
    if pd.isna(value):
        return ""
    least = 10.0**-places
    return f"<{least:.{places}f}" if places and 0.0 < value < 0.5 * least else f"{value:.{places}f}"


def with_progress(label: str, work: Callable[..., pd.DataFrame], *given: Any) -> pd.DataFrame:
    """Do long work with a progress bar in the notebook.

    Parameters
    ----------
    label : str
        What stands beside the bar.
    work : callable
        Takes what is given, and `progress`, which it calls with what is done and how much there is.
    *given
        What it takes.

    Returns
    -------
    pandas.DataFrame
        What it returns.
    """
    from IPython.display import display
    from ipywidgets import IntProgress

    bar = IntProgress(description=label, min=0, max=1)
    display(bar)

    def progress(done: int, total: int) -> None:
        if done % 25 == 0 or total < 500 or done == total:
            bar.max, bar.value = total, done

    return work(*given, progress=progress)


def unless_refused(work: Callable[..., Any], *given: Any, **named: Any) -> Any:
    """Do what may be refused; a refusal is printed, and the cells after it go on.

    Parameters
    ----------
    work : callable
        Takes what is given.
    *given, **named
        What it takes.

    Returns
    -------
    object
        What it returns; None where it refused.

    Examples
    --------
    >>> def bake(loaves):
    ...     raise LeavenbenchError(f"no flour for {loaves} loaves: write to the mill")
    >>> unless_refused(bake, 7)
    no flour for 7 loaves: write to the mill
    """
    try:
        return work(*given, **named)
    except LeavenbenchError as refusal:
        print(textwrap.fill(str(refusal), 90))
        return None


def pick_list(names: list[str], draw: Callable[[str], Any], label: str = "Culture") -> None:
    """Show a pick list; whatever is picked is drawn under it.

    Parameters
    ----------
    names : list of str
        What can be picked; nothing is drawn until something is.
    draw : callable
        Called with the name picked; what it draws or prints is shown.
    label : str
        What stands beside the list.
    """
    from IPython.display import display
    from ipywidgets import Dropdown, Output, VBox

    place = Output()
    choice = Dropdown(options=[("pick one ...", None), *((name, name) for name in names)], description=label)

    def redraw(change: dict) -> None:
        import matplotlib.pyplot as plt

        place.clear_output(wait=True)
        if change["new"] is not None:
            with place:
                draw(change["new"])
                plt.show()

    choice.observe(redraw, names="value")
    display(VBox([choice, place]))
