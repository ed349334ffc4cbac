"""Names, contacts and places, found in running text however they are written."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from typing import NamedTuple

from .secret_patterns import folded, of_contact, of_key, of_name, of_number, of_words

#: What stands in place of what is not shown.
WITHHELD = "withheld"


class Secrets(NamedTuple):
    """What is not to be shown, as one pattern over folded text."""

    pattern: re.Pattern[str] | None

    def taken_out(self, text: str) -> str:
        """Return a text with every secret in it replaced, without signs that no page or workbook can hold.

        Examples
        --------
        >>> hidden = secrets_in(names=["Oskell, Merrit"], contacts=["Ivy Row 11, Wexelfoot"])
        >>> hidden.taken_out("From MERRIT OSKELL, Ivy Row 11: Oskells Roggen")
        'From withheld, withheld: withheld Roggen'
        """
        text = "".join(letter for letter in text if _printable(letter)) if not text.isprintable() else text
        if self.pattern is None:
            return text
        plain, places = folded(text)
        kept, end = [], 0
        for found in self.pattern.finditer(plain):
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
        The short names by which they are known, as words; one with fewer than two letters, or one of the trade, tells
        nothing.
    names : iterable of str
        Full names: each as it stands, turned round and shortened to initials, its surname also inside other words, its
        other words that are no words of the trade.
    contacts : iterable of str
        Each as it stands, its parts between commas (the last that is words alone is a town, and no contact), streets
        without the number, every telephone number and address for electronic mail in it.
    places : iterable of str
        Each as it stands.
    numbers : iterable of str
        Decimal numbers without sign, as degrees of latitude and longitude are written: with fewer decimals down to two,
        with more, with a comma, or as degrees and minutes.

    Returns
    -------
    Secrets
        Case, accents, spacing and the punctuation of telephone numbers do not matter.
    """
    found = [*map(of_key, keys), *map(of_words, places)]
    found += [pattern for name in names for pattern in of_name(name)]
    found += [pattern for contact in contacts for pattern in of_contact(contact)]
    found += [pattern for number in numbers for pattern in of_number(number)]
    # the longest first, so that a full name is one secret and not two
    known = sorted({pattern for pattern in found if pattern}, key=lambda pattern: (-len(pattern), pattern))
    return Secrets(re.compile("|".join(known)) if known else None)


def _printable(letter: str) -> bool:
    return letter in "\t\n\r" or unicodedata.category(letter) not in ("Cc", "Cs", "Cn")
