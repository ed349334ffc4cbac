"""Collections with a known truth, for the demo, for tests and for planning.

    stories -> course -> calendar -> activity (shared causes, strength, temperature) -> dough
            -> looks -> bench -> log_book -> tables, and the truth beside them

`simulate_shelf` makes a shelf of numbered cultures, `simulate_cast` one whose cultures and stories are given.
"""

from .cast import Cast
from .noise import Noise
from .shelf import Simulated, simulate_cast, simulate_shelf
from .stories import Story

__all__ = ["Cast", "Noise", "Simulated", "Story", "simulate_cast", "simulate_shelf"]
