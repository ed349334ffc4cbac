"""Every table and column, declared once: name, unit, range, key, meaning.

Readers, checks, the templates of a new collection and the page that documents the tables come from here. A
column is typed by people under its bare name (``height``); inside the package it carries its canonical unit in
its name (``height_mm``). `TABLES` is what people keep, `RESULTS` what the package makes.
"""

from __future__ import annotations

from math import inf

from .declaration import Column, Table, choice, date, key, number, of, text, time, whole, yes_no

_POSITIVE = (0.0, inf)
_PERCENT = (0.0, 100.0)
_PH = (0.0, 14.0)
_DEGC = (-273.15, 200.0)

_DECLARED = (
    Table(
        "cultures",
        "one living culture",
        (
            key("culture", "the culture's short name, used everywhere else"),
            text("name", "its full name"),
            text("group", "cultures refreshed together share a group"),
            text("shelf", "the shelf it stands on"),
            whole("shelf_order", "its place on the shelf"),
            date("received", "when it came to the collection"),
            text("origin", "where it comes from, in words"),
            text("country", "country of origin, ISO 3166-1 alpha-2"),
            number("latitude", "deg", "latitude of the origin, degrees north", possible=(-90, 90)),
            number("longitude", "deg", "longitude of the origin, degrees east", possible=(-180, 180)),
            of("depositors", "depositor", "who gave it"),
            of("flours", "flour", "the flour it is kept on"),
            number("seed_parts", "", "feed ratio: parts of seed", possible=_POSITIVE),
            number("flour_parts", "", "feed ratio: parts of flour", possible=_POSITIVE),
            number("water_parts", "", "feed ratio: parts of water", possible=_POSITIVE),
            choice("leading_signal", "rise, acid", "the signal that tells most about it"),
            number("pass_rise", "%", "rise that a jar must reach to pass", possible=_POSITIVE),
            number("pass_ph", "", "pH that a jar must reach to pass", possible=_PH, likely=(3.0, 7.0)),
            number("pass_within", "h", "hours within which it must pass", possible=_POSITIVE),
            yes_no("public", "whether its place may be shown; empty is no"),
            text("note", "anything else"),
        ),
        moment="received",
    ),
    Table(
        "events",
        "something that happened to a culture or a store",
        (
            key("event", "the event's own name or number"),
            of("cultures", "culture", "the culture; may be empty for a store"),
            of("stores", "store", "the store, where it happened to one"),
            date("happened_on", "the day", needed=True),
            choice(
                "kind",
                "received, lost, withdrawn, restored, rescued, flour change, moved, store failure, other",
                "what happened",
            ),
            text("source", "a back-up, or words"),
            text("reason", "why"),
            text("note", "anything else"),
        ),
        moment="happened_on",
    ),
    Table(
        "depositors",
        "who gave a culture",
        (
            key("depositor", "the depositor's short name"),
            text("name", "full name"),
            text("contact", "how to reach them"),
            date("agreement_on", "when the deposit was agreed"),
            yes_no("public", "whether name and contact may be shown; empty is no"),
        ),
    ),
    Table(
        "flours",
        "a kind of flour",
        (
            key("flour", "the flour's short name"),
            text("name", "full name"),
            text("grain", "the grain it is milled from"),
            text("milling", "how it is milled"),
            text("supplier", "who sends it"),
            yes_no("sole_source", "whether nobody else can send it; empty is no"),
            number("lead_time", "d", "days from letter to delivery", possible=_POSITIVE),
            number("shelf_life", "d", "days it keeps after milling", possible=_POSITIVE),
            yes_no("gluten_free", "whether it is handled as gluten-free; empty is no"),
        ),
    ),
    Table(
        "flour_lots",
        "one delivery of a flour",
        (
            key("lot", "the lot's name or number"),
            of("flours", "flour", "which flour"),
            date("received", "when it came"),
            date("milled", "when it was milled"),
            date("best_before", "until when it is good", ahead=True),
            number("mass", "g", "mass received", possible=_POSITIVE),
            number("moisture", "%", "moisture, share of the flour's mass", possible=_PERCENT, likely=(5, 20)),
            number("ash", "%", "ash in dry matter", possible=_PERCENT, likely=(0, 5)),
            number("protein", "%", "protein in dry matter", possible=_PERCENT, likely=(0, 30)),
            number("falling_number", "s", "Hagberg falling number", possible=_POSITIVE, likely=(60, 600)),
        ),
        moment="received",
    ),
    Table(
        "flour_counts",
        "a lot weighed on the shelf",
        (
            of("flour_lots", "lot", "which lot", needed=True),
            date("counted_on", "when", needed=True),
            number("mass", "g", "mass found", possible=_POSITIVE, needed=True),
        ),
        moment="counted_on",
    ),
    Table(
        "refeeds",
        "one feeding of one jar",
        (
            key("refeed", "the refeed's own name or number"),
            of("cultures", "culture", "which culture", needed=True),
            time("fed_at", "date and time of feeding", needed=True),
            choice("purpose", "round, rescue, test, dispatch", "why it was fed; round when empty"),
            whole("round", "number of the round; worked out when empty"),
            whole("step", "number of the step within the round; worked out when empty"),
            of("flour_lots", "lot", "the flour's lot"),
            number("seed", "g", "mass of seed", possible=_POSITIVE),
            number("flour", "g", "mass of flour", possible=_POSITIVE),
            number("water", "g", "mass of water", possible=_POSITIVE),
            text("water_source", "where the water came from"),
            text("room", "the room it stood in"),
            number("room_temperature", "degC", "temperature of that room", possible=_DEGC, likely=(2, 45)),
            text("person", "who fed it"),
            of("vessels", "vessel", "the jar"),
            number("start_height", "mm", "height of the dough when fed", possible=_POSITIVE),
            whole("bench_order", "its place in the order of work"),
            yes_no("passed", "whether the jar passed"),
            time("cooled_at", "when it went back to the cold"),
            of("stores", "cold_store", "where it went"),
            number("hooch", "mm", "depth of the liquid layer", possible=_POSITIVE, likely=(0, 60)),
            text("smell", "what it smelled of"),
            text("signs", "mould, colour, anything seen"),
            text("note", "anything else"),
        ),
        moment="fed_at",
    ),
    Table(
        "refeed_flours",
        "one flour of a blend, in place of the refeed's single lot",
        (
            of("refeeds", "refeed", "which refeed", needed=True),
            of("flour_lots", "lot", "which lot", needed=True),
            number("mass", "g", "mass of it", possible=_POSITIVE, needed=True),
        ),
    ),
    Table(
        "readings",
        "one look at one jar",
        (
            of("refeeds", "refeed", "which refeed; or name the culture or vessel and the time"),
            of("cultures", "culture", "the culture, where no refeed is named"),
            of("vessels", "vessel", "the jar, where no refeed is named"),
            number("elapsed", "h", "hours since feeding; or give read_at", possible=(0, 100_000)),
            time("read_at", "date and time of the reading"),
            number("height", "mm", "height of the dough's top above the floor of the jar", possible=_POSITIVE),
            number("volume", "mL", "volume of the dough", possible=_POSITIVE),
            number("rise", "%", "rise over the starting height", possible=(-100, inf), likely=(-50, 600)),
            number("high_mark", "mm", "height of the smear line: the peak, without its time", possible=_POSITIVE),
            number("ph", "", "pH", possible=_PH, likely=(3.0, 7.0)),
            choice("ph_method", "direct, slurry", "in the dough itself, or in a slurry with water"),
            yes_no("stirred", "whether the dough was stirred before the reading; empty is no"),
            number("temperature", "degC", "temperature of the dough", possible=_DEGC, likely=(0, 50)),
            of("probe_checks", "probe", "which pH probe"),
            number("titration", "mL", "titrant used", possible=_POSITIVE),
            number("titration_sample", "g", "mass of dough titrated", possible=_POSITIVE),
            number("titrant", "mol/L", "strength of the titrant", possible=_POSITIVE, likely=(0.01, 2)),
            number("titration_endpoint", "", "pH at which titration stopped", possible=_PH, likely=(6, 9.5)),
        ),
        moment="read_at",
    ),
    Table(
        "probe_checks",
        "a pH probe held against a buffer",
        (
            text("probe", "which probe", needed=True),
            time("checked_at", "when", needed=True),
            number("buffer_ph", "", "pH of the buffer at that temperature", possible=_PH),
            number("reading_ph", "", "what the probe showed", possible=_PH),
            number("temperature", "degC", "temperature of the buffer", possible=_DEGC, likely=(0, 60)),
        ),
        moment="checked_at",
    ),
    Table(
        "vessels",
        "a jar",
        (
            key("vessel", "the jar's name or number"),
            number("volume", "mL", "volume to the brim", possible=_POSITIVE),
            number("inner_diameter", "mm", "inner diameter", possible=_POSITIVE, likely=(20, 400)),
            number("tare", "g", "mass when empty", possible=_POSITIVE),
            choice("shape", "straight, tapered", "whether the wall is straight"),
        ),
    ),
    Table(
        "stores",
        "a refrigerator or freezer",
        (
            key("store", "the store's short name"),
            text("name", "full name"),
            text("site", "the building it stands in"),
            choice("kind", "cold, freezer, deep_freezer", "what it is"),
            number(
                "warn_above",
                "degC",
                "warn above this; empty: 8, -15, -60 by kind (common practice, no source)",
                possible=_DEGC,
            ),
        ),
    ),
    Table(
        "store_log",
        "a store's temperature",
        (
            of("stores", "store", "which store", needed=True),
            time("read_at", "when", needed=True),
            number("temperature", "degC", "temperature inside", possible=_DEGC, likely=(-200, 45)),
        ),
        moment="read_at",
    ),
    Table(
        "backups",
        "a batch of portions kept in case the jar is lost",
        (
            key("backup", "the batch's name or number"),
            of("cultures", "culture", "which culture", needed=True),
            choice("kind", "whole_frozen, whole_dried, live_duplicate, isolates_frozen", "in what form"),
            date("made_on", "when"),
            text("site", "the building"),
            of("stores", "store", "the store it lies in"),
            whole("units", "portions made"),
            whole("restock_level", "make more when so few are left"),
            text("note", "anything else"),
        ),
        moment="made_on",
    ),
    Table(
        "backup_uses",
        "portions taken from a back-up",
        (
            of("backups", "backup", "which back-up", needed=True),
            date("used_on", "when", needed=True),
            whole("units", "portions taken"),
            choice("purpose", "test, restore, dispatch, discard", "what for"),
            number("log_cfu_yeast", "log10 CFU/g", "living yeast, log10 CFU/g", possible=(0, 12)),
            number("log_cfu_lactic", "log10 CFU/g", "living lactic acid bacteria, log10 CFU/g", possible=(0, 12)),
            whole("steps_to_pass", "steps until it passed after revival"),
            choice("result", "alive, dead, doubtful", "what came of it"),
        ),
        moment="used_on",
    ),
    Table(
        "isolates",
        "an organism isolated from a culture",
        (
            key("isolate", "the isolate's name or number"),
            of("cultures", "culture", "which culture", needed=True),
            date("sampled_on", "when"),
            text("taxon", "what it is"),
            choice("kind", "yeast, lactic, acetic, other", "what sort of organism"),
            whole("colonies", "colonies of it"),
            whole("colonies_picked", "colonies picked in all"),
            text("method", "how it was identified"),
        ),
        moment="sampled_on",
    ),
    Table(
        "identity_checks",
        "a check that a culture is itself, pure, or alive",
        (
            of("cultures", "culture", "which culture", needed=True),
            date("checked_on", "when", needed=True),
            choice("kind", "identity, purity, viability", "what was checked"),
            text("method", "how"),
            text("result", "what was found"),
        ),
        moment="checked_on",
    ),
    Table(
        "dispatches",
        "a portion sent out",
        (
            key("dispatch", "the dispatch's name or number"),
            of("cultures", "culture", "which culture", needed=True),
            date("sent_on", "when"),
            text("to", "to whom"),
            choice("reason", "return, exchange, study", "why"),
            number("mass", "g", "how much", possible=_POSITIVE),
            text("terms", "on what terms"),
            text("permit", "permit, where one is needed"),
            yes_no("allergen_label", "whether the allergens were on the label; empty is no"),
            date("arrived_on", "when it arrived"),
            yes_no("arrived_alive", "whether it arrived alive"),
        ),
        moment="sent_on",
    ),
)

#: Every table that a collection may hold, by name.
TABLES: dict[str, Table] = {table.name: table for table in _DECLARED}
#: The tables without which there is nothing to do.
NEEDED_TABLES = ("refeeds", "readings")
#: References whose loss leaves a row without meaning; every other unknown reference is a warning.
STRICT_REFERENCES = ("cultures", "refeeds")


def _with_se(column: Column) -> tuple[Column, Column]:
    """Return the estimate and its standard error, which belong together."""
    return column, number(f"{column.name}_se", column.unit, f"standard error of {column.name}")


_REFEED = (
    text("refeed", "the refeed"),
    text("culture", "the culture"),
    time("fed_at", "date and time of feeding"),
    whole("round", "number of the round"),
    whole("step", "number of the step within the round"),
)

_TRAITS = (
    number("start_height_mm", "mm", "fitted height at the start, where height was read"),
    number("lag_h", "h", "where the steepest tangent crosses zero"),
    number("max_rate", "signal/h", "steepest slope"),
    number("extent", "signal", "the asymptote; with a collapse the curve's highest point"),
    number("time_to_peak_h", "h", "hour of the maximum; without collapse, of 95 % of extent"),
    number("time_to_double_h", "h", "hour at which the rise passes 100 %"),
    number("ripe_from_h", "h", "hour from which the rise is at or above 90 % of its maximum"),
    number("ripe_until_h", "h", "hour until which the rise is at or above 90 % of its maximum"),
    number("collapse_h", "h", "hour at which the rise has fallen to 80 % of its maximum"),
    number("ph_start", "", "fitted pH when fed"),
    number("ph_end", "", "fitted pH at the last reading"),
    number("time_to_ph_4_6_h", "h", "hour at which the fitted pH passes 4.6"),
)

#: Names of the traits of a curve; each has its standard error beside it.
TRAITS: tuple[str, ...] = tuple(trait.name for trait in _TRAITS)

#: How a culture stands, most urgent first.
STANDINGS = "urgent, slipping, low, unknown, steady"
#: What is told of a culture wherever its standing is.
_STOOD = (
    number("vigour_pct", "%", "its own level at its last round, shared causes out"),
    number("vigour_low_pct", "%", "lower end of the 80 % interval"),
    number("vigour_high_pct", "%", "upper end of the 80 % interval"),
    number("change_per_round_pct", "%", "change of vigour per round"),
    number("change_per_round_pct_low", "%", "lower end of the 80 % interval"),
    number("change_per_round_pct_high", "%", "upper end of the 80 % interval"),
    number("decline_probability", "", "probability that it is declining, 0 to 1"),
    number("rounds_left", "", "rounds until half strength; the cap means not within two years"),
    number("rounds_left_low", "", "lower end of the 80 % interval"),
    number("rounds_left_high", "", "upper end of the 80 % interval"),
)
_BESIDE = (
    choice("floor", "met, missed, not measured", "whether its last step soured far enough in time"),
    whole("extra_steps", "extra steps in its last round"),
)

#: In what form a culture may be kept beside its jar.
BACKUP_KINDS = TABLES["backups"].by_name["kind"].choices
#: How a back-up, or a form of a culture, stands; the best first.
_FORM_STATES = "proven, unproven, doubtful, dead, used up"
_CAME_BACK = (
    date("alive_on", "when it last came alive again"),
    whole("steps_to_pass", "steps until it passed then"),
    number("log_cfu_yeast", "log10 CFU/g", "living yeast then"),
    number("log_cfu_lactic", "log10 CFU/g", "living lactic acid bacteria then"),
)


def _of_form(kind: str) -> tuple[Column, ...]:
    """Return what is told of one form in the wide table of cover."""
    return (
        choice(f"{kind}_state", f"{_FORM_STATES}, none", f"the best of its batches of {kind}"),
        whole(f"{kind}_units", "portions left in batches that are not dead"),
        date(f"{kind}_made_on", "when the newest of them was made"),
        whole(f"{kind}_age_d", "days since then"),
        text(f"{kind}_where", "where they lie: store and site"),
        date(f"{kind}_alive_on", "when one last came alive again"),
    )


_MADE = (
    Table(
        "problems",
        "one thing that is wrong or doubtful in the tables",
        (
            text("table", "the table"),
            text("file", "the file, within the collection's folder"),
            whole("row", "the row that a spreadsheet shows; the header is row 1"),
            text("column", "the column's bare name; empty when it is the row as a whole"),
            text("value", "what stands there"),
            text("rule", "the rule it breaks, in a word or two"),
            choice("severity", "error, warning", "error: the row or the value was left out; warning: kept"),
            text("message", "what is wrong"),
            text("remedy", "what to do"),
        ),
    ),
    Table(
        "curves",
        "the activity curve of one signal of one refeed",
        (
            *_REFEED,
            choice("signal", "rise, acid", "rise of the dough, or fall of its pH"),
            text("unit", "the signal's unit: % or pH"),
            text("model", "the curve fitted"),
            whole("readings", "readings used"),
            choice(
                "status",
                "fitted, peak not reached, no activity, too few readings, no readings, poor fit",
                "what the readings allowed",
            ),
            text("reason", "why, and why a number is missing"),
            *(column for trait in _TRAITS for column in _with_se(trait)),
            number("rms_residual", "", "root mean square of the residuals, in the unit read (mm, mL, % or pH)"),
            number("lag_h_prior_share", "", "share of the lag that came from earlier refeeds, 0 to 1"),
            number("max_rate_prior_share", "", "share of the steepest slope that came from earlier refeeds"),
            number("extent_prior_share", "", "share of the extent that came from earlier refeeds"),
            *(
                column
                for name, unit, of in (
                    ("lag_h", "h", "the lag"),
                    ("max_rate", "signal/h", "the steepest slope"),
                    ("extent", "signal", "the extent"),
                )
                for column in _with_se(number(f"{name}_alone", unit, f"{of} by the readings of the refeed alone"))
            ),
            text("lower_bounds", "the traits that are only 'at least'"),
            text("set_aside", "file:row of readings judged misread"),
        ),
    ),
    Table(
        "vigour",
        "the vigour of one refeed",
        (
            *_REFEED,
            *_with_se(number("vigour_pct", "%", "vigour; 100 is the culture's own baseline at the same step")),
            *_with_se(number("vigour_pct_own", "%", "vigour with the causes that the shelf shares taken out")),
            text("traits_used", "the traits it rests on"),
            text("corrected_for", "what was corrected for"),
            whole("baseline_rounds", "rounds behind the baseline"),
            number("borrowed_share", "", "share that came from earlier refeeds, 0 to 1"),
            choice("floor", "met, missed, not measured", "whether the jar soured far enough in time"),
            whole("extra_steps", "steps of the round beyond what the culture usually takes"),
            yes_no("too_good", "a jump beyond what the culture ever showed"),
        ),
    ),
    Table(
        "shared_causes",
        "a cause that the shelf shared in a month",
        (
            text("month", "the month, as 2024-03"),
            text("factor", "what was shared: month, day, lot, room, store, person, probe, water source, vessel kind"),
            text("level", "which of them"),
            text("candidates", "those that cannot be told apart from it"),
            *_with_se(number("effect_pct", "%", "what it did to vigour")),
            whole("cultures", "cultures that met it"),
            whole("refeeds", "refeeds that met it"),
            number("odds", "", "odds that it was there, against chance among all that were tried"),
        ),
    ),
    Table(
        "watch_list",
        "one living culture, most urgent first",
        (
            whole("rank", "place on the list"),
            text("culture", "the culture"),
            date("as_of", "the day up to whose end the records were read"),
            choice("standing", STANDINGS, "how it stands"),
            *_STOOD,
            date("act_by", "the last due date before rounds_left_low runs out"),
            *_BESIDE,
            time("last_fed_at", "when it was last fed"),
            whole("rounds_missed", "rounds that have passed since without a feeding"),
            text("shared_cause", "causes named for its last round"),
            yes_no("identity_doubt", "yes when it was too good"),
            date("identity_proven_on", "when its identity was last proven"),
            text("evidence", "the named checks that spoke"),
            whole("refeeds_used", "refeeds behind the numbers"),
        ),
    ),
    Table(
        "watch_checks",
        "one check of one living culture, whether or not it spoke",
        (
            text("culture", "the culture"),
            text("check", "name of the check"),
            number("statistic", "", "what was found"),
            text("unit", "unit of statistic and threshold"),
            number("threshold", "", "from which on it speaks"),
            yes_no("spoke", "whether it did"),
            text("words", "what it says"),
            text("source", "where the check comes from"),
        ),
    ),
    Table(
        "whole_shelf",
        "the shelf as a whole in one month",
        (
            text("month", "the month, as 2024-03"),
            whole("cultures", "cultures read in it"),
            *_with_se(number("vigour_pct", "%", "the middle of all cultures, causes that they share still in")),
            number("log_odds", "", "for a decline of the whole shelf against no change"),
            number("threshold", "", "from which on the shelf is said to fall"),
            yes_no("falling", "whether it is"),
            number("change_per_round_pct", "%", "change per round, where it is falling"),
            number("change_per_round_pct_low", "%", "lower end of the 80 % interval"),
            number("change_per_round_pct_high", "%", "upper end of the 80 % interval"),
        ),
    ),
    Table(
        "watch_history",
        "one culture at the end of a past month",
        (
            date("as_of", "the last day of the month"),
            text("culture", "the culture"),
            choice("standing", STANDINGS, "how it stood"),
            *_STOOD,
            *_BESIDE,
            text("evidence", "the named checks that spoke"),
        ),
    ),
    Table(
        "warnings",
        "one alert of the past, or a culture lost without one",
        (
            text("culture", "the culture"),
            date("warned_on", "end of the month in which the alert began; missing without one"),
            date("over_on", "end of its last month; missing while it lasts"),
            choice("standing", "urgent, slipping", "the gravest"),
            number("lowest_pct", "%", "lowest vigour meanwhile"),
            choice("outcome", "caught, open, passed over, missed", "what became of it, as far as the records tell"),
            date("ended_on", "when it was lost or rescued"),
        ),
    ),
    Table(
        "due",
        "one living culture in the calendar, the most overdue first",
        (
            text("culture", "the culture"),
            text("group", "the cultures refreshed together with it"),
            date("last_round_on", "the day on which its last round began"),
            date("due_on", "the day on which its next round is due"),
            whole("overdue_d", "days since then; less than nothing before it"),
            choice("state", "due, along, running, waiting", "due; due soon and taken along; in a round; not due"),
            text("why", "why then"),
        ),
    ),
    Table(
        "calendar",
        "the work of one day for one group",
        (
            date("day", "the day"),
            text("group", "the group; empty for cultures without one"),
            whole("step", "step of the round"),
            whole("jars", "jars to feed"),
            whole("moved_d", "days by which the round lies off its due date, to make the load even"),
        ),
    ),
    Table(
        "bench_sheet",
        "one jar on a bench sheet, in the order of work",
        (
            whole("position", "place in the order of work"),
            text("culture", "the culture"),
            text("name", "its full name"),
            text("flour", "the flour it is kept on"),
            text("lot", "the flour's lot; for a blend each with its mass"),
            number("seed_g", "g", "seed to weigh in"),
            number("flour_g", "g", "flour to weigh in"),
            number("water_g", "g", "water to weigh in"),
            number("mass_g", "g", "what the jar then holds"),
            number("keep_g", "g", "what to keep of it for the next step; at the last step all"),
            number("set_aside_g", "g", "what is set aside when the next step is fed"),
            text("vessel", "the jar"),
            number("tare_g", "g", "what the empty jar weighs"),
            yes_no("clean_before", "whether probe and spoon are cleaned before it"),
            yes_no("gluten_free", "whether it is handled as gluten-free"),
            yes_no("suspect", "whether something speaks against trusting it"),
            text("why", "why it is due, and why it is suspect"),
            text("remark", "what the keeper must know of the plan"),
        ),
    ),
    Table(
        "expected_band",
        "what one jar's own history lets expect at one hour",
        (
            text("culture", "the culture"),
            choice("signal", "rise, acid", "height of the dough, or its pH"),
            text("unit", "mm, % (rise over the start) or pH"),
            number("elapsed_h", "h", "hours since feeding"),
            number("low", "", "nine in ten readings lie above this and under `high` together, in the unit"),
            number("middle", "", "the middle of them"),
            number("high", "", "see `low`"),
            whole("refeeds", "earlier refeeds behind it"),
        ),
    ),
    Table(
        "flour_stock",
        "one lot of flour: received = used + counted off + left",
        (
            text("lot", "the lot"),
            text("flour", "the flour"),
            date("received", "when it came"),
            date("best_before", "until when it is good, by its label"),
            date("usable_until", "that, or its shelf life after milling, the earlier"),
            number("received_g", "g", "mass received"),
            number("used_g", "g", "mass fed"),
            number("counted_off_g", "g", "what counts found missing; less than nothing where they found more"),
            number("left_g", "g", "mass left, by the books since the last count"),
            yes_no("usable", "whether some is left that may be fed"),
            date("last_counted_on", "when it was counted last"),
            date("last_used_on", "when it was fed last"),
            text("notice", "what does not add up"),
        ),
    ),
    Table(
        "flour_need",
        "what one living culture needs of one flour",
        (
            text("culture", "the culture"),
            text("flour", "the flour"),
            whole("rounds", "rounds behind it"),
            number("per_round_g", "g", "the middle of what its last rounds took"),
            number("per_round_low_g", "g", "one round in ten took less"),
            number("per_round_high_g", "g", "one round in ten took more"),
            number("per_year_g", "g", "what comes to a year"),
        ),
    ),
    Table(
        "flour_run_out",
        "one flour, the soonest to run out first",
        (
            text("flour", "the flour"),
            number("left_g", "g", "mass left, also past its date"),
            number("usable_g", "g", "mass left that may be fed"),
            date("good_until", "until when its last lot may be fed"),
            date("out_on", "when a round can no longer be fed; missing beyond two years"),
            date("out_low", "early end of the 80 % interval"),
            date("out_high", "late end of the 80 % interval"),
            yes_no("beyond", "whether even the early end lies beyond two years"),
            number("lead_time_d", "d", "days from letter to delivery"),
            date("write_by", "when to write to the mill: the early end less the lead time"),
            whole("cultures", "living cultures fed on it"),
            text("why", "what ends it"),
        ),
    ),
    Table(
        "flour_dependence",
        "one living culture whose flour could fail it",
        (
            text("culture", "the culture"),
            text("flour", "the flour"),
            text("supplier", "who sends it"),
            whole("lots_left", "lots that may still be fed"),
            number("left_g", "g", "what is left of them"),
            number("rounds_left", "", "rounds that this feeds, of all that are fed on it"),
            text("why", "what could fail"),
        ),
    ),
    Table(
        "backup_forms",
        "one batch of portions of one culture",
        (
            text("culture", "the culture"),
            text("backup", "the batch"),
            choice("kind", ", ".join(BACKUP_KINDS), "in what form"),
            date("made_on", "when it was made"),
            whole("age_d", "days since then"),
            text("site", "the building"),
            text("store", "the store it lies in"),
            whole("units_made", "portions made"),
            whole("units_left", "made less used; of a live duplicate only what was discarded is gone"),
            choice("state", _FORM_STATES, "proven: came alive within the standard, and its store has not failed since"),
            *_CAME_BACK,
            date("tested_on", "when it was last woken, whatever came of it"),
            date("test_due_on", "when it is to be woken again"),
            text("why", "why its state is what it is"),
            text("notice", "what does not add up, or is not kept by the standard"),
        ),
    ),
    Table(
        "backup_cover",
        "how one living culture is covered, should its jar be lost",
        (
            text("culture", "the culture"),
            choice(
                "cover",
                "full, unproven, partial, none",
                "full: a whole form came alive within the standard; partial: isolates alone",
            ),
            text("why", "why"),
            *(column for kind in BACKUP_KINDS for column in _of_form(kind)),
            *_CAME_BACK,
            text("to_test", "back-ups whose test is overdue"),
            date("test_overdue_since", "since when the first of them is"),
            text("restock", "forms of which too few portions are left"),
            date("identity_proven_on", "when its identity was last proven"),
            yes_no("identity_overdue", "whether that is too long ago, or never was"),
            text("notice", "what does not add up, or is not kept by the standard"),
        ),
    ),
    Table(
        "revivals",
        "how back-ups of one form and age came alive",
        (
            choice("kind", ", ".join(BACKUP_KINDS), "in what form"),
            text("age", "how old they were when woken"),
            whole("woken", "how many were woken"),
            whole("alive", "how many of them came alive"),
            whole("doubtful", "how many were doubtful"),
            whole("dead", "how many were dead"),
            number("alive_pct", "%", "share that came alive, the doubtful counted as not; missing when too few"),
            number("alive_low_pct", "%", "lower end of the 95 % interval"),
            number("alive_high_pct", "%", "upper end of the 95 % interval"),
            number("steps_middle", "", "median of the steps until those alive passed"),
            whole("steps_low", "fewest of these steps"),
            whole("steps_high", "most of these steps"),
            text("words", "what that says"),
        ),
    ),
    Table(
        "irreplaceable",
        "one reason why a living culture could not be had again, whether or not it holds",
        (
            text("culture", "the culture"),
            choice(
                "reason",
                "no live whole back-up, flour of a single source, organism not found in others, "
                "origin cannot be collected again",
                "the reason",
            ),
            yes_no("holds", "whether it holds; missing when nothing is recorded that tells"),
            text("evidence", "what says so"),
        ),
    ),
    Table(
        "backup_priority",
        "one living culture, the one whose cover is most needed first; priority = 100 x loss x unbacked x bound",
        (
            whole("rank", "place on the list"),
            text("culture", "the culture"),
            number("priority", "", "100 x loss x unbacked x bound"),
            choice("standing", STANDINGS, "how it stands on the watch list"),
            number("decline_probability", "", "probability that it is declining, 0 to 1"),
            number("by_standing", "", "what its standing counts for at least, 0 to 1"),
            number("rounds_left_low", "", "rounds until half strength, lower end of the 80 % interval"),
            number("nearness", "", "1 / (1 + rounds_left_low); 1 without a forecast"),
            number("accident", "", "chance that any jar is lost, whatever its vigour"),
            number(
                "loss",
                "",
                "accident + (1 - accident) x the greater of decline_probability and by_standing x nearness",
            ),
            choice("cover", "full, unproven, partial, none", "how it is covered"),
            number("unbacked", "", "chance, by its cover, that nothing brings it back"),
            whole("reasons", "reasons, besides its back-ups, why it could not be had again"),
            number("bound", "", "1 + a share for each of these reasons"),
            text("do", "what to do first"),
            text("words", "how its place comes about"),
        ),
    ),
    Table(
        "store_contents",
        "what one culture has in a store that fails, what exists nowhere else first",
        (
            whole("carry", "in which order to carry it out"),
            text("culture", "the culture"),
            yes_no("living", "whether it lives; of a lost one the back-ups may be all there is"),
            yes_no("jar_here", "whether its jar stands in the store"),
            number("jar_g", "g", "what the jar held when it was fed; seed may have been taken since"),
            text("backups_here", "its back-ups in the store, with their portions"),
            whole("units_here", "portions in them, as far as they are noted"),
            choice(
                "elsewhere",
                "nothing, isolates alone, unproven, proven",
                "the best that is elsewhere; a jar counts as proven",
            ),
            text("copies", "where that is"),
            text("why", "why it comes in this place"),
        ),
    ),
    Table(
        "sat_through",
        "one jar or back-up in a store while it was too warm",
        (
            text("store", "the store"),
            time("from_at", "first reading above the limit; of a failure noted without one, that day"),
            time("until_at", "last reading above the limit"),
            number("hours", "h", "hours between them"),
            number("warmest_degC", "degC", "the warmest read"),
            number("limit_degC", "degC", "the store's limit"),
            yes_no("failed", "whether it was so long that what lay in it must be looked at"),
            text("culture", "the culture; missing when nothing was in it"),
            choice("what", "jar, back-up", "what sat in it"),
            text("backup", "the back-up"),
            yes_no("seen_since", "whether the jar was fed, or the back-up woken, afterwards"),
        ),
    ),
    Table(
        "portions",
        "whether a fresh portion of one living culture can be sent",
        (
            text("culture", "the culture"),
            yes_no("offered", "whether it can"),
            text("why_not", "what speaks against it"),
            choice("floor", "met, missed, not measured", "whether its last step soured far enough in time"),
            time("fed_at", "when its jar was last fed"),
            number("jar_g", "g", "what the jar held then"),
            text("allergens", "grains that belong on the label"),
            text("remark", "what to know before sending"),
        ),
    ),
    Table(
        "letters",
        "one depositor to write to about one culture",
        (
            text("depositor", "the depositor"),
            text("name", "full name"),
            text("contact", "how to reach them: for the keeper's eyes where `public` is not yes"),
            text("culture", "the culture"),
            text("why", "why"),
        ),
    ),
    Table(
        "sent",
        "a portion that went out",
        (
            text("dispatch", "the dispatch"),
            text("culture", "the culture"),
            date("sent_on", "when"),
            text("to", "to whom"),
            text("reason", "why"),
            number("mass_g", "g", "how much"),
            text("terms", "on what terms"),
            text("permit", "permit, where one is needed"),
            yes_no("allergen_label", "whether the allergens were on the label"),
            text("allergens", "grains that belonged on the label"),
            date("arrived_on", "when it arrived"),
            yes_no("arrived_alive", "whether it arrived alive"),
            text("notice", "what is missing or to be done"),
        ),
    ),
)

#: Every table that the package makes, by name.
RESULTS: dict[str, Table] = {table.name: table for table in _MADE}
