"""Collections with a known truth, for the demo, for tests, for calibration and for planning.

    bakehouse (calendar, rooms, refrigerators, flour, jars, mishaps)
        -> culture (story -> course -> activity -> living cells -> dough by the clock)
        -> bench (feeding, looks, loggers, probes, passing, the log book)
        -> shelf: the tables, and the truth beside them
    house: the demo, its papers and its files

`simulate_shelf` makes a shelf of numbered cultures, `simulate_cast` one whose cultures and stories are given, and
`simulate_values` vigour values alone, in a hundredth of the time.
"""

from .cast import Cast
from .culture.stories import Story
from .noise import Noise
from .shelf import Simulated, simulate_cast, simulate_shelf
from .values import simulate_values

__all__ = ["Cast", "Noise", "Simulated", "Story", "simulate_cast", "simulate_shelf", "simulate_values"]
