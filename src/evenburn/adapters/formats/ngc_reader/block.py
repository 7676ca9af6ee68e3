"""The words of one line, ordered into one code per modal group and one value per letter."""

from __future__ import annotations

from dataclasses import dataclass, field

from evenburn.adapters.formats.ngc_reader.words import Fault, Word

MOTION, PLANE, DISTANCE, FEED_MODE, UNITS = 1, 2, 3, 5, 6
NON_MODAL = 0
STOPPING, LASER, AIR = 4, 7, 8
M_WORDS_PER_LINE = 4
_CODE_TOLERANCE = 1e-4  # the standard takes a code for whole when it is nearer than this
_OWN_LETTERS = frozenset("FGIJMPRSXY")

# NISTIR 6556, Table 4. A code is held ten times over, so that 38.2 is the whole number 382.
_G_TABLE: dict[int, tuple[float, ...]] = {
    NON_MODAL: (4, 10, 28, 30, 53, 92, 92.1, 92.2, 92.3),
    MOTION: (0, 1, 2, 3, 38.2, 80, 81, 82, 83, 84, 85, 86, 87, 88, 89),
    PLANE: (17, 18, 19),
    DISTANCE: (90, 91),
    FEED_MODE: (93, 94),
    UNITS: (20, 21),
    7: (40, 41, 42),
    8: (43, 49),
    10: (98, 99),
    12: (54, 55, 56, 57, 58, 59, 59.1, 59.2, 59.3),
    13: (61, 61.1, 64),
}
_M_TABLE: dict[int, tuple[int, ...]] = {
    STOPPING: (0, 1, 2, 30, 60),
    6: (6,),
    LASER: (3, 4, 5),
    AIR: (7, 8, 9),
    9: (48, 49),
}
G_GROUPS = {round(10 * code): group for group, codes in _G_TABLE.items() for code in codes}
M_GROUPS = {code: group for group, codes in _M_TABLE.items() for code in codes}
# What this reader acts on; G40, G49 and G80 only end things that never began.
READ_G = frozenset(10 * code for code in (0, 1, 2, 3, 4, 17, 18, 19, 20, 21, 40, 49, 80, 90, 91, 93, 94))
READ_M = frozenset({0, 1, 2, 30, 7, 8, 9})
TAKES_AXES = frozenset({100, 280, 300, 920})  # of the non-modal codes: they use the axis words themselves


def g_text(code: int) -> str:
    """Return a G code held ten times over as people write it."""
    return f"G{code / 10:g}"


@dataclass(slots=True, kw_only=True)
class Block:
    """One line's meaning: `g` and `m` by modal group, `values` by letter."""

    g: dict[int, int] = field(default_factory=dict)
    m: dict[int, int] = field(default_factory=dict)
    values: dict[str, float] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    has_axes: bool = False
    suspends_motion: bool = False  # a code that takes the axis words for itself


def block_of(words: tuple[Word, ...], *, laser_codes: frozenset[int]) -> Block:
    """Order a line's words by modal group and letter, with what the standard or this reader refuses.

    Where two words contend the later one is kept, so that reading can go on.

    Parameters
    ----------
    words : tuple of Word
    laser_codes : frozenset of int
        The M codes that switch the laser on or off; each counts as one of group 7.

    Source
    ------
    [kramer2000], Table 4 and sec. 3.3.4 (one word of a group, one of a letter, four M words on a line).
    """
    block = Block()
    m_words = 0
    for word in words:
        if word.letter == "G":
            _take_g(block, word)
        elif word.letter == "M":
            m_words += 1
            _take_m(block, word, laser_codes)
        elif word.letter in _OWN_LETTERS:
            if word.letter in block.values:
                block.faults.append(
                    Fault(code="repeated-word", text=f"two {word.letter} words on one line; allowed is one")
                )
            block.values[word.letter] = word.value
        elif word.letter == "Z":
            text = f"Z{word.text}: the head's height is set by hand; a program moves X and Y only"
            block.faults.append(Fault(code="z-word", text=text))
        else:
            text = f"{word.letter}{word.text} is not read here; allowed letters are F G I J M N P R S X Y"
            block.faults.append(Fault(code="unsupported-word", text=text))
    if m_words > M_WORDS_PER_LINE:
        block.faults.append(
            Fault(code="m-words", text=f"{m_words} M words on one line; allowed are {M_WORDS_PER_LINE}")
        )
    block.has_axes = "X" in block.values or "Y" in block.values
    return block


def _take_g(block: Block, word: Word) -> None:
    code = round(word.value * 10)
    group = G_GROUPS.get(code)
    if group is None or abs(word.value - code / 10) > _CODE_TOLERANCE:
        block.faults.append(Fault(code="unknown-code", text=f"G{word.text} is not in the standard"))
        return
    if group in block.g:
        _contend(block, g_text(block.g[group]), g_text(code), group)
    if code not in READ_G:
        text = f"{g_text(code)} is in the standard but not read here"
        block.faults.append(Fault(code="unsupported-code", text=text))
        block.suspends_motion = block.suspends_motion or code in TAKES_AXES
        return
    block.g[group] = code


def _take_m(block: Block, word: Word, laser_codes: frozenset[int]) -> None:
    code = round(word.value)
    whole = abs(word.value - code) <= _CODE_TOLERANCE
    group = LASER if code in laser_codes else M_GROUPS.get(code)
    if group is None or not whole:
        block.faults.append(Fault(code="unknown-code", text=f"M{word.text} is not in the standard"))
        return
    if group in block.m:
        _contend(block, f"M{block.m[group]}", f"M{code}", group)
    if code not in READ_M and code not in laser_codes:
        text = f"M{code} is in the standard but neither read here nor a word of this machine"
        block.faults.append(Fault(code="unsupported-code", text=text))
        return
    block.m[group] = code


def _contend(block: Block, first: str, second: str, group: int) -> None:
    text = f"{first} and {second} on one line; allowed is one word of modal group {group}"
    block.faults.append(Fault(code="modal-group", text=text))
