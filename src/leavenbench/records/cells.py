"""What a typed cell means: numbers, yes and no, one of a few words."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from ..declaration import Column
from ..units import UnknownUnit, to_canonical
from .texts import Answers, spread, texts_of


@dataclass(frozen=True)
class Finding:
    """Cells of one column that break one rule.

    Attributes
    ----------
    cells : pandas.Series of bool
        Which.
    rule, message, remedy : str
        The rule in a word or two, what is wrong, what to do; `message` and `remedy` may be a Series.
    severity : str
        error: the value is not used; warning: it is.
    """

    cells: pd.Series
    rule: str
    message: str | pd.Series
    remedy: str | pd.Series
    severity: str = "error"

    def spread(self, cells: pd.Series) -> Finding:
        """Return the same finding for cells, made for their distinct texts."""
        said = {name: value for name, value in vars(self).items() if isinstance(value, pd.Series)}
        return replace(self, **{name: spread(value, cells) for name, value in said.items()})


def read_once(
    raw: pd.Series, read: Callable[[pd.Series], tuple[Answers, list[Finding]]]
) -> tuple[Answers, list[Finding]]:
    """Read each distinct text of a column once.

    Parameters
    ----------
    raw : pandas.Series
        Cells, distinct texts or numbers and times.
    read : callable
        Returns what the texts mean and what is wrong with them, for a Series of texts.

    Returns
    -------
    values : pandas.Series or pandas.DataFrame
        As `read` returns them, for every cell.
    findings : list of Finding
        Those that have a cell.
    """
    values, findings = read(texts_of(raw))
    return spread(values, raw), [finding.spread(raw) for finding in findings if finding.cells.any()]


#: What people write for "nothing noted" where a number or a date belongs.
_NOTHING = {"", "-", "–", "—", ".", "/", "na", "n/a", "n.a.", "nan", "nat", "none", "null", "<na>"}
_YES, _NO = {"yes", "y", "true", "1", "1.0"}, {"no", "n", "false", "0", "0.0"}

_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?"
_PLAIN = re.compile(_NUMBER)
_WITH_UNIT = re.compile(rf"({_NUMBER})\s*((?:[^\W\d_]|[°º℃℉%\"']).*)", re.DOTALL)
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:([.,'’ \u00a0\u202f])\d{3})(?:\1\d{3})*(?:(?!\1)[.,]\d+)?")
_HOURS = re.compile(r"(\d{1,4}):([0-5]\d)(?::([0-5]\d))?(?:\s*h)?")
#: What a spreadsheet shows where a formula failed, or stores where one was never computed.
_FAILED = r"#(?:N/A|REF!|VALUE!|NAME\?|DIV/0!|NUM!|NULL!)|=[A-Za-z$(+\"-].*"


def is_nothing(raw: pd.Series) -> pd.Series:
    """Tell which cells say that nothing was noted, where a number or a date belongs."""
    if not pd.api.types.is_string_dtype(raw):
        return raw.isna()
    return raw.str.casefold().isin(_NOTHING)


def read_text(raw: pd.Series) -> tuple[pd.Series, list[Finding]]:
    """Return words, in one Unicode form, with missing ones as missing."""
    words = as_words(raw)
    words = words.mask(words == "")
    failed = words.str.startswith(("#", "="), na=False)
    if not failed.any():
        return words, []
    failed[failed] = words[failed].str.fullmatch(_FAILED)
    told = "is a formula without a result", "mend the formula, or write its result in the cell"
    return words.mask(failed), [Finding(failed, "formula", *told)]


def as_words(raw: pd.Series) -> pd.Series:
    """Return the cells as words, empty where there is nothing; a whole number without its decimal point."""
    if pd.api.types.is_float_dtype(raw):
        whole = raw.notna() & (raw % 1 == 0)
        raw = raw.astype(str).where(~whole, raw.where(whole, 0).astype("int64").astype(str))
    words = (raw if raw.dtype == "str" else raw.astype("str")).fillna("").str.strip()
    return words if words.str.isascii().all() else words.str.normalize("NFC")


def read_yes_no(raw: pd.Series) -> tuple[pd.Series, list[Finding]]:
    """Return yes and no as a nullable boolean; empty stays missing, and counts as no."""
    words = as_words(raw).str.casefold()
    answers = pd.Series(pd.NA, index=raw.index, dtype="boolean")
    answers[words.isin(_YES)] = True
    answers[words.isin(_NO)] = False
    strange = answers.isna() & ~is_nothing(words)
    return answers, [Finding(strange, "yes or no", "is neither yes nor no", "write yes or no")]


def read_choice(raw: pd.Series, choices: tuple[str, ...]) -> tuple[pd.Series, list[Finding]]:
    """Return one of a few words, whatever the case and the spaces."""
    by_plain = {choice.replace("_", " "): choice for choice in choices}
    words = as_words(raw).str.casefold().str.replace(r"[\s_-]+", " ", regex=True)
    known = words.map(by_plain).astype("str")
    strange = known.isna() & ~is_nothing(words)
    if not strange.any():
        return known, []
    allowed = ", ".join(choices)
    near = words[strange].map(lambda word: (difflib.get_close_matches(word, by_plain, 1) or [""])[0])
    remedy = near.map(lambda word: f"write {by_plain[word]}" if word else f"write one of {allowed}")
    remedy = remedy.reindex(words.index)
    return known, [Finding(strange, "known word", f"is none of {allowed}", remedy)]


def read_numbers(column: Column, raw: pd.Series, unit: str) -> tuple[pd.Series, list[Finding]]:
    """Return numbers in the column's canonical unit.

    Parameters
    ----------
    column : Column
        Its declaration.
    raw : pandas.Series
        Cells, text or numbers.
    unit : str
        The unit of the header; a cell may carry one of its own.

    Returns
    -------
    values : pandas.Series of float
        Missing where nothing can be used.
    findings : list of Finding
        What could not be read.
    """
    values = _plain_numbers(raw)
    if unit != column.unit:
        values = pd.Series(to_canonical(values.to_numpy(), unit, column.unit), index=raw.index)
    odd = values.isna() & (raw != "")
    if not odd.any():
        return values, []
    odd[odd] = ~is_nothing(raw[odd])
    comma_used = bool(raw[odd].astype(str).str.contains(r"^[+-]?\d*,(?:\d{1,2}|\d{4,})$").any())
    if comma_used and pd.api.types.is_string_dtype(raw):
        odd |= raw.str.fullmatch(r"[+-]?\d{1,3}\.\d{3}")  # a thousands point, beside decimal commas?
    if not odd.any():
        return values, []
    text = raw.where(odd).astype("str")
    cells = {cell: _read_number(cell, column, unit, comma_used) for cell in text[odd].unique()}
    read = text.map({cell: found for cell, found in cells.items() if isinstance(found, float)}).astype(float)
    broken = text.map({cell: found for cell, found in cells.items() if isinstance(found, str)})
    return values.mask(odd, read), [Finding(broken == rule, rule, *said) for rule, said in _MESSAGES.items()]


def _plain_numbers(raw: pd.Series) -> pd.Series:
    """Return the cells that are plain finite numbers as such, all others as missing."""
    if pd.api.types.is_datetime64_any_dtype(raw):
        return pd.Series(np.nan, index=raw.index)
    values = cast_all(raw, pa.float64()) if pd.api.types.is_string_dtype(raw) else None
    if values is None:
        values = pd.to_numeric(raw, errors="coerce").astype(float)
    return values.where(np.isfinite(values))


def cast_all(text: pd.Series, kind: pa.DataType) -> pd.Series | None:
    """Read text twenty times as fast, where every cell is plain or empty: None where one is not."""
    try:
        cells = pa.array(text)
        told = pc.cast(pc.if_else(pc.equal(cells, ""), None, cells), kind)
        return pd.Series(told.to_numpy(zero_copy_only=False), index=text.index)
    except pa.ArrowInvalid:
        return None


_MESSAGES = {
    "number": ("is not a number", "write the number alone; leave the cell empty if there is none"),
    "ambiguous number": (
        "may be a decimal or a thousand",
        "write 1250 or 1.25, without a separator for thousands",
    ),
    "unit": ("carries a unit that does not fit", "write the number alone, in the unit of the header"),
}


def _read_number(cell: str, column: Column, unit: str, comma_used: bool) -> float | str:
    """Read one cell that is no plain number; what cannot be read comes back as the rule it breaks."""
    cell = cell.strip().replace("\u2212", "-")
    hours = _HOURS.fullmatch(cell)
    if hours and column.unit == "h":
        if to_canonical(1.0, unit, "h") != 1.0:
            return "number"  # 2:30 under minutes would be minutes and seconds to some
        h, minutes, seconds = (int(part or 0) for part in hours.groups())
        return h + minutes / 60 + seconds / 3600
    number: float | str = _separated(cell, column, comma_used)
    if number == "number":
        split = _WITH_UNIT.fullmatch(cell)
        if split and column.unit:
            number, unit = _separated(split.group(1), column, comma_used), split.group(2)
    if isinstance(number, str):
        return number
    try:
        return float(to_canonical(number, unit, column.unit)) if unit else number
    except UnknownUnit:
        return "unit"


def _separated(cell: str, column: Column, comma_used: bool) -> float | str:
    """Read a number with a decimal comma, or with separators between thousands."""
    grouped = _GROUPED.fullmatch(cell)
    if grouped:
        separator = grouped.group(1)
        one_group = re.fullmatch(r"[+-]?\d+[.,]\d{3}", cell)
        if not one_group:
            cell = cell.replace(separator, "")
        elif not _must_be_decimal(cell, column, comma_used):
            return "ambiguous number"
    if not _PLAIN.fullmatch(cell):
        return "number"
    number = float(cell.replace(",", "."))
    return number if np.isfinite(number) else "number"


def _must_be_decimal(cell: str, column: Column, comma_used: bool) -> bool:
    """Tell whether 1,250 or 1.250 can only be one and a quarter here."""
    whole, separator, digits = re.split(r"([.,])", cell.lstrip("+-"))
    low, high = column.possible
    return whole == "0" or (separator == "," and comma_used) or not low <= int(whole + digits) <= high
