"""A year of the collection in figures: everything that the annual report says, as tidy tables."""

from .in_figures import SECTIONS, YearInFigures, year_in_figures

__all__ = ["SECTIONS", "YearInFigures", "year_in_figures"]
