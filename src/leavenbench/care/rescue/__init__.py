"""The sluggish starter: its case, what changed, the suspects, the test that tells, the steps of the trade."""

from .accounted import accounted
from .after import after_rescues
from .branches import branch_of, rescue_steps
from .case import Case, case_of
from .changed import changed
from .practice import Practice
from .split import Split, split_feeding
from .suspects import Beliefs, rank_suspects, suspects
from .verdict import verdict

__all__ = [
    "Beliefs",
    "Case",
    "Practice",
    "Split",
    "accounted",
    "after_rescues",
    "branch_of",
    "case_of",
    "changed",
    "rank_suspects",
    "rescue_steps",
    "split_feeding",
    "suspects",
    "verdict",
]
