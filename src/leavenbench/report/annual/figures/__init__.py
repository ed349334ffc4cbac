"""The figures of a year: each draws one table of `care.year`, and says so in its title."""

from .health import plot_change, plot_levels
from .places import plot_places
from .stacks import plot_cover_change, plot_kept_rounds, plot_species, plot_standings
from .survival import plot_survival

__all__ = [
    "plot_change",
    "plot_cover_change",
    "plot_kept_rounds",
    "plot_levels",
    "plot_places",
    "plot_species",
    "plot_standings",
    "plot_survival",
]
