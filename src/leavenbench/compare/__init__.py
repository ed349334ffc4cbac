"""Cultures against each other: which differ, in what, and how sure that is."""
