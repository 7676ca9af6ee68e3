"""`evenburn fit` from end to end: files, plot, terminal, JSON, errors, exit codes."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from PIL import Image

from evenburn.adapters.formats.wood_toml import read_curve
from evenburn.cli.main import main
from evenburn.core.nouns.card import Card
from evenburn.core.response.curve import tone_L, tone_sd_L
from service.burnt_cards import TRUTH, card, reading_of, write_reading
from service.conftest import DATE, MACHINE

SCHEMA = Path(__file__).resolve().parents[2] / "docs" / "reference" / "curve.schema.json"
FLAGS: dict[str, tuple[str, ...]] = {"b4": ("glare",), "d9": ("shadow", "uneven")}


@pytest.fixture(scope="module", name="cards")
def _cards(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Card]:
    folder = tmp_path_factory.mktemp("cards")
    (folder / "machine.toml").write_text(MACHINE, encoding="utf-8")
    made = {}
    for kind, more in (("wood", []), ("strip", ["--strip"])):
        to = folder / kind
        arguments = ["card", "wood", "--machine", str(folder / "machine.toml"), "--wood", "hard-maple", "--to", str(to)]
        assert main([*arguments, "--date", DATE, *more]) == 0
        made[kind] = card(to)
    return made


@pytest.fixture(name="reading")
def _reading(cards: dict[str, Card], tmp_path: Path) -> Path:
    return write_reading(tmp_path / "first.reading.json", reading_of(cards["wood"], flags=FLAGS))


def fit(*readings: Path, to: Path, more: tuple[str, ...] = (), wood: str = "hard-maple") -> int:
    return main(["fit", *map(str, readings), "--wood", wood, "--to", str(to), "--date", DATE, *more])


def test_a_reading_becomes_a_curve_and_a_plot(
    reading: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    to = tmp_path / "maple.curve.json"
    assert fit(reading, to=to) == 0
    shown = capsys.readouterr().out

    document = json.loads(to.read_text(encoding="utf-8"))
    jsonschema.validate(document, json.loads(SCHEMA.read_text(encoding="utf-8")))
    assert document["provenance"] == {"kind": "fitted", "detail": f"{DATE}, from first.reading.json"}
    curve = read_curve(to, name=to.name)
    grid = TRUTH.x_mid + np.linspace(-0.5, 0.25, 16)
    assert np.abs(tone_L(curve, grid) - tone_L(TRUTH, grid)).max() < 1.0
    assert 0.5 < tone_sd_L(curve, log10_dose=TRUTH.x_mid, dwell_ms=1.0) < 3.0
    with Image.open(tmp_path / "maple.curve.png") as plot:
        assert plot.size == (2000, 1560)
        assert plot.info["dpi"][0] == pytest.approx(200.0, rel=1e-3)
        assert plot.getpixel((3, 3)) == (255, 255, 255)
    for text in (
        "hard maple: 58 patches of 1 reading",
        "b4 (glare)",
        "d9 (shadow)",
        "kappa",
        "next",
        "W at",
        "char limit",
    ):
        assert text in shown


def test_the_same_again_is_the_same(reading: Path, tmp_path: Path) -> None:
    files = [tmp_path / f"{n}.curve.json" for n in "ab"]
    for to in files:
        assert fit(reading, to=to) == 0
    assert files[0].read_bytes() == files[1].read_bytes()
    assert files[0].with_suffix(".png").read_bytes() == files[1].with_suffix(".png").read_bytes()


def test_as_json(reading: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    to, plot = tmp_path / "maple.curve.json", tmp_path / "drawn.png"
    assert fit(reading, to=to, more=("--json", "--plot", str(plot))) == 0
    said: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert said["curve"] == json.loads(to.read_text(encoding="utf-8"))
    assert said["files"] == {"curve": "maple.curve.json", "plot": "drawn.png"}
    assert plot.exists()
    assert {(p["id"], *p["flags"]) for p in said["left_out"]} == {("b4", "glare"), ("d9", "shadow")}
    assert len(said["patches"]) == 58
    assert 3 <= len(said["next"]["patches"]) <= 6
    after = [said["next"]["tone_L_sd_now"], *(p["tone_L_sd_after"] for p in said["next"]["patches"])]
    assert after == sorted(after, reverse=True)


def test_a_strip_moves_the_lot_to_its_board(
    reading: Path, cards: dict[str, Card], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lot, board = tmp_path / "lot.curve.json", tmp_path / "board.curve.json"
    assert fit(reading, to=lot) == 0
    other = replace(TRUTH, bare_L=TRUTH.bare_L - 1.5, x_mid=TRUTH.x_mid + 0.01)
    strip = write_reading(
        tmp_path / "strip.reading.json", reading_of(cards["strip"], other, noise_L=0.3, offset_L_sd=0.2, seed=4)
    )
    assert fit(strip, to=board, more=("--board-of", str(lot))) == 0
    before, after = (read_curve(p, name=p.name) for p in (lot, board))
    grid = TRUTH.x_mid + np.linspace(-0.5, 0.25, 16)
    off_before, off_after = (np.abs(tone_L(c, grid) - tone_L(other, grid)).max() for c in (before, after))
    assert off_after < 1.0 < off_before
    assert after.board_L < 0.5 * before.board_L
    assert "a board of lot.curve.json" in after.provenance.detail
    assert "hard maple: 6 patches" in capsys.readouterr().out


def test_other_lots_are_leant_on(reading: Path, cards: dict[str, Card], tmp_path: Path) -> None:
    first = tmp_path / "first.curve.json"
    assert fit(reading, to=first) == 0
    strip = write_reading(tmp_path / "strip.reading.json", reading_of(cards["strip"], noise_L=0.3, offset_L_sd=0.2))
    second = tmp_path / "second.curve.json"
    assert fit(strip, to=second, more=("--lot", str(first), "--lot", str(first))) == 0
    assert "beside first.curve.json" in read_curve(second, name="x").provenance.detail


def test_two_cards_are_fitted_together(reading: Path, cards: dict[str, Card], tmp_path: Path) -> None:
    second = write_reading(tmp_path / "second.reading.json", reading_of(cards["wood"], seed=9, offset_L=0.5))
    to = tmp_path / "both.curve.json"
    assert fit(reading, second, to=to) == 0
    assert "first.reading.json, second.reading.json" in read_curve(to, name="x").provenance.detail


def test_a_wood_that_does_not_ship_says_what_it_is_like(
    cards: dict[str, Card], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    strange = write_reading(tmp_path / "r.json", reading_of(replace(cards["wood"], wood_id="hornbeam")))
    to = tmp_path / "h.curve.json"
    assert fit(strange, to=to, wood="hornbeam") == 2
    assert "--like" in capsys.readouterr().err
    assert fit(strange, to=to, wood="hornbeam", more=("--like", "hard-maple")) == 0
    assert json.loads(to.read_text(encoding="utf-8"))["wood"] == "hornbeam"


def test_what_does_not_hold_is_said_and_nothing_is_written(
    reading: Path, cards: dict[str, Card], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    to = tmp_path / "out.curve.json"
    faint = write_reading(
        tmp_path / "faint.json", reading_of(cards["wood"], replace(TRUTH, full_L=76.0, reversal_L=0.0))
    )
    refused = json.loads(reading.read_text(encoding="utf-8"))
    refused["refused"] = {"code": "blur", "text": "It is blurred.", "remedy": "Hold still."}
    blurred = tmp_path / "blurred.json"
    blurred.write_text(json.dumps(refused), encoding="utf-8")
    none = tmp_path / "none.json"
    cases: list[tuple[tuple[Path, ...], tuple[str, ...], str, str]] = [
        ((faint,), (), "hard-maple", "hardly darkened"),
        ((reading,), (), "beech", "of hard-maple, not of beech"),
        ((reading, reading), (), "hard-maple", "given twice"),
        ((blurred,), (), "hard-maple", "It is blurred."),
        ((none,), (), "hard-maple", "is missing"),
        ((reading,), ("--lot", str(none)), "hard-maple", "is missing"),
        ((reading,), ("--board-of", str(none), "--lot", str(none)), "hard-maple", "does not go with --lot"),
        ((reading,), ("--like", "oak", "--lot", str(none)), "hard-maple", "goes with neither"),
        ((reading,), ("--plot", str(reading)), "hard-maple", "is one of the files that are read"),
        ((reading,), ("--date", "yesterday"), "hard-maple", "is no date"),
    ]
    for readings, more, wood, says in cases:
        arguments = ["fit", *map(str, readings), "--wood", wood, "--to", str(to), *more]
        assert main(arguments) == 2, says
        said = capsys.readouterr().err
        assert says in " ".join(said.split()), said
        assert said.startswith("error:")
    assert main(["fit", str(reading), "--wood", "hard-maple", "--to", str(tmp_path / "nowhere" / "c.json")]) == 4
    assert not to.exists()
    assert not list(tmp_path.glob("*.png"))
