"""One line of a program, taken apart into words as RS-274/NGC's grammar has it."""

from __future__ import annotations

import re
from dataclasses import dataclass

LINE_LIMIT = 80  # a line stays under it; evenburn's own promise, far inside the standard's
STANDARD_LINE_LIMIT = 255  # characters, the line's end not counted: the buffer holds 256 with it
READ_LIMIT = 4096  # characters of one line; behind them nothing is read, the line is refused anyway
NUMBER_LIMIT = 1e9  # no bench is a thousand kilometres wide
_FAULT_LIMIT = 20  # on one line; by then it is not a program
_LETTERS = frozenset("ABCDFGHIJKLMNPQRSTXYZ")  # NISTIR 6556, Table 1
_ODD = re.compile(r"[^\t\x20-\x7e]")
_NUMBER = re.compile(r"[ \t]*([+-]?(?:[ \t]*[0-9])*(?:[ \t]*\.(?:[ \t]*[0-9])*)?)")
_NO_NUMBER = re.compile(r"[ \t]*[+-]?(?:nan|inf(?:inity)?)", re.IGNORECASE)
_STRAY = re.compile(r"[0-9+\-.,][0-9+\-., \t]*")
_BLANKS = str.maketrans("", "", " \t")


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """A letter (upper case) and its number, with the number as it was written."""

    letter: str
    value: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """Something a line may not hold: the code of a finding and what was seen."""

    code: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """What stands on one line; faulty words are left out of `words` and told in `faults`."""

    words: tuple[Word, ...]
    faults: tuple[Fault, ...]
    is_deletable: bool  # it begins with a slash


class _Scanner:
    def __init__(self, text: str) -> None:
        self.length = len(text)
        self.text = text[:READ_LIMIT]
        self.words: list[Word] = []
        self.faults: list[Fault] = []
        self.is_deletable = False
        self.has_begun = False  # a word or a comment was met: the place for slash and line number is past
        self.odd_told = False

    def fault(self, code: str, text: str) -> None:
        self.faults.append(Fault(code=code, text=text))

    def line(self) -> Line:
        self._whole_line()
        at, end = 0, len(self.text)
        while at < end and len(self.faults) < _FAULT_LIMIT:
            char = self.text[at]
            if char in " \t":
                at += 1
            elif char.isascii() and char.isalpha():
                at = self._word(at)
            elif char == "(":
                at = self._comment(at)
            else:
                at = self._other(at)
        return Line(words=tuple(self.words), faults=tuple(self.faults), is_deletable=self.is_deletable)

    def _whole_line(self) -> None:
        length = self.length
        if length > STANDARD_LINE_LIMIT:
            self.fault("line-too-long", f"the line has {length} characters; the standard allows {STANDARD_LINE_LIMIT}")
        elif length >= LINE_LIMIT:
            self.fault("line-not-short", f"the line has {length} characters; allowed are {LINE_LIMIT - 1}")
        odd = _ODD.search(self.text)
        if odd:
            self.odd_told = True
            self.fault(
                "character", f"character {odd.group()!a} in column {odd.start() + 1}; allowed is printable ASCII"
            )

    def _comment(self, at: int) -> int:
        self.has_begun = True
        close = self.text.find(")", at + 1)
        if close < 0:
            self.fault("comment-unclosed", f"a comment opens in column {at + 1} and does not close on its line")
            return len(self.text)
        nested = self.text.find("(", at + 1, close)
        if nested >= 0:
            self.fault("comment-nested", f"a comment opens in column {nested + 1} inside another")
        return close + 1

    def _word(self, at: int) -> int:
        letter = self.text[at].upper()
        if letter == "N":
            return self._line_number(at)
        self.has_begun = True
        no_number = _NO_NUMBER.match(self.text, at + 1)
        if no_number:
            self.fault("number-format", f"{self.text[at : no_number.end()]} is not a number")
            return no_number.end()
        found = _NUMBER.match(self.text, at + 1)
        assert found is not None  # noqa: S101  every part of the pattern may be empty
        digits = found.group(1).translate(_BLANKS)
        after = found.end()
        if not digits.strip("+-."):
            self._missing_number(letter, after)
        elif letter == "E":
            self.fault("number-format", f"exponent E{digits}; numbers have sign, digits and point only")
        elif letter not in _LETTERS:
            self.fault("unknown-word", f"{letter}{digits}: the standard has no word {letter}")
        elif abs(float(digits)) > NUMBER_LIMIT:
            self.fault("number-format", f"{letter}{digits[:20]} is beyond {NUMBER_LIMIT:.0f}")
        else:
            self.words.append(Word(letter=letter, value=float(digits), text=digits))
        return after

    def _missing_number(self, letter: str, after: int) -> None:
        rest = self.text[after:].lstrip(" \t")
        if rest.startswith("("):
            self.fault("comment-in-word", f"a comment stands between {letter} and its number")
        else:
            self.fault("number-format", f"no number after {letter}")

    def _line_number(self, at: int) -> int:
        found = _NUMBER.match(self.text, at + 1)
        assert found is not None  # noqa: S101  every part of the pattern may be empty
        digits = found.group(1).translate(_BLANKS)
        if self.has_begun:
            self.fault("line-number", f"N{digits} stands inside the line; a line number stands first")
        elif not digits.isdigit() or len(digits) > 5:
            self.fault("line-number", f"line number N{digits[:20]}; allowed are 1 to 5 digits without sign or point")
        self.has_begun = True
        return found.end()

    def _other(self, at: int) -> int:
        char = self.text[at]
        stray = _STRAY.match(self.text, at)
        if stray:
            self.has_begun = True
            seen = stray.group().strip()[:20]
            text = f"{seen} in column {at + 1} belongs to no letter; a number has one sign, digits and one point"
            self.fault("number-format", text)
            return stray.end()
        if char == "/" and not self.has_begun and not self.is_deletable:
            self.is_deletable = True
        elif char == ";":
            self.fault("comment-form", f"a semicolon in column {at + 1}; comments stand in parentheses")
            return len(self.text)
        elif char == ")":
            self.fault("comment-unopened", f"a comment closes in column {at + 1} that never opened")
        elif char in "#[]=*":
            self.fault("unsupported-word", f"{char} in column {at + 1}: parameters and expressions are not read here")
        elif not self.odd_told:
            self.odd_told = True
            self.fault("character", f"character {char!a} in column {at + 1} has no meaning there")
        return at + 1


def line_of(text: str) -> Line:
    """Take one line apart into its words and faults.

    Blanks mean nothing outside comments, not even inside a number; letters may be of either case.

    Parameters
    ----------
    text : str
        The line without its end.

    Source
    ------
    [kramer2000], sec. 3.3 and appendix E (grammar).

    Checked by
    ----------
    tests/published/test_nistir6556.py
    """
    return _Scanner(text).line()
