"""Lettering on pictures: what is missing in a face is said, what is too long is broken or shortened."""

from __future__ import annotations

import pytest

from evenburn.adapters.pictures.sheet_type import FaceId, Type, printable

TYPE = Type(face="sheet-sans", size_px=24, colour="#000000")
FACES: tuple[FaceId, ...] = ("sheet-serif", "sheet-serif-bold", "sheet-sans", "sheet-sans-bold")


@pytest.mark.parametrize("face", FACES)
def test_figures_units_and_signs_are_in_every_face(face: FaceId) -> None:
    for text in ("L* 38.4 ± 9.1", "200 × 150 × 12.1\u00a0mm", "+1.5 mm, −0.4 mm", "Müller’s crew: Łódź, Ångström"):
        assert printable(text, face) == text


def test_what_a_face_lacks_is_not_lost() -> None:
    assert printable("⌀ 90\u202fmm", "sheet-sans") == "diameter  90\u00a0mm"
    assert printable("≤ 2", "sheet-sans") == "at most  2"
    assert printable("水", "sheet-sans") == "?"
    assert printable("line\nbreak\x07", "sheet-sans") == "linebreak"


def test_a_long_text_is_broken_at_spaces() -> None:
    text = "Curve of hard maple is a starting value: expect a tone nine off either way"
    lines = TYPE.lines(text, width_px=300)
    assert len(lines) > 2
    assert " ".join(lines) == text
    assert all(TYPE.width_px(line) <= 300 for line in lines)


def test_one_long_word_is_shortened() -> None:
    (line,) = TYPE.lines("x" * 200, width_px=300)
    assert line.endswith("…")
    assert TYPE.width_px(line) <= 300
    assert TYPE.shortened("short", width_px=300) == "short"
    assert TYPE.lines("", width_px=300) == ("",)
