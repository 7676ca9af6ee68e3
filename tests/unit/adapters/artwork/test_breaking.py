"""Line breaking: against an example worked elsewhere, every breaking there is, and the rules of where one may break."""

import itertools

import numpy as np
import pytest

from evenburn.adapters.artwork.breaking import Chunk, break_lines, break_points, fewest_lines, narrowest
from evenburn.adapters.artwork.faces import face_file
from evenburn.adapters.artwork.fonts import open_font
from evenburn.adapters.artwork.lettering import shape_lines
from evenburn.adapters.artwork.setting import wrap_text
from evenburn.core.errors import InvalidInput

GARAMOND = face_file("eb-garamond")
SAME = 1e-9


def words(text: str) -> list[Chunk]:
    """Return words of letters one wide, a space between them one wide."""
    parts = text.split()
    return [
        Chunk(width=float(len(part)), space=1.0, tail=0.0, closes=i == len(parts) - 1) for i, part in enumerate(parts)
    ]


def lines_of(chunks: list[Chunk], ends: list[int]) -> list[float]:
    """Return the widths of lines."""
    return [
        sum(chunk.width for chunk in chunks[a:b]) + sum(chunk.space for chunk in chunks[a : b - 1])
        for a, b in itertools.pairwise([0, *ends])
    ]


def test_the_textbook_example_is_broken_with_the_least_raggedness() -> None:
    # "AAA BB CC DDDDD" at 6: filling each line leaves 0, 4, 1, squares 17; the best leaves 3, 1, 1, squares 11
    # (English Wikipedia, "Line wrap and word wrap", minimum raggedness; from memory)
    chunks = words("AAA BB CC DDDDD")
    ends = break_lines(chunks, width=6.0)
    assert lines_of(chunks, ends) == [3.0, 5.0, 5.0]
    assert sum((6.0 - width) ** 2 for width in lines_of(chunks, ends)) == 11.0


@pytest.mark.parametrize("seed", range(30))
def test_no_other_breaking_is_better(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 10))
    chunks = [
        Chunk(
            width=float(rng.integers(1, 9)),
            space=1.0,
            tail=float(rng.integers(0, 2)),
            closes=i == count - 1 or rng.random() < 0.1,
        )
        for i in range(count)
    ]
    limit = 12.0

    def judged(ends: tuple[int, ...]) -> tuple[int, float] | None:
        widths = [w + chunks[e - 1].tail for w, e in zip(lines_of(chunks, list(ends)), ends, strict=True)]
        runs_on = any(chunks[i].closes and i + 1 not in ends for i in range(count))
        if runs_on or any(width > limit for width in widths):
            return None
        return len(ends), sum((limit - width) ** 2 for width in widths)

    every = [
        verdict
        for some in range(count)
        for cuts in itertools.combinations(range(1, count), some)
        if (verdict := judged((*cuts, count))) is not None
    ]
    ends = break_lines(chunks, width=limit)
    assert judged(tuple(ends)) == min(every)
    assert fewest_lines(chunks, width=limit) == len(ends)


def test_the_narrowest_width_holds_its_lines_and_a_hair_less_does_not() -> None:
    chunks = words("the quick brown fox jumps over the lazy dog")
    for lines in range(1, 10):
        width = narrowest(chunks, lines=lines)
        assert fewest_lines(chunks, width=width) <= lines
        if lines < 9:
            assert width == 5.0 or fewest_lines(chunks, width=width - 1e-6) > lines
    assert narrowest(chunks, lines=1) == pytest.approx(43.0)  # letters in the sentence, counted with its spaces


def test_a_word_too_wide_stands_by_itself() -> None:
    chunks = words("a incomprehensible b")
    assert lines_of(chunks, break_lines(chunks, width=5.0)) == [1.0, 16.0, 1.0]


@pytest.mark.parametrize(
    ("text", "pieces"),
    [
        ("Novice Fours", ["Novice ", "Fours"]),
        ("a  b", ["a  ", "b"]),
        ("A\u00a0B C", ["A\u00a0B ", "C"]),  # no-break space
        ("1\u202f000 m", ["1\u202f000 ", "m"]),  # narrow no-break space
        ("a\u2007b", ["a\u2007b"]),  # figure space
        ("a \u2060b", ["a \u2060b"]),  # word joiner
        ("a\u200bb", ["a\u200b", "b"]),  # zero width space
        ("a\u2003b", ["a\u2003", "b"]),  # em space
        ("well-steered", ["well-", "steered"]),
        ("well\u2011steered", ["well\u2011steered"]),  # no-break hyphen
        ("well\u2010steered", ["well\u2010", "steered"]),
        ("at -5 degrees", ["at ", "-5 ", "degrees"]),
        ("2025-26", ["2025-26"]),
        ("a - b", ["a ", "- ", "b"]),
        ("dampf\u00adschiff", ["dampf\u00ad", "schiff"]),
        ("one\u2014two", ["one\u2014", "two"]),
        ("e \u0301", ["e \u0301"]),  # never before a mark
        ("unbreakable", ["unbreakable"]),
        ("", [""]),
    ],
)
def test_lines_break_where_they_may(text: str, pieces: list[str]) -> None:
    cuts = [0, *break_points(text, in_words=True), len(text)]
    assert [text[a:b] for a, b in itertools.pairwise(cuts)] == pieces


def test_words_are_broken_only_when_asked() -> None:
    assert break_points("well-steered on", in_words=False) == [13]


def test_wrapped_lines_are_no_wider_than_asked_and_lose_nothing() -> None:
    text = "Awarded to the winners of the Novice Fours at the Sedgeholm regatta, for a well-steered race"
    font = open_font(GARAMOND, face_name="eb-garamond")
    for width_em in (5.0, 8.0, 12.5, 30.0, 100.0):
        wrapped = wrap_text(text, GARAMOND, face_name="eb-garamond", width_em=width_em)
        lines = shape_lines(wrapped, font, tracking_em=0.0)
        assert max(line.width_units for line in lines) / font.upem <= width_em + 0.05  # kerning at the space between
        assert wrapped.replace("-\n", "-").replace("\n", " ") == text


def test_tracking_takes_its_room_when_lines_are_broken() -> None:
    text = "one two three four five six"
    tight = wrap_text(text, GARAMOND, face_name="eb-garamond", width_em=6.0)
    loose = wrap_text(text, GARAMOND, face_name="eb-garamond", width_em=6.0, tracking_em=0.5)
    assert loose.count("\n") > tight.count("\n")


def test_a_soft_hyphen_shows_only_where_a_line_ends_with_it() -> None:
    text = "Donau\u00addampf\u00adschiff"
    assert wrap_text(text, GARAMOND, face_name="eb-garamond", width_em=20.0) == "Donaudampfschiff"
    assert wrap_text(text, GARAMOND, face_name="eb-garamond", width_em=4.0) == "Donau-\ndampf-\nschiff"


def test_line_feeds_stay_and_empty_lines_too() -> None:
    assert wrap_text("a b\n\nc", GARAMOND, face_name="eb-garamond", width_em=50.0) == "a b\n\nc"


@pytest.mark.parametrize("width_em", [0.0, -1.0, float("nan")])
def test_a_width_that_cannot_be_is_refused(width_em: float) -> None:
    with pytest.raises(InvalidInput, match="width_em"):
        wrap_text("a b", GARAMOND, face_name="eb-garamond", width_em=width_em)
