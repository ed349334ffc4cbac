"""The shelf at a glance: every culture's vigour, round by round, most urgent on top."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from .style import LIGHTNESS_MAP, finished, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Vigour [%] at the ends of the scale.
_RANGE = (40.0, 120.0)


def plot_shelf(vigour: pd.DataFrame, listed: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw the vigour of every living culture over time as fields, darker being weaker.

    Parameters
    ----------
    vigour : pandas.DataFrame
        The vigour table.
    listed : pandas.DataFrame
        The watch list, which gives the order.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when not given.

    Returns
    -------
    matplotlib.axes.Axes
        One row per culture and one column per quarter; empty fields were not read.
    """
    ax = ax or new_axes(7.2, 1.4 + 0.19 * max(len(listed), 4))
    order = listed["culture"].tolist()
    quarter = vigour["fed_at"].dt.tz_localize(None).dt.to_period("Q")
    log = np.log(vigour["vigour_pct_own"].clip(lower=5.0))
    fields = log.groupby([vigour["culture"], quarter]).mean().unstack().reindex(order)
    fields = fields.reindex(columns=pd.period_range(quarter.min(), quarter.max())) if len(quarter) else fields
    image = ax.imshow(
        np.exp(fields.to_numpy(dtype=float)), aspect="auto", cmap=LIGHTNESS_MAP, vmin=_RANGE[0], vmax=_RANGE[1]
    )
    ax.set_yticks(range(len(order)), [_named(row) for row in listed.to_dict("records")], fontsize=7.5)
    years = [place for place, period in enumerate(fields.columns) if period.quarter == 1]
    ax.set_xticks(years, [str(fields.columns[place].year) for place in years])
    bar = ax.figure.colorbar(image, ax=ax, extend="both", pad=0.02)
    bar.set_label("Vigour [% of its own baseline]", fontsize=9)
    refeeds = int(vigour["vigour_pct_own"].notna().sum())
    cultures = f"{len(order)} living culture{'' if len(order) == 1 else 's'}"
    title = f"The shelf at a glance: {cultures}, {refeeds:,} refeeds, mean by quarter"
    return finished(ax, title, "Quarter of feeding [year]", "Culture")


def _named(row: dict) -> str:
    return row["culture"] if row["standing"] == "steady" else f"{row['culture']} ({row['standing']})"
