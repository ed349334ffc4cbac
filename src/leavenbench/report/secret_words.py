"""Names, contacts and places, found in running text however they are written."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from typing import NamedTuple

#: What stands in place of what is not shown.
WITHHELD = "withheld"

#: Letters that Unicode does not take apart into a plain letter and an accent.
_PLAIN = str.maketrans({"ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i"})
#: Vowels with two dots are also written with an e behind them.
_WITH_E = "äöü"
#: Words of a trade or a form of address: of a name that holds one, the other words are what tells.
_COMMON = {
    *(
        "the",
        "and",
        "of",
        "co",
        "ltd",
        "inc",
        "company",
        "mr",
        "mrs",
        "ms",
        "miss",
        "dr",
        "prof",
        "professor",
        "family",
    ),
    *("bakery", "bakers", "baker", "bakehouse", "mill", "mills", "miller", "millers", "farm", "house", "school"),
    *("museum", "university", "institute", "college"),
}
#: From so many letters on a name is looked for inside other words too; a shorter one would be found everywhere.
_LONG = 4
#: A word may be broken at the end of a line, with a hyphen or without.
_BREAK = r"(?:-?[^\S\r\n]*[\r\n]\s*)?"
_BETWEEN_WORDS = r"[\W_]+"
_BETWEEN_DIGITS = r"[\s().\-/]*"
_PHONE = re.compile(r"\+?\d[\d\s().\-/]{4,}\d")
_EMAIL = re.compile(r"[^\s,;<>()]+@[^\s,;<>()]+")
#: Country and trunk prefixes come and go; the last digits tell whose number it is.
_TELLING_DIGITS, _FEWEST_DIGITS = 7, 6


class Secrets(NamedTuple):
    """What is not to be shown, as one pattern over folded text."""

    pattern: re.Pattern[str] | None

    def taken_out(self, text: str) -> str:
        """Return a text with every secret in it replaced, without signs that no page or workbook can hold.

        Examples
        --------
        >>> hidden = secrets_in(names=["Oskell, Merrit"], contacts=["Ivy Row 11, Wexelfoot"])
        >>> hidden.taken_out("From MERRIT OSKELL, Ivy Row 11: Oskells Roggen")
        'From withheld, withheld: withhelds Roggen'
        """
        text = "".join(letter for letter in text if _printable(letter)) if not text.isprintable() else text
        if self.pattern is None:
            return text
        folded, places = _folded(text)
        kept, end = [], 0
        for found in self.pattern.finditer(folded):
            begin, stop = places[found.start()], places[found.end() - 1] + 1
            while stop < len(text) and unicodedata.combining(text[stop]):
                stop += 1  # an accent that stands by itself goes with its letter
            kept += [text[end:begin], WITHHELD]
            end = stop
        return "".join(kept) + text[end:]


def secrets_in(
    keys: Iterable[str] = (),
    names: Iterable[str] = (),
    contacts: Iterable[str] = (),
    places: Iterable[str] = (),
    numbers: Iterable[str] = (),
) -> Secrets:
    """Return what gives somebody away, from what is known of them.

    Parameters
    ----------
    keys : iterable of str
        The short names by which they are known; one with fewer than two letters is a code, and tells nothing.
    names : iterable of str
        Full names: each as it stands and turned round, its surname also inside other words, its other words that are
        no words of the trade.
    contacts : iterable of str
        Each as it stands, its parts between commas (the last that is words alone is a town, and no contact), every
        telephone number and address for electronic mail in it.
    places : iterable of str
        Each as it stands.
    numbers : iterable of str
        Decimal numbers, each as it stands, with more decimals, or with a comma.

    Returns
    -------
    Secrets
        Case, accents, spacing and the punctuation of telephone numbers do not matter.
    """
    found = [*map(_words, keys), *map(_words, places), *map(_number, numbers)]
    for name in names:
        found += _of_name(name)
    for contact in contacts:
        found += _of_contact(contact)
    # the longest first, so that a full name is one secret and not two
    known = sorted({pattern for pattern in found if pattern}, key=lambda pattern: (-len(pattern), pattern))
    return Secrets(re.compile("|".join(known)) if known else None)


def _printable(letter: str) -> bool:
    return letter in "\t\n\r" or unicodedata.category(letter) not in ("Cc", "Cs", "Cn")


def _folded(text: str) -> tuple[str, list[int]]:
    """Return a text in small letters without accents, and where each of its letters stood."""
    if text.isascii():
        return text.lower(), list(range(len(text)))
    letters: list[str] = []
    places: list[int] = []
    for place, letter in enumerate(text):
        plain = _plain(letter)
        letters.append(plain)
        places += [place] * len(plain)
    return "".join(letters), places


def _plain(text: str) -> str:
    """Return letters without accents, case, and signs that are not seen."""
    apart = unicodedata.normalize("NFKD", text)
    seen = (letter for letter in apart if not unicodedata.combining(letter) and unicodedata.category(letter) != "Cf")
    return unicodedata.normalize("NFKD", "".join(seen).casefold()).translate(_PLAIN)


def _of_name(name: str) -> list[str]:
    before, _, after = (part.strip() for part in name.partition(","))
    told = [word for word in _words_in(name) if _tells(word) and not word[0].islower()]
    told = told or [word for word in _words_in(name) if _tells(word)]
    surnames = [word for word in told if word in _words_in(before)] if after else told[-1:]
    parts = [part for word in told if "-" in word for part in word.split("-") if len(part) >= _LONG]
    found = [_words(name), _words(f"{after} {before}"), *map(_words, surnames)]
    return found + [_words(word, inside=False) for word in [*told, *parts]]


def _words_in(name: str) -> list[str]:
    return re.findall(r"[^\W_][\w'’-]*", unicodedata.normalize("NFC", name))


def _tells(word: str) -> bool:
    return sum(map(str.isalpha, word)) > 1 and word.casefold() not in _COMMON


def _of_contact(contact: str) -> list[str]:
    parts = [part.strip() for part in re.split(r"[,;\r\n]", contact) if part.strip()]
    in_words = [part for part in parts if not re.search(r"[\d@./:]", part)]
    told = [part for part in parts if part not in in_words[-1:]]
    numbers = [_digits(number) for number in _PHONE.findall(contact)]
    return [_words(contact), *map(_words, told), *numbers, *map(_words, _EMAIL.findall(contact))]


def _digits(number: str) -> str:
    digits = re.sub(r"\D", "", number)
    if len(digits) < _FEWEST_DIGITS:
        return ""
    before = r"(?<!\d)(?:[+(]*\d[\d\s().\-/]*?)?" if len(digits) > _TELLING_DIGITS else r"(?<!\d)"
    return before + _BETWEEN_DIGITS.join(digits[-_TELLING_DIGITS:]) + r"(?!\d)"


def _number(text: str) -> str:
    """Return a pattern for a number, with more decimals or a comma as well."""
    whole, _, decimals = text.partition(".")
    return rf"(?<!\d){whole}[.,]{decimals}\d*" if decimals else ""


def _words(text: str, *, inside: bool = True) -> str:
    """Return a pattern for some words over folded text; empty where they tell nothing."""
    words = re.findall(r"[^\W_]+", unicodedata.normalize("NFC", text))
    if sum(map(str.isalpha, "".join(words))) < 2:
        return ""
    plain = _BETWEEN_WORDS.join(_word(word) for word in words)
    letters = sum(len(_plain(word)) for word in words)
    begins, ends = words[0][0], words[-1][-1]
    if inside and letters >= _LONG:
        # 'house 1' is not in 'house 12'
        return ("(?<![0-9])" if begins.isdigit() else "") + plain + ("(?![0-9])" if ends.isdigit() else "")
    return rf"(?<![^\W\d_]){plain}(?![^\W\d_])"


def _word(word: str) -> str:
    letters = []
    for letter in word:
        plain = [re.escape(one) for one in _plain(letter)]
        if plain and letter.casefold() in _WITH_E:
            plain[-1] += "e?"
        letters += plain
    return _BREAK.join(letters)
