"""Flour: what is in stock, what the shelf needs, when it runs out, and who hangs on a single source."""

from .ahead import Paths, flour_ahead, run_out
from .dependence import dependence
from .need import flour_need
from .stock import flour_stock, flour_used

__all__ = ["Paths", "dependence", "flour_ahead", "flour_need", "flour_stock", "flour_used", "run_out"]
