"""What gives somebody away, as patterns over folded text: names, contacts, coordinates, however they are written."""

from __future__ import annotations

import re
import unicodedata

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
#: Names of letter boxes that anybody may have.
_ANYBODYS = {"info", "mail", "post", "office", "contact", "hello", "bakery", "shop", "team"}
#: Initials that mean something else.
_NO_INITIALS = {"am", "pm", "eg", "ie", "ok", "ph", "zb", "dh", "ua"}
#: From so many letters on a word is looked for inside other words too; a shorter one would be found everywhere. A given
#: name or a key, which may be a word as well, needs more.
_LONG, _LONG_GIVEN = 4, 7
#: From so many letters on several words are found also where they are written as one.
_LONG_AS_ONE = 8
#: A street without its number tells from so many letters on.
_LONG_STREET = 6
#: A word may be broken at the end of a line, with a hyphen or without.
_BREAK = r"(?:-?[^\S\r\n]*[\r\n]\s*)?"
_NOT_LETTERS = r"[\W_]*"
_BETWEEN_DIGITS = r"[\s().\-/]*"
#: Between the parts of an address for electronic mail.
_AT_OR_DOT = _NOT_LETTERS + r"(?:(?:at|dot)[\W_]+)?"
#: What may follow degrees and minutes.
_SECONDS = r"(?:[.,]\d+)?(?:\s*['’′]\s*\d+(?:[.,]\d+)?)?"
_PHONE = re.compile(r"\+?\d[\d\s().\-/]{4,}\d")
_EMAIL = re.compile(r"[^\s,;<>()]+@[^\s,;<>()]+")
#: A number of a house, before or behind its street; a longer one before it is a post code.
_HOUSE = re.compile(r"^\d{1,3}[a-z]?\s+(?=\D)|\s+\d{1,4}\s*[a-z]?(?:[/-]\s*\d+)?$", re.IGNORECASE)
#: Country and trunk prefixes come and go; the last digits tell whose number it is.
_TELLING_DIGITS, _FEWEST_DIGITS = 7, 6


def folded(text: str) -> tuple[str, list[int]]:
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


def of_key(key: str) -> str:
    """Return a pattern for the short name by which somebody is known; empty for a word of the trade, which names none.

    It is a word by itself unless it is long: the key 'house' does not stand in 'Gatehouse'.
    """
    return of_words(key, inside=len(key) >= _LONG_GIVEN) if _tells(key) else ""


def of_name(name: str) -> list[str]:
    """Return patterns for a full name: as it stands, turned round, shortened to initials, and each of its words.

    A surname is found inside other words, other words by themselves.
    """
    before, _, after = (part.strip() for part in name.partition(","))
    told = [word for word in _words_in(name) if _tells(word) and not word[0].islower()]
    told = told or [word for word in _words_in(name) if _tells(word)]
    surnames = [word for word in told if word in _words_in(before)] if after else told[-1:]
    given = [word for word in told if word not in surnames]
    parts = [part for word in told if "-" in word for part in word.split("-") if len(part) >= _LONG]
    found = [of_words(name), of_words(f"{after} {before}"), *map(of_words, surnames)]
    found += [of_words(word, inside=len(word) >= _LONG_GIVEN) for word in [*told, *parts]]
    return found + _shortened(given, surnames)


def of_contact(contact: str) -> list[str]:
    """Return patterns for a contact: its parts (a last one that is words alone is a town), streets, numbers, boxes."""
    parts = [part.strip() for part in re.split(r"[,;\r\n]", contact) if part.strip()]
    in_words = [part for part in parts if not re.search(r"[\d@./:]", part)]
    told = [part for part in parts if part not in in_words[-1:]]
    streets = [street for part in told if (street := _HOUSE.sub("", part)) != part]
    found = [of_words(contact), *map(of_words, told), *map(_digits, _PHONE.findall(contact))]
    found += [of_words(street, inside=False) for street in streets if _letters(street) >= _LONG_STREET]
    return found + [pattern for address in _EMAIL.findall(contact) for pattern in _email(address)]


def of_number(text: str) -> list[str]:
    """Return patterns for a decimal number, cut or rounded to two decimals, with more, or in degrees and minutes.

    Of a number under 10, which might be anything, three decimals are needed.
    """
    whole, _, decimals = text.partition(".")
    telling = 2 if len(whole) > 1 else 3
    if len(decimals) < telling:
        return []
    written = {f"{whole}.{decimals[:telling]}", f"{float(text):.{telling}f}"}
    minutes = int((float(text) - int(whole)) * 60.0)
    in_minutes = rf"(?<!\d){whole}\s*(?:°|º|o|deg)\s*0?(?:{minutes}|{minutes + 1})(?!\d){_SECONDS}"
    return [*(rf"(?<!\d){one.replace('.', '[.,]')}\d*" for one in sorted(written)), in_minutes]


def of_words(text: str, *, inside: bool = True) -> str:
    """Return a pattern for some words over folded text; empty where they tell nothing."""
    words = re.findall(r"[^\W_]+(?:['’][^\W_]+)*", unicodedata.normalize("NFC", text))
    if sum(map(str.isalpha, "".join(words))) < 2:
        return ""
    letters = sum(len(_plain(word)) for word in words)
    plain = (_NOT_LETTERS if letters >= _LONG_AS_ONE else r"[\W_]+").join(_word(word) for word in words)
    begins, ends = words[0][0], words[-1][-1]
    if inside and letters >= _LONG:
        # 'house 1' is not in 'house 12'
        return ("(?<![0-9])" if begins.isdigit() else "") + plain + ("(?![0-9])" if ends.isdigit() else "")
    of_it = "s?" if letters >= _LONG else ""  # whose it is may be told without an apostrophe
    return rf"(?<![^\W\d_]){plain}{of_it}(?![^\W\d_])"


def _plain(text: str) -> str:
    """Return letters without accents, case, and signs that are not seen."""
    apart = unicodedata.normalize("NFKD", text)
    seen = (letter for letter in apart if not unicodedata.combining(letter) and unicodedata.category(letter) != "Cf")
    return unicodedata.normalize("NFKD", "".join(seen).casefold()).translate(_PLAIN)


def _words_in(name: str) -> list[str]:
    return re.findall(r"[^\W_][\w'’-]*", unicodedata.normalize("NFC", name))


def _letters(text: str) -> int:
    return sum(map(str.isalpha, text))


def _tells(word: str) -> bool:
    return _letters(word) > 1 and word.casefold() not in _COMMON


def _shortened(given: list[str], surnames: list[str]) -> list[str]:
    """Return patterns for surnames with given names cut short before or behind them, and for initials with points."""
    if not given or not surnames:
        return []
    cut = "|".join(dict.fromkeys(map(_cut, given)))
    initial = "|".join(dict.fromkeys(re.escape(_plain(word[0])) for word in given))
    names = [_word(word) for word in surnames]
    around = [rf"(?<!\w)(?:(?:{cut})\s*)+{name}" for name in names]
    around += [rf"(?<!\w){name},?\s*(?:{initial})(?:\.|(?!\w))" for name in names]
    first = [_plain(word[0]) for word in [*given, *surnames]]
    points = r"(?<!\w)" + r"\.[\s-]*".join(map(re.escape, first)) + r"(?:\.|(?!\w))"
    return around if "".join(first) in _NO_INITIALS else [*around, points]


def _cut(word: str) -> str:
    """Return a pattern for the beginning of a word with a point, or its first letter."""
    first, *others = (re.escape(letter) for letter in _plain(word))
    behind = ""
    for letter in reversed(others):
        behind = f"(?:{letter}{behind})?"
    return rf"{first}(?:{behind}\.|(?!\w))"


def _digits(number: str) -> str:
    digits = re.sub(r"\D", "", number)
    if len(digits) < _FEWEST_DIGITS:
        return ""
    before = r"(?<!\d)(?:[+(]*\d[\d\s().\-/]*?)?" if len(digits) > _TELLING_DIGITS else r"(?<!\d)"
    return before + _BETWEEN_DIGITS.join(digits[-_TELLING_DIGITS:]) + r"(?!\d)"


def _email(address: str) -> list[str]:
    """Return patterns for an address, also with its signs in words, and for its box unless anybody may have it."""
    box = address.partition("@")[0]
    whole = _AT_OR_DOT.join(_word(word) for word in re.findall(r"[^\W_]+", address))
    own = _letters(box) > _LONG and box.casefold() not in _ANYBODYS
    return [whole, of_words(box, inside=False) if own else ""]


def _word(word: str) -> str:
    letters = []
    for letter in word:
        plain = [_NOT_LETTERS if letter in "'’" else re.escape(one) for one in _plain(letter)]
        if plain and letter.casefold() in _WITH_E:
            plain[-1] += "e?"
        letters += plain
    return _BREAK.join(letters)
