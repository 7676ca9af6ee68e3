"""Every number of a plan can say where it comes from; every number of a run sheet stands on a page that says so."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pypdf
import pytest

from evenburn.adapters.formats.plan_origins import ASKED_OF, OF_THE_MACHINE
from evenburn.core.planning.concede import TELL
from evenburn.services.plan_batch import Planned, plan_batch
from service.conftest import DATE

ROOT = Path(__file__).resolve().parents[2]
KINDS = {"measured", "fitted", "published", "common practice", "starting value", "user"}
NO_QUANTITY = {"schema_version"}
DATED = re.compile(r"\d{4}-\d{2}-\d{2}|[\w-]+\.(?:toml|json|svg|png|jpg)")
CITED = re.compile(r"\[([a-z0-9-]+)\]")


def is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def holds_numbers(value: Any) -> bool:
    """Whether a value is a number, or a list or a plain table of keys that holds some."""
    if isinstance(value, list):
        return any(holds_numbers(item) for item in value if not isinstance(item, dict))
    return is_number(value)


def tables(node: Any, path: str = "plan") -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield every table of a document with where it stands; those that tell origins left out."""
    if isinstance(node, dict):
        yield path, node
        for key, value in node.items():
            if key not in ("provenance", "provenance_of", "change"):
                yield from tables(value, f"{path}.{key}")
    elif isinstance(node, list):
        for index, item in enumerate(node):
            yield from tables(item, f"{path}[{index}]")


def origins(path: str, table: dict[str, Any]) -> Iterator[tuple[str, dict[str, str] | None]]:
    """Yield every number of a table with what it says of its origin."""
    own, keys = table.get("provenance"), table.get("provenance_of", {})
    for key, value in table.items():
        if key in NO_QUANTITY or key in ("provenance", "provenance_of"):
            continue
        if holds_numbers(value) or (key == "change" and any(holds_numbers(v) for v in value.values())):
            yield f"{path}.{key}", keys.get(key, own)


def silent(document: dict[str, Any]) -> list[str]:
    """Return the numbers that do not say where they come from, or say nothing that can be looked up."""
    keys = set(
        re.findall(r"^- \*\*\[([a-z0-9-]+)\]\*\*", (ROOT / "docs/references.md").read_text("utf-8"), re.MULTILINE)
    )
    faults = []
    for path, table in tables(document):
        faults += [f"{path}.{key} is told and not there" for key in table.get("provenance_of", {}) if key not in table]
        for place, told in origins(path, table):
            if told is None or told["kind"] not in KINDS or not told["detail"].strip() or "not told" in told["detail"]:
                faults.append(f"{place}: {told}")
            elif told["kind"] in ("measured", "fitted") and not DATED.search(told["detail"]):
                faults.append(f"{place}: no date and no file in {told}")
            elif told["kind"] == "published" and not (keys & set(CITED.findall(told["detail"]))):
                faults.append(f"{place}: no key of docs/references.md in {told}")
    return faults


@pytest.fixture(scope="module", name="document")
def _document(demo: Planned) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads((demo.folder / "plan.json").read_text(encoding="utf-8"))
    return loaded


def test_every_number_of_the_demo_s_plan_says_where_it_comes_from(document: dict[str, Any]) -> None:
    assert silent(document) == []
    told = [told["kind"] for path, table in tables(document) for _, told in origins(path, table) if told is not None]
    assert len(told) > 2000
    assert set(told) == KINDS


def test_what_differs_from_its_table_is_told_apart(document: dict[str, Any]) -> None:
    pieces = {piece["id"]: piece for piece in document["pieces"]}
    maple, walnut = pieces["novice-fours"], pieces["captains-oar"]
    front = maple["marks"][0]
    assert front["recipe"]["provenance"]["kind"] == front["predicted"]["provenance"]["kind"] == "fitted"
    assert "reading.json" in front["predicted"]["provenance"]["detail"]
    assert front["predicted"]["provenance_of"]["time_s"]["kind"] == "user"
    assert front["provenance_of"]["narrowest_stroke_mm"]["kind"] == "measured"
    assert front["recipe"]["provenance_of"]["air_kPa"]["kind"] == "common practice"
    held = walnut["marks"][0]
    assert held["recipe"]["provenance"]["kind"] == "starting value"
    assert held["recipe"]["provenance_of"]["speed_mm_per_s"] == {"kind": "user", "detail": "held in batch.toml"}
    cut = pieces["medals"]["marks"][1]
    assert "cutting energy" in cut["recipe"]["provenance"]["detail"]
    assert document["provenance"]["detail"].endswith("machine.toml")


def test_every_number_of_a_batch_by_hand_says_so_too(folder: Path, edit: Callable[..., Path], tmp_path: Path) -> None:
    """Wishes that give way, a measured lens, held settings, air and a cut with an energy of one's own."""
    edit("machine.toml", "focus_stand_off_mm = 9.5", "focus_stand_off_mm = 9.5\nwaist_radius_mm = 0.08")
    edit("batch.toml", 'treatment = "solid"', 'treatment = "solid"\nair_kPa = 40.0\nsharpness_mm = 0.05')
    batch = folder / "batch.toml"
    cut = (
        '[[piece.mark]]\nid = "edge"\nart = "art.svg"\ntreatment = "cut"\nplace_mm = [30.0, 25.0]\n'
        "size_mm = [60.0, 30.0]\n[piece.mark.hold]\nspeed_mm_per_s = 4.0\n"
    )
    batch.write_text(batch.read_text() + cut)
    (folder / "woods").mkdir()
    (folder / "woods" / "hard-maple.toml").write_text('name = "hard maple"\nsurface = "bare"\ncut_J_per_mm3 = 5.0\n')
    plan_batch(folder, to=tmp_path / "out", date=DATE)
    document = json.loads((tmp_path / "out" / "plan.json").read_text(encoding="utf-8"))
    assert silent(document) == []
    front, edge = document["pieces"][0]["marks"]
    assert front["gave_way"]
    assert all(one["provenance_of"]["asked"]["detail"] for one in front["gave_way"])
    assert front["recipe"]["provenance_of"]["air_kPa"] == {"kind": "user", "detail": "air_kPa in batch.toml"}
    assert document["lens"]["provenance"]["kind"] == "measured"
    assert edge["recipe"]["provenance"] == {
        "kind": "user",
        "detail": "computed from the cutting energy: cut_J_per_mm3 of the wood's file",
    }


@pytest.mark.parametrize(
    ("where", "change"),
    [
        ("predicted", lambda t: t.pop("provenance")),
        ("predicted", lambda t: t.update(provenance={"kind": "measured", "detail": "by me"})),
        ("predicted", lambda t: t.update(provenance={"kind": "guessed", "detail": "x"})),
        ("recipe", lambda t: t.update(provenance={"kind": "user", "detail": ""})),
        ("recipe", lambda t: t.update(provenance={"kind": "published", "detail": "[nobody1999]"})),
        ("recipe", lambda t: t["provenance_of"].update(volts={"kind": "user", "detail": "x"})),
        ("recipe", lambda t: t.update(nested={"volts": 3.0})),
        ("recipe", lambda t: t.update(nested=[{"boxes": [[1.0, 2.0]]}])),
    ],
)
def test_a_planted_number_without_an_origin_is_caught(
    document: dict[str, Any], where: str, change: Callable[[dict[str, Any]], Any]
) -> None:
    planted = json.loads(json.dumps(document))
    change(planted["pieces"][0]["marks"][0][where])
    assert silent(planted)


def test_a_plan_that_was_written_before_is_read_and_says_that_it_was_not_told(
    document: dict[str, Any], demo: Planned, tmp_path: Path
) -> None:
    from evenburn.adapters.formats.plan_read import read_plan

    def older(node: Any) -> Any:
        if isinstance(node, dict):
            kept = {k: older(v) for k, v in node.items() if k != "provenance_of"}
            if (
                "bed_x_mm" not in kept
                and "focal_length_mm" not in kept
                and "power_W" not in kept
                and "dwell_ms" not in kept
            ):
                kept.pop("provenance", None)
            return kept
        return [older(item) for item in node] if isinstance(node, list) else node

    shutil.copy(demo.folder / "plan.json", tmp_path / "plan.json")
    (tmp_path / "plan.json").write_text(json.dumps(older(document)), encoding="utf-8")
    read = read_plan(tmp_path / "plan.json", name="plan.json")
    assert read.pieces[0].provenance.detail.startswith("not told")
    assert read.pieces[0].marks[0].recipe.provenance.kind == "fitted"


def test_each_sheet_of_the_run_sheet_says_what_its_numbers_rest_on(demo: Planned, document: dict[str, Any]) -> None:
    """Recipes and predictions by the line at the foot; set-up times and woods that are starting values by a sentence."""
    pages = [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(demo.folder / "run-sheet.pdf").pages]
    order = " ".join(pages[:2])
    assert "These 4 min are a starting value" in order
    assert "times, run-up and lenses from machine.toml" in order
    assert "air and after-care are common practice" in order
    for piece in document["pieces"]:
        foot = f"{piece['start_order']} Tone"
        own = [page for page in pages if foot in page]
        assert own, piece["id"]
        kind, detail = piece["curve"]["kind"], piece["curve"]["detail"]
        line = own[0][own[0].index(foot) :]
        assert kind in line
        assert detail in line
        if kind == "starting value":
            assert "starting value" in own[0].replace(line, "")


def test_every_wish_that_may_give_way_has_an_origin() -> None:
    named = {*ASKED_OF, *OF_THE_MACHINE, "char"}  # char rests on the wood's own curve

    assert named == {*TELL}
    assert not {*ASKED_OF} & OF_THE_MACHINE
