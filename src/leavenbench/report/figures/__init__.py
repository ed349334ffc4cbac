"""Figures for the screen and the page: legible in grey, safe for the colour-blind, quantity and unit on each axis."""

from .backups import plot_cover, plot_store_log
from .calendar import plot_calendar
from .compare import plot_curve_difference, plot_differences, plot_map, plot_pooled_curves, plot_temperature
from .culture import plot_culture
from .curve import plot_curve
from .expected import plot_expected
from .flour import plot_flour_year
from .journal import save_figure
from .plan import plot_chance_to_see, plot_gain_of_readings, plot_rounds_until_named
from .rescue import plot_case, plot_last_curves, plot_suspects
from .shelf import plot_shelf
from .vigour import plot_vigour
from .warning import plot_evidence, plot_operating_curve, plot_whole_shelf

__all__ = [
    "plot_calendar",
    "plot_case",
    "plot_chance_to_see",
    "plot_cover",
    "plot_culture",
    "plot_curve",
    "plot_curve_difference",
    "plot_differences",
    "plot_evidence",
    "plot_expected",
    "plot_flour_year",
    "plot_gain_of_readings",
    "plot_last_curves",
    "plot_map",
    "plot_operating_curve",
    "plot_pooled_curves",
    "plot_rounds_until_named",
    "plot_shelf",
    "plot_store_log",
    "plot_suspects",
    "plot_temperature",
    "plot_vigour",
    "plot_whole_shelf",
    "save_figure",
]
