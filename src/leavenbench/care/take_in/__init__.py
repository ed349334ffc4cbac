"""Filled-in bench sheets, back into the collection: checked first, then put in place whole."""

from .verb import TakenIn, take_in

__all__ = ["TakenIn", "take_in"]
