"""The steps of a round in grams: what to keep, to set aside and to add, so that the last step ends at the target.

Planned backwards from the target, so that no more flour goes in than the target or the custom of the culture needs;
each step then starts from what the scale shows, and nothing drifts from the ratio.
"""

from __future__ import annotations

from math import ceil, floor, log
from typing import NamedTuple

import pandas as pd

from ..errors import CannotRead
from .feeding import FeedRatio

#: What a dough weighs [g/mL] before it rises, and what of a jar is left free (common practice, no source).
DENSITY, HEADROOM = 1.1, 0.05
#: The least seed that can be handled [g] (common practice, no source).
LEAST_SEED_G = 5.0


class CannotPlan(CannotRead):
    """A wish that cannot be met; the message says what can."""


class Wish(NamedTuple):
    """What a round is to bring.

    Attributes
    ----------
    ratio : FeedRatio
        The culture's own.
    target_g : float
        Mass of the jar after the last feeding [g].
    steps : int
        How many refeeds.
    seed_at_hand_g : float
        What the old jar holds that can be taken [g].
    jar_mL : float, or tuple of float
        Volume of the jar to the brim [mL], or of that of each step; missing (NaN) where it is not known, and then not
        minded.
    rise_pct : float, or tuple of float
        How far the culture usually rises [%], or at each step.
    usual_seed_g : tuple of float
        The seed that each step usually gets [g]: where there is enough, and it fits into the jar, no step gets less,
        so that like is compared with like. Missing (NaN) or absent where there is no custom.
    scale_g : float
        What the scale shows: the least step of its display [g].
    """

    ratio: FeedRatio
    target_g: float
    steps: int = 3
    seed_at_hand_g: float = float("nan")
    jar_mL: float | tuple[float, ...] = float("nan")
    rise_pct: float | tuple[float, ...] = 100.0
    usual_seed_g: tuple[float, ...] = ()
    scale_g: float = 1.0

    def jar_of(self, step: int) -> float:
        """Return the volume of the jar of a step [mL], counted from 0."""
        return self.jar_mL[step] if isinstance(self.jar_mL, tuple) else self.jar_mL

    def risen_mL(self, mass_g: float, step: int) -> float:
        """Return the volume [mL] that a mass comes to at a step, counted from 0."""
        rise = self.rise_pct[step] if isinstance(self.rise_pct, tuple) else self.rise_pct
        return mass_g / DENSITY * (1.0 + rise / 100.0)


def plan_steps(wish: Wish) -> pd.DataFrame:
    """Plan the refeeds of a round.

    Parameters
    ----------
    wish : Wish
        What it is to bring.

    Returns
    -------
    pandas.DataFrame
        One row per step: step, seed_g, flour_g, water_g, mass_g, keep_g (for the next step; at the last all of it),
        set_aside_g, height_share (of the jar's volume, when it has risen; missing where the jar is not known).

    Raises
    ------
    CannotPlan
        When there is too little seed, the jar is too small, or the ratio is beyond the scale; with what can be had.

    Examples
    --------
    >>> plan = plan_steps(Wish(FeedRatio(1, 2, 2), target_g=100, seed_at_hand_g=30))
    >>> plan[["seed_g", "flour_g", "water_g", "mass_g", "keep_g", "set_aside_g"]].astype(int).values.tolist()
    [[5, 10, 10, 25, 5, 20], [5, 10, 10, 25, 20, 5], [20, 40, 40, 100, 100, 0]]
    """
    _check(wish)
    return _planned(_seeds(wish), wish)


def plan_forwards(wish: Wish) -> pd.DataFrame:
    """Plan the refeeds forwards from the seed at hand: each step takes all that its jar holds when risen.

    Parameters
    ----------
    wish : Wish
        With its seed at hand; the target is passed over.

    Returns
    -------
    pandas.DataFrame
        As `plan_steps` returns it.

    Raises
    ------
    CannotPlan
        When there is no seed, or a jar holds none.

    Examples
    --------
    >>> plan = plan_forwards(Wish(FeedRatio(1, 2, 2), target_g=0, steps=2, seed_at_hand_g=10))
    >>> plan[["seed_g", "mass_g", "keep_g", "set_aside_g"]].astype(int).values.tolist()
    [[10, 50, 50, 0], [50, 250, 250, 0]]
    """
    wish.ratio.checked()
    seeds, at_hand = [], _floor_to(wish.seed_at_hand_g, wish.scale_g) if wish.seed_at_hand_g > 0.0 else 0.0
    for place in range(wish.steps):
        seed = _that_fits(place, at_hand, wish)
        if not seed > 0.0:
            held = f"a jar of {wish.jar_of(place):g} mL" if at_hand > 0.0 else "nothing at hand"
            raise CannotPlan(f"step {place + 1} has no seed that can be weighed: {held}; take more, or a larger jar")
        seeds.append(seed)
        at_hand = _fed(seed, wish)
    return _planned(seeds, wish)


def _planned(seeds: list[float], wish: Wish) -> pd.DataFrame:
    """Write the steps down, gram by gram; each keeps the seed of the next one."""
    rows = []
    for number, seed in enumerate(seeds, start=1):
        flour, water = (_on_scale(seed * part / wish.ratio.seed, wish.scale_g) for part in wish.ratio[1:])
        mass = seed + flour + water
        keep = seeds[number] if number < wish.steps else mass
        rows.append(
            {
                "step": number,
                "seed_g": seed,
                "flour_g": flour,
                "water_g": water,
                "mass_g": mass,
                "keep_g": keep,
                "set_aside_g": mass - keep,
                "height_share": wish.risen_mL(mass, number - 1) / wish.jar_of(number - 1),
            }
        )
    _check_jars(rows, wish)
    return pd.DataFrame(rows)


def most_from(seed_g: float, ratio: FeedRatio, steps: int) -> float:
    """Return the most [g] that some seed can be fed up to in so many steps.

    Examples
    --------
    >>> most_from(10, FeedRatio(1, 2, 2), 3)
    1250.0
    """
    return seed_g * ratio.growth**steps


def steps_needed(seed_g: float, target_g: float, ratio: FeedRatio) -> int:
    """Return the steps that some seed needs to come to a target.

    Examples
    --------
    >>> steps_needed(10, 100, FeedRatio(1, 2, 2))
    2
    """
    return max(ceil(log(target_g / seed_g) / log(ratio.growth) - 1e-9), 1)


def _check(wish: Wish) -> None:
    """Say what cannot be, before anything is reckoned."""
    wish.ratio.checked()
    if not wish.target_g > 0.0 or wish.steps < 1 or not wish.scale_g > 0.0:
        raise CannotPlan(
            f"a target of {wish.target_g:g} g in {wish.steps} steps cannot be planned; ask for more than 0"
        )
    least_part = min(part for part in wish.ratio if part > 0.0) / wish.ratio.seed
    last_seed = wish.target_g / wish.ratio.growth
    if last_seed < wish.scale_g or last_seed * least_part < wish.scale_g:
        raise CannotPlan(
            f"at {':'.join(f'{part:g}' for part in wish.ratio)} a jar of {wish.target_g:g} g starts from "
            f"{last_seed:.2g} g of seed, which a scale that shows {wish.scale_g:g} g cannot weigh; "
            "take a larger target or a larger share of seed"
        )


def _check_jars(rows: list[dict[str, float]], wish: Wish) -> None:
    """Refuse a plan under which a jar overflows; say what fits."""
    for place, row in enumerate(rows):
        jar = wish.jar_of(place)
        if row["height_share"] > 1.0 - HEADROOM:
            risen, most = wish.risen_mL(row["mass_g"], place), _floor_to(_most_in_jar(place, wish), wish.scale_g)
            raise CannotPlan(
                f"at step {place + 1} {row['mass_g']:g} g come to {risen:.0f} mL when risen and overflow a jar of "
                f"{jar:g} mL; take {most:g} g, or a jar of {risen / (1.0 - HEADROOM):.0f} mL, or two jars"
            )


def _seeds(wish: Wish) -> list[float]:
    """Return the seed of each step, backwards from the target: no less than can be handled, no more than there is."""
    least = _ceil_to(min(LEAST_SEED_G, wish.target_g / wish.ratio.growth), wish.scale_g)
    seeds = [_seed_for(wish.target_g, wish)]
    for _ in range(wish.steps - 1):
        seeds.insert(0, max(_seed_for(seeds[0], wish), least))
    seeds = [*(max(seed, _customary(place, wish)) for place, seed in enumerate(seeds[:-1])), seeds[-1]]
    at_hand = wish.seed_at_hand_g
    if at_hand < seeds[0]:
        seeds[0] = _floor_to(at_hand, wish.scale_g)
    for place in range(1, wish.steps):
        seeds[place] = min(seeds[place], _fed(seeds[place - 1], wish))
    if _fed(seeds[-1], wish) < wish.target_g - 1e-9:
        most = most_from(at_hand, wish.ratio, wish.steps)
        told = f"{at_hand:g} g of seed come to {most:.0f} g at most in {wish.steps} steps, not to {wish.target_g:g} g"
        more = f"; {steps_needed(at_hand, wish.target_g, wish.ratio)} steps would do" if at_hand > 0.0 else ""
        raise CannotPlan(told + more)
    return seeds


def _customary(place: int, wish: Wish) -> float:
    """Return the seed that a step usually gets, as far as its jar holds it; 0 where there is no custom."""
    usual = wish.usual_seed_g[place] if place < len(wish.usual_seed_g) else float("nan")
    return _that_fits(place, _on_scale(usual, wish.scale_g), wish) if usual > 0.0 else 0.0


def _that_fits(place: int, seed_g: float, wish: Wish) -> float:
    """Return as much of some seed as the jar of a step holds, fed and risen."""
    most = _most_in_jar(place, wish)
    if _fed(seed_g, wish) > most:
        seed_g = min(_floor_to(most / wish.ratio.growth, wish.scale_g) + wish.scale_g, seed_g)
        while seed_g > 0.0 and _fed(seed_g, wish) > most:
            seed_g -= wish.scale_g
    return max(seed_g, 0.0)


def _seed_for(mass_g: float, wish: Wish) -> float:
    """Return the least seed on the scale that, once fed, weighs as much."""
    seed = _ceil_to(mass_g / wish.ratio.growth, wish.scale_g)
    while _fed(seed, wish) < mass_g - 1e-9:
        seed += wish.scale_g
    return seed


def _fed(seed_g: float, wish: Wish) -> float:
    """Return what some seed weighs once it is fed, as the scale shows it."""
    return seed_g + sum(_on_scale(seed_g * part / wish.ratio.seed, wish.scale_g) for part in wish.ratio[1:])


def _most_in_jar(place: int, wish: Wish) -> float:
    """Return the mass [g] that still fits the jar of a step when it has risen; missing where the jar is not known."""
    return (1.0 - HEADROOM) * wish.jar_of(place) / wish.risen_mL(1.0, place)


def _on_scale(mass_g: float, scale_g: float) -> float:
    return round(mass_g / scale_g) * scale_g


def _ceil_to(mass_g: float, scale_g: float) -> float:
    return ceil(mass_g / scale_g - 1e-9) * scale_g


def _floor_to(mass_g: float, scale_g: float) -> float:
    return floor(mass_g / scale_g + 1e-9) * scale_g
