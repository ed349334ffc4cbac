"""A culture: what it can do when well, what becomes of it, and how its dough rises and sours by the hour.

stories -> course -> activity (what adds up) -> cells (that live when fed) -> dough -> fermentation (by the clock)
"""
