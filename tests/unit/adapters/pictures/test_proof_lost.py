"""Lost detail on the proof: framed where it is, told in words, and nothing at all where nothing is lost."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageColor

from evenburn.adapters.pictures.proof import LINE_px, write_proof
from evenburn.adapters.pictures.proof_lost import WARN, lost_words
from evenburn.core.proof.lost_places import Kind, LostPlace
from unit.adapters.pictures.test_proof import CAPTION, _layout, pictures


def place(kind: Kind, *, box: tuple[float, float, float, float], count: int = 1) -> LostPlace:
    return LostPlace(kind=kind, box_on_board=box, on_mark_mm=(1.0, 2.0), narrowest_mm=0.1, count=count)


def written(folder: Path, *lost: LostPlace) -> np.ndarray:
    write_proof(folder / "proof.png", pictures(), CAPTION, lost=lost)
    with Image.open(folder / "proof.png") as image:
        return np.asarray(image)


def violet(seen: np.ndarray) -> np.ndarray:
    return np.asarray((seen == ImageColor.getrgb(WARN)).all(axis=2))


def test_words() -> None:
    two = [place("vanish", box=(0.1, 0.1, 0.2, 0.2)), place("fill", box=(0.1, 0.1, 0.2, 0.2), count=3)]
    assert lost_words(two, kind="vanish") == "1 stroke vanishes"
    assert lost_words(two, kind="fill") == "3 gaps fill"
    assert lost_words([*two, two[0]], kind="vanish") == "2 strokes vanish"
    assert lost_words(two[1:], kind="vanish") == ""


def test_without_loss_nothing_changes(tmp_path: Path) -> None:
    write_proof(tmp_path / "a.png", pictures(), CAPTION)
    write_proof(tmp_path / "b.png", pictures(), CAPTION, lost=())
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
    assert not violet(written(tmp_path)).any()


def test_with_loss_there_is_one_more_line(tmp_path: Path) -> None:
    plain = written(tmp_path)
    told = written(tmp_path, place("vanish", box=(0.2, 0.2, 0.4, 0.3)))
    assert told.shape[0] == plain.shape[0] + LINE_px
    assert violet(told)[_layout(pictures()).bottom :].any()  # the sample beside the words


@pytest.mark.parametrize("kind", ["vanish", "fill"])
def test_the_frame_stands_round_the_place(tmp_path: Path, kind: Kind) -> None:
    seen = violet(written(tmp_path, place(kind, box=(0.1, 0.2, 0.4, 0.5))))
    board = _layout(pictures()).board
    marked = seen[board.top : board.bottom, board.left : board.right]
    rows, columns = np.flatnonzero(marked.any(axis=1)), np.flatnonzero(marked.any(axis=0))
    # by hand: shares of the board counted from below, seven pixels clear, a dot's or dash's half on top
    assert rows[0] == pytest.approx(0.5 * board.height - 7, abs=5)
    assert rows[-1] == pytest.approx(0.8 * board.height + 7, abs=5)
    assert columns[0] == pytest.approx(0.1 * board.width - 7, abs=5)
    assert columns[-1] == pytest.approx(0.4 * board.width + 7, abs=5)
    inside = marked[rows[0] + 12 : rows[-1] - 12, columns[0] + 12 : columns[-1] - 12]
    assert not inside.any()  # what is framed can be seen


def test_the_two_kinds_differ_by_shape(tmp_path: Path) -> None:
    box = (0.1, 0.2, 0.4, 0.5)
    dashes, dots = (violet(written(tmp_path, place(kind, box=box))) for kind in ("vanish", "fill"))
    board = _layout(pictures()).board

    def longest_run(mask: np.ndarray) -> int:
        best = 0
        for row in mask[board.top : board.bottom, board.left : board.right]:
            edges = np.flatnonzero(np.diff(np.concatenate(([0], row.astype(np.int8), [0]))))
            best = max(best, int((edges[1::2] - edges[::2]).max(initial=0)))
        return best

    assert longest_run(dashes) > longest_run(dots)


def test_a_place_of_no_size_in_a_corner_is_still_seen(tmp_path: Path) -> None:
    for kind in ("vanish", "fill"):
        for corner in ((0.0, 0.0, 0.0, 0.0), (1.0, 1.0, 1.0, 1.0)):
            assert violet(written(tmp_path, place(kind, box=corner))).sum() > 100
