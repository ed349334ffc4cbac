"""Keep a collection of living sourdough cultures: from feeding logs to the list of those that slip.

The flow, each verb a plain function from tables to a table::

    collection = read_collection("our_shelf")                  # what was written down, and what is wrong in it
    curves = trace_collection(collection)                      # an activity curve for every refeed
    vigour = vigour_of(collection, curves)                     # each refeed against the culture's own normal
    causes = causes_of(collection, curves)                     # what the shelf shared: a day, a flour lot, a room
    listed = watch_list(collection, curves, vigour, as_of)     # who slips, and how many rounds are left
    due = due_list(collection, listed, on)                     # who is fed, and why now
    sheets = bench_sheets(collection, listed, due, on)         # what to weigh, jar by jar, and what to expect
    write_sheets(sheets, Path("round.xlsx"))                   # ... filled in at the bench, and then
    take_in("our_shelf", "round.xlsx")                         # back into the records

Behind the list: `watch_checks` tells every check with its numbers, `watch_history` the list of every past month,
`warnings_of` what became of those on it, and `whole_shelf` how the shelf as a whole moves.

What would bring a culture back, and which flour runs out: `cover`, `priority`, `if_this_store_fails`, `flour_stock`,
`run_out`. Why one is slow: `case_of`, `suspects`, `split_feeding`, `rescue_steps`.

Cultures side by side: `observations`, `can_answer`, `answerable`, `compared`, then `pairs` or `against`; all traits at
once: `traits_that_differ`. Once a year: `write_report`, and `write_pages` for the depositors.

Planning, at the shelf's own noise: `chance_to_see` and `fewest_refeeds` for a difference, `rounds_until_named` for a
decline, `best_hours` for the readings of a culture.

Curves by themselves: `trace_refeed` fits one refeed, `trace_shelf` every refeed of a table of readings, and
`pool_culture` one shape to the refeeds of a culture.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

#: Where each verb lives; a module is imported when its verb is first asked for.
_VERBS = {
    "against": ".compare.differences",
    "answerable": ".compare.design",
    "bench_sheets": ".care.bench.plan",
    "best_hours": ".compare.planning.information",
    "can_answer": ".compare.design",
    "case_of": ".care.rescue",
    "causes_of": ".vigour.causes",
    "chance_to_see": ".compare.planning.chance",
    "compared": ".compare.mixed",
    "cover": ".care.backups",
    "due_list": ".care.rounds",
    "extra_sheets": ".care.bench.plan",
    "fed_now": ".care.rounds",
    "fewest_refeeds": ".compare.planning.chance",
    "flour_stock": ".care.flour",
    "gain_of_a_reading": ".compare.planning.information",
    "if_this_store_fails": ".care.backups",
    "irreplaceable": ".care.backups",
    "new_collection": ".records.template",
    "observations": ".compare.observations",
    "pairs": ".compare.differences",
    "planning_noise": ".compare.planning.noise",
    "pool_culture": ".curves.shelf",
    "priority": ".care.backups",
    "read_collection": ".records.collection",
    "rescue_steps": ".care.rescue",
    "round_calendar": ".care.calendar",
    "rounds_until_named": ".watch.named_after",
    "run_out": ".care.flour",
    "split_feeding": ".care.rescue",
    "suspects": ".care.rescue",
    "take_in": ".care.take_in",
    "trace_collection": ".curves.table",
    "trace_refeed": ".curves.shelf",
    "trace_shelf": ".curves.shelf",
    "traits_that_differ": ".compare.traits_that_differ",
    "usual_curves": ".compare.planning.usual_curves",
    "vigour_of": ".vigour.index",
    "warnings_of": ".watch.watch_history",
    "watch_checks": ".watch.watch_list",
    "watch_history": ".watch.watch_history",
    "watch_list": ".watch.watch_list",
    "whole_shelf": ".watch.whole_shelf",
    "working_hours": ".compare.planning.information",
    "write_pages": ".report.annual.depositor",
    "write_report": ".report.annual.year_folder",
    "write_sheets": ".report.sheets",
}

__all__ = [
    "against",
    "answerable",
    "bench_sheets",
    "best_hours",
    "can_answer",
    "case_of",
    "causes_of",
    "chance_to_see",
    "compared",
    "cover",
    "due_list",
    "extra_sheets",
    "fed_now",
    "fewest_refeeds",
    "flour_stock",
    "gain_of_a_reading",
    "if_this_store_fails",
    "irreplaceable",
    "new_collection",
    "observations",
    "pairs",
    "planning_noise",
    "pool_culture",
    "priority",
    "read_collection",
    "rescue_steps",
    "round_calendar",
    "rounds_until_named",
    "run_out",
    "split_feeding",
    "suspects",
    "take_in",
    "trace_collection",
    "trace_refeed",
    "trace_shelf",
    "traits_that_differ",
    "usual_curves",
    "vigour_of",
    "warnings_of",
    "watch_checks",
    "watch_history",
    "watch_list",
    "whole_shelf",
    "working_hours",
    "write_pages",
    "write_report",
    "write_sheets",
]


def __getattr__(name: str) -> Any:
    if name not in _VERBS:
        raise AttributeError(f"module 'leavenbench' has no attribute '{name}'")
    return getattr(import_module(_VERBS[name], __name__), name)


def __dir__() -> list[str]:
    return sorted(__all__)
