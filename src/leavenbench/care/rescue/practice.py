"""The numbers of a rescue: common practice, no source; yours to set."""

from __future__ import annotations

from dataclasses import dataclass

from ..feeding import FeedRatio

_ALIKE = FeedRatio(1.0, 1.0, 1.0)


@dataclass(frozen=True)
class Practice:
    """How a sluggish starter is fed (common practice, no source).

    Attributes
    ----------
    set_aside_g : float
        What is set aside untouched [g].
    few_left : FeedRatio
        The ratio where too few cells are left: a small share of seed would dilute them further.
    few_left_degC, yeast_short_degC : tuple of float
        How warm the dough is kept, where few are left and where yeast is short [degC].
    yeast_short_share : float
        The seed's parts where yeast is short, as a share of the usual ones.
    yeast_short_every_h : float
        Hours between the feedings then [h].
    risen_pct, soured_ph : float
        When a jar has risen [%] or soured [pH] far enough to be fed again.
    feedings : int
        Feedings before one looks whether it helps.
    jar_g : float
        What a rescue jar holds [g].
    probe_off_ph : float
        A probe off by more than this in a buffer is put right first [pH].
    """

    set_aside_g: float = 30.0
    few_left: FeedRatio = _ALIKE
    few_left_degC: tuple[float, float] = (26.0, 28.0)
    yeast_short_degC: tuple[float, float] = (24.0, 27.0)
    yeast_short_share: float = 0.5
    yeast_short_every_h: float = 12.0
    risen_pct: float = 50.0
    soured_ph: float = 4.2
    feedings: int = 3
    jar_g: float = 90.0
    probe_off_ph: float = 0.1
