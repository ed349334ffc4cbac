"""The safety net: what would bring each culture back, whether it still lives, and what to do about it."""

from .cover import cover
from .forms import forms
from .if_it_fails import if_this_store_fails
from .irreplaceable import irreplaceable
from .letters import letters
from .priority import Weights, priority
from .revival import revivals
from .sat_through import sat_through
from .sending import portions, sent
from .standards import Standards

__all__ = [
    "Standards",
    "Weights",
    "cover",
    "forms",
    "if_this_store_fails",
    "irreplaceable",
    "letters",
    "portions",
    "priority",
    "revivals",
    "sat_through",
    "sent",
]
