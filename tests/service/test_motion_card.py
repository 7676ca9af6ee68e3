"""A motion card from end to end: files, times and strokes from the virtual bench, what is refused.

`pytest tests/service/test_motion_card.py --hypothesis-profile=campaign` goes over 40 benches instead of three.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image

from evenburn.adapters.formats.card_json import card_document, read_card
from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.motion_json import read_motion
from evenburn.adapters.formats.ngc_writer import Head, program_lines
from evenburn.cli.main import main
from evenburn.core.card.burning import card_events
from evenburn.core.card.reversal import combined_reversal, read_reversal
from evenburn.core.card.reversal_fit import fit_reversal, shifts_of
from evenburn.core.errors import InvalidInput
from evenburn.services.fit_motion import fit_motion_card
from evenburn.services.make_motion_card import make_motion_card
from evenburn.services.verify_program import verify_program
from service.conftest import DATE, MACHINE
from soaking import CAMPAIGN
from virtual_bench import Bench, Photo

ROOT = Path(__file__).resolve().parents[2]
SEEDS = range(40) if CAMPAIGN else range(3)
WOODS = ("hard-maple", "slate", "oak", "cherry")
HAND_SD_s = 0.15
BOARD_mm, ASIDE_mm = (100.0, 60.0), (14.0, 15.0)
FILES = {"card.json", "card.ngc", "card.png", "mat.pdf", *(f"stopwatch-{n}.ngc" for n in (1, 2, 3, 4))}
TIMES = (("1", 45.6), ("2", 19.6), ("3", 32.8), ("4", 12.8))


@pytest.fixture(name="machine", scope="module")
def _machine(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("bench") / "machine.toml"
    path.write_text(MACHINE.replace("air_kPa", "jerk_mm_per_s3 = 100000.0\nair_kPa"), encoding="utf-8")
    return path


@pytest.fixture(name="folder", scope="module")
def _folder(machine: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("cards")
    for wood in WOODS if CAMPAIGN else WOODS[:1]:
        make_motion_card(machine, wood, to=folder / wood, date=DATE)
    return folder


def burnt_and_photographed(folder: Path, wood: str, *, seed: int) -> tuple[Bench, Photo]:
    """The card of a folder on a board of a bench, in its mat, under a phone."""
    card = read_card(folder / wood / "card.json", name="card.json")
    bench = Bench(seed, wood)
    origin = (card.origin_bed_mm[0] - ASIDE_mm[0], card.origin_bed_mm[1] - ASIDE_mm[1])
    board = bench.burn((folder / wood / "card.ngc").read_text(encoding="utf-8"), BOARD_mm, origin)
    return bench, board.photograph(card_document(card)["mat"], card_middle_mm=(50.0, 30.0), seed=seed)


@pytest.fixture(name="first", scope="module")
def _first(folder: Path) -> tuple[Bench, Photo]:
    return burnt_and_photographed(folder, WOODS[0], seed=0)


def times_of(bench: Bench, folder: Path) -> list[tuple[str, float]]:
    """Two takes of every program of a card, by hand."""
    card = read_card(folder / "card.json", name="card.json")
    texts = {r.id: (folder / r.program).read_text(encoding="utf-8") for r in card.rasters}
    takes = [(name, 0 if name == "card" else int(name), take) for name in texts for take in (0, 1)]
    return [(n, bench.stopwatch_s(texts[n], hand_sd_s=HAND_SD_s, take=10 * k + take)) for n, k, take in takes]


def fit(folder: Path, machine: Path, to: Path, *more: str) -> int:
    start = ["fit", str(folder / "card.json"), "--machine", str(machine), "--date", DATE, "--to", str(to)]
    return main([*start, *more])


def as_options(times: Sequence[tuple[str, float]]) -> list[str]:
    return [word for name, taken in times for word in ("--time", f"{name}={taken:.2f}")]


def test_a_card_is_whole_and_every_program_passes(machine: Path, folder: Path) -> None:
    card_folder = folder / "hard-maple"
    assert {p.name for p in card_folder.iterdir()} == FILES
    made = read_card(card_folder / "card.json", name="card.json")
    assert made.kind == "motion"
    assert card_document(made) == json.loads((card_folder / "card.json").read_text(encoding="utf-8"))
    assert {r.id for r in made.rasters} == {"1", "2", "3", "4", "card"}
    for raster in made.rasters:
        report = verify_program(card_folder / raster.program, machine)
        assert report.passed
        assert report.time_s == pytest.approx(raster.expected_s, rel=0.005)  # the reader's own clock
        assert (report.burn_box_mm is None) == (not raster.burns)
        if not raster.burns:
            text = (card_folder / raster.program).read_text(encoding="utf-8")
            assert "M3" not in text.replace("M30", "")
            assert "press" in text
    x, y = made.origin_bed_mm
    box = verify_program(card_folder / "card.ngc", machine).burn_box_mm
    assert box is not None
    assert x < box[0] < box[2] < x + made.size_mm[0]
    assert y < box[1] < box[3] < y + made.size_mm[1]
    with Image.open(card_folder / "card.png") as picture:
        assert picture.size == (1800, 750)
        assert np.asarray(picture.convert("L")).min() == 0


def test_a_controller_that_adds_to_each_line_gets_its_card_too(tmp_path: Path) -> None:
    """The stopwatch rasters burn nothing: the reader counts no overhead for them, though a stroke is told to take it."""
    slow = tmp_path / "machine.toml"
    slow.write_text(MACHINE.replace("line_overhead_s = 0.0", "line_overhead_s = 0.05"), encoding="utf-8")
    made = make_motion_card(slow, "hard-maple", to=tmp_path / "card", date=DATE)
    for raster in made.card.rasters:
        report = verify_program(tmp_path / "card" / raster.program, slow)
        assert report.passed
        dark_s = 0.0 if raster.burns else 0.05 * raster.strokes
        assert report.time_s == pytest.approx(raster.expected_s - dark_s, rel=0.005)


def test_same_input_same_bytes(machine: Path, folder: Path, tmp_path: Path) -> None:
    make_motion_card(machine, "hard-maple", to=tmp_path / "again", date=DATE)
    for name in FILES:
        assert (tmp_path / "again" / name).read_bytes() == (folder / "hard-maple" / name).read_bytes(), name


def test_acceleration_within_five_percent_by_hand(machine: Path, folder: Path, tmp_path: Path) -> None:
    """Two takes at 0.15 s each. What must be reached: 5 % in 95 of 100 times; uncertainty honest."""
    off, sds = [], []
    for seed in range(40) if CAMPAIGN else range(8):
        bench = Bench(seed, "hard-maple")
        card_file = folder / "hard-maple" / "card.json"
        times = times_of(bench, card_file.parent)
        found = fit_motion_card(
            card_file, machine_file=machine, to=tmp_path / "m.json", date=DATE, times=times
        ).document
        for value, sd, true in (
            (found.accel_x_mm_per_s2, found.accel_x_sd_mm_per_s2, bench.machine.accel_x_mm_per_s2),
            (found.accel_y_mm_per_s2, found.accel_y_sd_mm_per_s2, bench.machine.accel_y_mm_per_s2),
        ):
            assert value is not None
            assert sd is not None
            off.append(abs(value / true - 1.0))
            sds.append(abs(value - true) / sd)
        assert found.line_overhead_from == "card"
        assert not any(t.doubtful for t in found.times)
    assert np.quantile(off, 0.95) < 0.05
    assert np.mean(np.array(sds) < 2.0) >= 0.85


def test_reversal_offset_within_two_hundredths_by_photograph(folder: Path, first: tuple[Bench, Photo]) -> None:
    """What must be reached: 0.02 mm in 95 of 100 times; uncertainty honest; rise time within what it says."""
    off, sds, late = [], [], []
    for seed in SEEDS:
        wood = WOODS[seed % len(WOODS)] if CAMPAIGN else WOODS[0]
        card = read_card(folder / wood / "card.json", name="card.json")
        bench, photograph = first if seed == 0 else burnt_and_photographed(folder, wood, seed=seed)
        reading = combined_reversal([read_reversal(photograph.image, card)])
        found = fit_reversal(shifts_of(reading), beam_radius_mm=card.beam_radius_mm)
        off.append(abs(found.reversal_offset_mm - bench.machine.reversal_offset_mm))
        sds.append(off[-1] / found.reversal_offset_sd_mm)
        true_s = 0.5 * (bench.machine.rise_s + bench.machine.fall_s)
        assert found.rise_time_s is not None
        assert found.rise_time_sd_s is not None
        late.append(abs(found.rise_time_s - true_s) / found.rise_time_sd_s)
    assert np.quantile(off, 0.95) < 0.02
    assert np.mean(np.array(sds) < 2.0) >= 0.85
    assert np.mean(np.array(late) < 2.5) >= 0.85


def test_a_photograph_and_times_through_the_command_line(
    machine: Path,
    folder: Path,
    first: tuple[Bench, Photo],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    card_folder = folder / "hard-maple"
    bench, photograph = first
    photo, reading, motion = tmp_path / "photo.jpg", tmp_path / "reading.json", tmp_path / "motion.json"
    photograph.save_jpeg(photo)
    card_json = str(card_folder / "card.json")
    drawing = tmp_path / "read.png"
    assert main(["read", str(photo), "--card", card_json, "--to", str(reading), "--drawing", str(drawing)]) == 0
    assert drawing.is_file()
    assert "126 of 126 strokes" in capsys.readouterr().out
    options = as_options(times_of(bench, card_folder))
    assert fit(card_folder, machine, motion, str(reading), *options) == 0
    shown = capsys.readouterr().out
    for key in (
        "accel_x_mm_per_s2 = ",
        "line_overhead_s = ",
        "rise_time_s = ",
        "reversal_offset_mm = ",
        "reversal_sd_mm = ",
    ):
        assert key in shown
    document = json.loads(motion.read_text(encoding="utf-8"))
    schema = json.loads((ROOT / "docs" / "reference" / "motion.schema.json").read_text(encoding="utf-8"))
    assert [e.json_path for e in jsonschema.Draft202012Validator(schema).iter_errors(document)] == []
    assert read_motion(motion, name="motion.json").provenance.date == DATE
    pasted = "\n".join(line.strip() for line in shown.split("For machine.toml")[1].splitlines() if " = " in line)
    assert len(pasted.splitlines()) == 7
    other = tmp_path / "other"
    make_motion_card(machine, "oak", to=other, date=DATE)
    assert fit(other, machine, tmp_path / "x.json", str(reading)) == 2
    assert "another card" in capsys.readouterr().err


def test_by_eye_without_a_photograph(machine: Path, folder: Path, tmp_path: Path) -> None:
    motion = tmp_path / "motion.json"
    assert fit(folder / "hard-maple", machine, motion, "--lines-up", "slow=2", "--lines-up", "quick=6") == 0
    found = read_motion(motion, name="motion.json")
    assert found.reversal_offset_mm == pytest.approx(0.07, abs=0.015)  # 2 × 0.04, less 2 v τ of the slow strokes
    assert found.accel_x_mm_per_s2 is None


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((), "nothing to fit"),
        (("--time", "1=45.6"), "there is none for raster 2 and 3 and 4"),
        (("--time", "1=-4"), "a time is above 0"),
        (("--time", "1=nan"), "is not a name, = and a number"),
        (("--time", "41.3"), "is not a name, = and a number"),
        (("--time", "5=41.3"), "there is no such raster"),
        ((*as_options(TIMES), "--time", "1=400"), "takes about 43"),
        ((*as_options(TIMES[1:]), "--time", "1=19.6"), "even if the head never had to start or stop"),
        (("--lines-up", "slow=20"), "strokes are numbered from -10 to 10"),
        (("--lines-up", "fastest=2"), "there is no such vernier"),
        (("--lines-up", "slow=2", "--lines-up", "slow=3"), "named twice"),
    ],
)
def test_what_cannot_be_is_refused(
    options: tuple[str, ...],
    said: str,
    *,
    machine: Path,
    folder: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    to = tmp_path / "motion.json"
    assert fit(folder / "hard-maple", machine, to, *options) == 2
    told = capsys.readouterr().err
    assert said in " ".join(told.split())
    assert "Traceback" not in told
    assert not to.exists()


def test_another_machine_and_another_card_are_refused(machine: Path, folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.toml"
    other.write_text(machine.read_text(encoding="utf-8").replace("Boathouse bench", "Slipway bench"), encoding="utf-8")
    card = folder / "hard-maple" / "card.json"
    with pytest.raises(InvalidInput, match="Slipway bench"):
        fit_motion_card(card, machine_file=other, to=tmp_path / "m.json", date=DATE, times=TIMES)
    wood = tmp_path / "wood"
    assert main(["card", "wood", "--machine", str(machine), "--wood", "oak", "--to", str(wood), "--date", DATE]) == 0
    with pytest.raises(InvalidInput, match="not a motion card"):
        fit_motion_card(wood / "card.json", machine_file=machine, to=tmp_path / "m.json", date=DATE, times=TIMES)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--wood", "pvc"), "chlor"),
        (("--wood", "no-such-wood"), "not known"),
        (("--wood", "oak", "--at", "0,0"), "bed"),
        (("--wood", "oak", "--page", "A5"), "A4 and Letter"),
        (("--wood", "oak", "--lens", "9 inch"), "does not have"),
    ],
)
def test_a_card_that_cannot_be_made_is_refused(
    options: tuple[str, ...], said: str, machine: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    to = tmp_path / "card"
    assert main(["card", "motion", "--machine", str(machine), *options, "--to", str(to), "--date", DATE]) == 2
    assert said.lower() in " ".join(capsys.readouterr().err.split()).lower()
    assert not (to / "card.json").exists()


def test_a_motion_card_that_was_never_burnt_is_refused(
    machine: Path, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    card_json = folder / "hard-maple" / "card.json"
    card = read_card(card_json, name="card.json")
    bench = Bench(1, "hard-maple")
    stated = read_machine(machine, name="machine.toml")
    only_marks = card_events(
        stated,
        (),
        marks=card.corner_marks,
        origin_bed_mm=card.origin_bed_mm,
        mark_power_W=20.0,
        mark_speed_mm_per_s=150.0,
        mark_line_spacing_mm=0.1,
    )
    text = "\n".join(program_lines(stated, only_marks, head=Head(lines=("marks only",)))) + "\n"
    origin = (card.origin_bed_mm[0] - ASIDE_mm[0], card.origin_bed_mm[1] - ASIDE_mm[1])
    board = bench.burn(text, BOARD_mm, origin)
    photo = tmp_path / "photo.jpg"
    board.photograph(card_document(card)["mat"], card_middle_mm=(50.0, 30.0), seed=1).save_jpeg(photo)
    assert main(["read", str(photo), "--card", str(card_json), "--to", str(tmp_path / "r.json")]) == 3
    assert "strokes stand out" in " ".join(capsys.readouterr().out.split())
