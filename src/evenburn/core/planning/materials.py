"""Materials that must not be burnt, and those to be doubted, found by the words people use for them."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from evenburn.core.nouns.wood import Wood

LETTER = r"[^\W\d_]"
SPELT_OUT = re.compile(rf"(?<!{LETTER})({LETTER}(?: {LETTER})+)(?!{LETTER})")  # "p v c", left of "P.V.C."
MEASURE = re.compile(r"(\d(?:mm|cm|in))(?=[^\W\d_])")  # "3mmPVC" is 3 mm of it
NO_GAPS = ("CJK", "HIRAGANA", "KATAKANA", "HANGUL", "THAI")  # scripts that part no words, or bind endings to them
PLAIN = {"ß": "ss", "ø": "o", "ł": "l", "đ": "d", "æ": "ae", "œ": "oe", "ı": "i"}  # no letter and accent to come apart
# small Cyrillic and Greek letters that are read as Latin ones, they or their capitals; words of the list are folded alike
CYRILLIC = dict(zip("авенікморстухѕјԁһԛԝѵӏ", "abehikmopctyxsjdhqwvl", strict=True))
GREEK = dict(zip("αβεηικμνορτυχ", "abehikmvoptyx", strict=True))
FOLDED = PLAIN | CYRILLIC | GREEK


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A material to refuse or to doubt: the words that name it, and what it gives off.

    A word stands whole, in any case and with or without accents; what parts the words of a name does not count, so that
    "faux-leather" and "faux  leather" are the same. One that ends in `*` also begins longer words, as "pvc*" begins
    "PVC-Platte" and "pvcplatte". Words in `unless` are taken out of a name first, as "heat treated" from "heat-treated ash".
    """

    name: str
    words: tuple[str, ...]
    level: Literal["forbidden", "doubtful"]
    why: str
    unless: tuple[str, ...] = ()


def find_materials(materials: tuple[Material, ...], *names: str) -> tuple[Material, ...]:
    """Return every material that any of the names mentions, the forbidden ones first. Definition."""
    text = plain_words(" ; ".join(names))
    hits = [m for m in materials if _mentions(text, m.words, m.unless)]
    return tuple(sorted(hits, key=lambda m: m.level != "forbidden"))


def find_material(materials: tuple[Material, ...], *names: str) -> Material | None:
    """Return the worst material that any of the names mentions, several doubtful ones as one; None where there is none.

    Source
    ------
    Definition.
    """
    found = find_materials(materials, *names)
    if len(found) < 2 or found[0].level == "forbidden":
        return found[0] if found else None
    return Material(
        name=", ".join(one.name for one in found), words=(), level="doubtful", why=" ".join(one.why for one in found)
    )


def mentioned(words: tuple[str, ...], *names: str, unless: tuple[str, ...] = ()) -> bool:
    """Return whether any of the names mentions one of the words, as `Material` reads them. Definition."""
    return _mentions(plain_words(" ; ".join(names)), words, unless)


def is_forbidden(material: Material | None) -> bool:
    """Return whether a material must not be burnt at all, so that nothing of it is planned or told. Definition."""
    return material is not None and material.level == "forbidden"


def spoken_of(wood: Wood) -> tuple[str, ...]:
    """Return the words in which a wood's file says what it is: name, id, what lies on it, what it is called. Definition."""
    return (wood.name, wood.id, wood.surface, wood.called)


def plain_words(text: str) -> str:
    """Return a text as it is searched: plain small letters, one blank between words, abbreviations without points.

    Letters of other scripts that look like Latin ones are read as those.

    Source
    ------
    Definition; the taking apart of letters is Unicode's compatibility decomposition, NFKD.
    """
    apart = unicodedata.normalize("NFKD", text.casefold())
    # accents of Latin, Greek and Cyrillic letters, and signs that are not seen at all
    bare = "".join(FOLDED.get(c, c) for c in apart if not unicodedata.combining(c) and unicodedata.category(c) != "Cf")
    bare = MEASURE.sub(r"\1 ", bare)
    parted = re.sub(r"[\W_]+", lambda gap: " ; " if ";" in gap[0] else " ", bare).strip()
    return SPELT_OUT.sub(lambda hit: hit[1].replace(" ", ""), parted)


def _mentions(text: str, words: tuple[str, ...], unless: tuple[str, ...]) -> bool:
    for word in unless:
        text = _pattern(word).sub(" ; ", text)
    return any(_pattern(word).search(text) for word in words)


@lru_cache(maxsize=2000)
def _pattern(word: str) -> re.Pattern[str]:
    begins = word.endswith("*")
    plain = plain_words(word.removesuffix("*"))
    if any(unicodedata.name(c, "").startswith(NO_GAPS) for c in plain):
        return re.compile(re.escape(plain.replace(" ", "")))
    tail = "" if begins else rf"(?!{LETTER})(?!\d)" if plain[-1:].isdigit() else rf"(?!{LETTER})"
    parted = re.escape(plain).replace(r"\ ", " ?")  # "carbonfibre" is carbon fibre
    return re.compile(rf"(?<!{LETTER}){parted}{tail}")
