"""What to mind is said on the terminal and in JSON where it is decided, in the words of core/nouns/cautions.py."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from evenburn.cli.main import main
from evenburn.core.nouns.cautions import Decision, cautions_for
from service.conftest import DATE

POINTS = ("--point", "0,0=210,160", "--point", "120,80=330,240")


def texts(decision: Decision) -> set[str]:
    return {one.text for one in cautions_for(decision=decision)}


def said_by(*words: str, capsys: pytest.CaptureFixture[str]) -> str:
    """Return what a command prints, its lines run together as a reader does."""
    assert main(list(words)) == 0
    return " ".join(capsys.readouterr().out.replace("\u00a0", " ").split())


@pytest.mark.parametrize("wished", [("--grow-mm", "1"), POINTS])
def test_burning_over_a_burn_says_what_to_mind(
    wished: tuple[str, ...], folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ("rescue", str(folder), "plaque", "--mark", "front", *wished)
    said = said_by(*asked, capsys=capsys)
    document = json.loads(said_by(*asked, "--json", capsys=capsys))

    assert [text for text in texts("rescue") if said.count(text) != 1] == []
    assert set(document["cautions"]) == texts("rescue")


def test_where_nothing_is_to_be_burnt_over_it_nothing_is_minded(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ("rescue", str(folder), "plaque", "--mark", "front")

    assert "Before burning over a burn" not in said_by(*asked, capsys=capsys)
    assert json.loads(said_by(*asked, "--json", capsys=capsys))["cautions"] == []


@pytest.mark.parametrize(
    ("kind", "decisions"), [("wood", ("card",)), ("beam", ("card",)), ("motion", ("card", "stopwatch"))]
)
def test_a_card_says_what_to_mind(
    kind: str, decisions: tuple[Decision, ...], folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = (
        "card",
        kind,
        "--machine",
        str(folder / "machine.toml"),
        "--wood",
        "hard-maple",
        "--date",
        DATE,
        "--to",
        str(tmp_path / "card"),
    )
    lines = [one for decision in decisions for one in cautions_for(decision=decision, wavelength_um=10.6)]
    minded = {
        (one.tick or one.text).replace("\u00a0", " ") for one in lines if one.key != "optics"
    }  # it names the lens
    said = said_by(*asked, capsys=capsys)
    document = json.loads(said_by(*asked, "--json", capsys=capsys))

    assert "Lens and window clean, " in said
    assert [text for text in minded if said.count(text) != 1] == []
    assert minded <= {text.replace("\u00a0", " ") for text in document["cautions"]}
    assert any("bridge the lid" in text for text in document["cautions"]) == (kind == "motion")
