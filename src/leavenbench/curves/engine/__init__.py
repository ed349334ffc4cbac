"""The fitting engine: nonlinear least squares for many curves at once, and how well their readings tell each number.

It knows nothing of dough. In the order of reading: `problem` says what is asked and answered, `together` takes the
steps of many curves in a block, `alone` those of a single one, `normal` makes and solves their normal equations,
`fits` judges the optima, and `polish` brings them to the last digits.
"""

from .belief import Belief
from .fits import Fits, judged, noise
from .polish import polished, sharpened
from .problem import Optimum
from .together import AT_REST, MOST_STEPS, optimum

__all__ = ["AT_REST", "MOST_STEPS", "Belief", "Fits", "Optimum", "judged", "noise", "optimum", "polished", "sharpened"]
