"""A demo's truths in words, one sentence each."""

from __future__ import annotations

from typing import assert_never

import numpy as np
import pandas as pd

from ..bakehouse.mishaps import ColdRoom, FlourEnds, Mishap, MissedRound, PoorLot, StoreFailure
from ..bench.probes import Probe
from ..shelf import Simulated


def tell_story(story: pd.Series, events: pd.Series) -> str:
    """Return a culture's story in words.

    Parameters
    ----------
    story : pandas.Series
        Its row of the truth's cultures.
    events : pandas.Series
        The days on which something was entered about it, by kind.
    """
    since = f"{story['onset_on']:%d %B %Y} (its round {story['onset_round']})"
    percent, within = f"{story['percent']:g} %", story["within"]
    match story["story"]:
        case "ramp":
            return f"loses {percent} a round from {since} on{_ending(events)}"
        case "accelerating":
            return f"loses {percent} at the round of {since}, twice as much at the next, and so on"
        case "step":
            return f"loses {percent} at once on {since} and stays there"
        case "dip":
            return f"loses {percent} at once on {since} and heals by itself in {within} rounds"
        case "rescue":
            return (
                f"loses {percent} a round from {since} on for {story['turns_after']} rounds; rescued from "
                f"{events['rescued']:%d %B %Y} on by feeding 1:1:1 daily, and well after {within} rounds"
            )
        case "takeover":
            return (
                f"taken over by another organism within {within} rounds from {since} on: it rises "
                f"{story['gain_percent']:g} % faster, and sours {percent} more slowly"
            )
        case _:
            ending = _ending(events) or ", and nobody has noticed: it still stands on the shelf"
            return f"dead from {since} on{ending}"


def _ending(events: pd.Series) -> str:
    """Tell what was entered about a culture that fails: its flour, its loss, its return."""
    words = {"flour change": "its flour changed", "lost": "entered as lost", "restored": "restored"}
    told = [f"; {word} on {events[kind]:%d %B %Y}" for kind, word in words.items() if kind in events]
    return "".join(told)


def tell_cause(demo: Simulated, cause: Mishap | Probe) -> str:
    """Return a sentence on what befell many jars at once.

    Parameters
    ----------
    demo : Simulated
        The house's records and their truth.
    cause : Mishap or Probe
        The mishap, or a probe that drifts.
    """
    refeeds, truth = demo.tables["refeeds"], demo.truth["refeeds"]
    match cause:
        case PoorLot():
            lot = f"{cause.flour}-{cause.delivery}"
            fed = refeeds.loc[refeeds["lot"] == lot]
            first, last = fed["fed_at"].min(), fed["fed_at"].max()
            return (
                f"Lot {lot}: everything fed on it is {cause.percent:g} % slower, from {first:%d %B %Y} to "
                f"{last:%d %B %Y}: {', '.join(sorted(fed['culture'].unique()))}."
            )
        case FlourEnds():
            return f"After {cause.on:%d %B %Y} there is no more {cause.flour}; its cultures are fed on {cause.instead}."
        case ColdRoom():
            days = truth["fed_at"].dt.normalize().between(pd.Timestamp(cause.first), pd.Timestamp(cause.last))
            struck = truth.loc[days & (truth["room"] == cause.room), "culture"]
            return (
                f"No heating in the {cause.room} on {cause.first:%d %B %Y}, {cause.by_degC:g} degC colder: "
                f"{struck.nunique()} jars fed there that day."
            )
        case StoreFailure():
            inside = refeeds.loc[refeeds["cold_store"] == cause.store, "culture"].nunique()
            log = demo.tables["store_log"]
            warmest = log.loc[log["store"] == cause.store, "temperature"].max()
            return (
                f"The {cause.store} stood still for {cause.hours:g} hours from {cause.at:%d %B %Y, %H:%M} on and came "
                f"to {warmest:g} degC: each of the {inside} cultures kept in it lost {cause.percent:g} % and heals "
                f"within {cause.within} rounds."
            )
        case MissedRound():
            begins = _begins_on(demo.truth["rounds"], cause)
            return f"Group {cause.group} went without its round {cause.round} ({begins:%B %Y})."
        case Probe():
            mended = np.array([cause.until], "datetime64[us]") - np.timedelta64(1, "h")
            off = float(cause.shows(np.array([4.0]), pd.Series(mended))[0]) - 4.0
            return (
                f"Probe {cause.name} drifts from {cause.drifts_from:%d %B %Y} on until it is mended on "
                f"{cause.until:%d %B %Y}; by then it reads {off:.2f} too high at pH 4."
            )
    assert_never(cause)


def _begins_on(rounds: pd.DataFrame, missed: MissedRound) -> pd.Timestamp:
    return rounds.loc[(rounds["group"] == missed.group) & (rounds["round"] == missed.round), "begins_on"].min()
