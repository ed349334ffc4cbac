"""What fitting asks of the machine before it begins."""

import subprocess
import sys

PROGRAM = """
import sys
from leavenbench import trace_refeed
row = trace_refeed([0, 1, 2, 3, 4, 5, 6, 8, 9], [40.2, 40, 41, 46, 62, 75, 79, 80, 79.6], "height_mm")
assert row["status"] == "fitted"
print(sorted(name for name in sys.modules if name.startswith(("scipy.optimize", "statsmodels", "matplotlib", "pint"))))
"""


def test_a_curve_is_fitted_without_the_slow_imports():
    """An optimiser of its own: `scipy.optimize` alone takes longer to import than a shelf to fit."""
    told = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"
