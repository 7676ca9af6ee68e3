"""What the campaigns found, each as small as it can be: it was a traceback, a hang or a dead program once."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path

import pytest
from ezdxf.filemanagement import new as new_drawing

from evenburn.adapters.artwork import pdf
from evenburn.adapters.artwork.normal_svg import normal_svg
from evenburn.adapters.artwork.pdf import open_pdf
from evenburn.adapters.storage.book.backing_up import back_up, restore
from evenburn.adapters.storage.folder import OutputFolder
from evenburn.cli.main import main
from evenburn.core.errors import InvalidInput, NotFound, UnreadableFile
from evenburn.services.book.at_a_glance import glances
from evenburn.services.book.open_book import open_book_at
from evenburn.services.book.plan_piece import plan_of, plan_piece
from evenburn.services.book.programs_of import file_of
from evenburn.services.book.take_in import take_in_batch
from hostile.guarded import guard, tree
from hostile.seeds import FOLDER, backup_zip, curve_json, outcome_json, pages
from service.book.conftest import NOW, small_batch
from service.conftest import ART, BATCH, MACHINE

HERE = Path(__file__).with_name("found")


# ---- DXF: the reader looks for what a drawing names --------------------------------------------------------------


@pytest.mark.parametrize("named", ["/etc/hostname", "../secret.svg", ""])
def test_no_plot_style_that_a_drawing_names_is_opened(named: str) -> None:
    """The library opens the file a layout names for its pens, wherever it lies, and the current folder for none."""
    document = new_drawing()
    document.modelspace().add_circle((5, 5), 4)
    document.modelspace().set_plot_style(named)
    text = io.StringIO()
    document.write(text)

    with guard() as keeper:
        outcome = keeper.attempt("dxf", {"art.dxf": text.getvalue().encode()})

    assert outcome.fault == ""
    assert outcome.what == "done"


# ---- SVG: reckoning may overflow in the normaliser -----------------------------------------------------------------


@pytest.mark.parametrize("place", ["NaN", "inf", "-inf"])
def test_an_outline_through_no_place_is_refused(place: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """As the soak of 2026-11-26 met it: a word of a path stood where a number was looked for."""
    normal = f'<svg width="9" height="9" viewBox="0 0 9 9"><path id="a" d="M 1 1 L 5 {place} C 1 2 3 4 5 6 Z"/></svg>'
    monkeypatch.setattr("evenburn.adapters.artwork.normal_svg.normalise", lambda _data, name: normal.encode())  # noqa: ARG005

    with pytest.raises(UnreadableFile, match="no number"):
        normal_svg(b"", name="art.svg")


# ---- PDF: the reader is another's, in C++ ------------------------------------------------------------------------


def pdf_of(*bodies: bytes) -> bytes:
    """Return a PDF of objects 1, 2, 3 …, the first its catalogue."""
    out, places = bytearray(b"%PDF-1.7\n"), []
    for number, body in enumerate(bodies, start=1):
        places.append(len(out))
        out += b"%d 0 obj\n" % number + body + b"\nendobj\n"
    start = len(out)
    out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(bodies) + 1) + b"".join(b"%010d 00000 n \n" % p for p in places)
    return bytes(out + b"trailer << /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (len(bodies) + 1, start))


def stream(head: bytes, body: bytes) -> bytes:
    return b"<< %s /Length %d >>\nstream\n%s\nendstream" % (head, len(body), body)


@pytest.fixture(name="impatient")
def _impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Give a PDF one second of work instead of three: these never end."""
    monkeypatch.setattr(pdf, "LOOK_cpu_s", 1)


@pytest.mark.usefixtures("impatient")
def test_a_pdf_that_occupies_its_reader_is_given_up(tmp_path: Path) -> None:
    """A form that draws two forms, each of which draws two: a thousand million in the end."""
    deep = 40
    uses = b"/Resources << /XObject << /X %d 0 R >> >>"
    forms = [
        stream(b"/Type /XObject /Subtype /Form /BBox [0 0 9 9] " + uses % (5 + k + 1), b"/X Do /X Do")
        for k in range(deep)
    ]
    leaf = stream(b"/Type /XObject /Subtype /Form /BBox [0 0 9 9]", b"0 0 5 5 re f")
    data = pdf_of(
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 100 50] " + uses % 5 + b" /Contents 4 0 R >>",
        stream(b"", b"/X Do"),
        *forms,
        leaf,
    )
    (tmp_path / "art.pdf").write_bytes(data)

    with pytest.raises(UnreadableFile, match=r"too complex|damaged"):
        open_pdf(tmp_path / "art.pdf", name="art.pdf").ink(width_px=96, height_px=48)


@pytest.mark.usefixtures("impatient")
@pytest.mark.parametrize("case", sorted(p.name for p in HERE.glob("*.pdf")))
def test_a_pdf_as_it_was_found_is_given_up(case: str) -> None:
    """The one kept the program busy for ever while its page was loaded, the other swelled until the library aborted it."""
    with pytest.raises(UnreadableFile, match=case):
        open_pdf(HERE / case, name=case).ink(width_px=96, height_px=48)


@pytest.mark.parametrize(
    "end", ["os.abort()", "os._exit(3)", "os.kill(os.getpid(), 11)", "print('half an ans')", "[][1]"]
)
def test_a_pdf_that_ends_its_reader_ends_nothing_else(
    end: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    child = tmp_path / "child.py"
    child.write_text(f"import os\n{end}\n", encoding="ascii")
    monkeypatch.setattr(pdf, "CHILD", child)
    (tmp_path / "art.pdf").write_bytes(pages()[0])

    with pytest.raises(UnreadableFile, match="damaged"):
        open_pdf(tmp_path / "art.pdf", name="art.pdf")


# ---- files a person writes ---------------------------------------------------------------------------------------

HUGE = "9" * 400  # no float holds it
TOO_LONG = "9" * 5000  # Python reads no whole number of so many digits unasked


def told(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """Return what a command line that is refused says."""
    assert main(list(words)) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert all(line.startswith(("error: ", "try: ")) for line in said.err.splitlines())
    return said.err


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ("tone_L = 40.0", f"tone_L = {HUGE}", "more than 300 digits"),
        ("tone_L = 40.0", f"tone_L = {TOO_LONG}", "not TOML"),
        ('name = "One plaque"', 'name = "One\\u001b]0;taken\\u0007plaque"', "U+001B"),
        ('name = "One plaque"', 'name = "One \\u202eeuqalp"', "U+202E"),
        ('art = "art.svg"', 'art = "art\\u0000.svg"', "U+0000"),
        # a mark of next to no height, turned, was surveyed on pixels of that height: 140 million of them
        ("size_mm = [60.0, 30.0]", "size_mm = [60.0, 0.001]", "allowed is 0.05 or more"),
    ],
)
def test_a_batch_with_such_a_value_is_refused(
    old: str, new: str, word: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert old in BATCH
    for name, text in (("batch.toml", BATCH.replace(old, new)), ("machine.toml", MACHINE), ("art.svg", ART)):
        (tmp_path / name).write_text(text, encoding="utf-8")

    assert word in told(capsys, "check", str(tmp_path))


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ("accel_x_mm_per_s2 = 5000.0", "accel_x_mm_per_s2 = 1e-300", "accel_x_mm_per_s2"),
        (
            "power_curve = [[0.1, 4.0], [0.5, 31.0]",
            "power_curve = [[0.7995, 0.0], [0.9, 31.0]",
            "nothing could be burnt",
        ),
    ],
)
def test_a_machine_with_such_a_value_is_refused(
    old: str, new: str, word: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of nearly no acceleration a time was endless; a curve may give nothing at its start, but not all the way to the cap."""
    assert old in MACHINE
    for name, text in (("batch.toml", BATCH), ("machine.toml", MACHINE.replace(old, new)), ("art.svg", ART)):
        (tmp_path / name).write_text(text, encoding="utf-8")

    assert word in told(capsys, "check", str(tmp_path))


def test_a_surface_that_gives_no_light_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is burnt is told as a share of it."""
    curve = json.loads(curve_json())
    curve["parameters"]["bare_L"] = 0.0
    for name, data in {**FOLDER, "maple.curve.json": json.dumps(curve).encode()}.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(data)

    assert "bare_L" in told(capsys, "check", str(tmp_path))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        # nothing counted as a tenth of all power where the curve gives nothing at a tenth
        ("power_curve = [[0.1, 4.0]", "power_curve = [[0.1, 0.0]"),
        # enlargements were drawn 300 times finer than such a beam, and its waist searched in 4000 steps
        ("focal_length_mm = 50.8", "focal_length_mm = 1.0"),
        ("focal_length_mm = 50.8", "focal_length_mm = 1000.0"),
    ],
)
def test_an_odd_machine_is_planned_for_within_bounds(old: str, new: str) -> None:
    assert old in MACHINE
    files = {**FOLDER, "maple.curve.json": curve_json(), "machine.toml": MACHINE.replace(old, new).encode()}

    with guard() as keeper:
        outcome = keeper.attempt("plan", files)

    assert outcome.fault == ""
    assert outcome.what == "done"


@pytest.mark.parametrize("key", ["focal_length_mm", "beam_diameter_mm", "waist_radius_mm", "rayleigh_length_mm"])
@pytest.mark.parametrize("size", ["1e-200", "1e5"])
def test_a_lens_of_a_size_that_none_has_is_refused(
    key: str, size: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A focal length whose square is nothing in binary divided by nothing."""
    lens = [line for line in MACHINE.splitlines() if not line.startswith(key)]
    text = "\n".join([*lens, f"{key} = {size}"])
    for name, content in (("batch.toml", BATCH), ("machine.toml", text), ("art.svg", ART)):
        (tmp_path / name).write_text(content, encoding="utf-8")

    assert key in told(capsys, "check", str(tmp_path))


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ('curve = "a\\u0000.json"', "U+0000"),
        ("confirmed_by = 1", "text in quotes"),
        (f"cut_J_per_mm3 = {HUGE}", "more than 300 digits"),
    ],
)
def test_a_wood_with_such_a_value_is_refused(
    line: str, word: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "woods").mkdir()
    for name, text in (("batch.toml", BATCH), ("machine.toml", MACHINE), ("art.svg", ART)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "woods" / "hard-maple.toml").write_text(f'name = "hard maple"\n{line}\n', encoding="utf-8")

    assert word in told(capsys, "check", str(tmp_path))


@pytest.mark.parametrize("number", [HUGE, TOO_LONG, "1e999", "NaN"])
def test_a_json_with_such_a_number_is_refused(number: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "card.json").write_text(f'{{"schema_version": {number}}}', encoding="ascii")
    (tmp_path / "photo.jpg").write_bytes(b"no picture")

    words = (
        "read",
        str(tmp_path / "photo.jpg"),
        "--card",
        str(tmp_path / "card.json"),
        "--to",
        str(tmp_path / "r.json"),
    )
    assert "card.json" in told(capsys, *words)


@pytest.mark.parametrize(
    ("key", "number"),
    [
        *(("decades_sd", sd) for sd in (2**63, 1e-300, 1e300, -1.0)),
        *(("slope_L_per_decade", s) for s in (0, -0.0, 7.9)),
    ],
)
def test_an_outcome_whose_shift_is_known_to_nothing_is_refused(
    key: str, number: float, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one, other = (json.loads(data) for data in outcome_json())
    one["exposure_shift"][key] = number
    for name, document in (("one.json", one), ("other.json", other)):
        (tmp_path / name).write_text(json.dumps(document), encoding="utf-8")

    assert key in told(capsys, "drift", str(tmp_path / "one.json"), str(tmp_path / "other.json"))


def test_a_line_put_into_programs_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "mark.ngc").write_text("M2\n", encoding="ascii")
    injected = MACHINE + '[post_processor]\nopening_lines = ["G4 P1\\nG1 X599 S1000"]\n'
    (tmp_path / "machine.toml").write_text(injected, encoding="utf-8")

    words = ("verify", str(tmp_path / "mark.ngc"), "--machine", str(tmp_path / "machine.toml"))
    assert "U+000A" in told(capsys, *words)


def test_what_an_error_quotes_does_not_act_on_the_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = told(capsys, "check", str(tmp_path / "\x1b[2Jgone\nerror: not ours"))

    assert "\x1b" not in said
    assert sum(line.startswith("error: ") for line in said.splitlines()) == 1


def test_a_plan_from_elsewhere_removes_no_file_that_is_no_plans(tmp_path: Path) -> None:
    """The index in a folder lists what the plan before wrote; a made-up one lists somebody's letters."""
    index = {"run_sheet": "letters.docx", "runs": [], "pieces": []}
    (tmp_path / "plan.json").write_text(json.dumps(index), encoding="utf-8")
    (tmp_path / "letters.docx").write_text("dear", encoding="utf-8")

    with OutputFolder(tmp_path) as output:
        output.write_text("plan.json", '{"pieces": []}')
        output.finish()

    assert (tmp_path / "letters.docx").read_text(encoding="utf-8") == "dear"


# ---- backups -----------------------------------------------------------------------------------------------------


def spoilt(folder: Path, **members: bytes) -> Path:
    """Return a sound backup with some members changed; `book_json` stands for book.json, `wood` for its table."""
    names = {"book_json": "book.json"} | {key: f"tables/{key}.jsonl" for key in members if key != "book_json"}
    path = folder / "book.zip"
    with zipfile.ZipFile(io.BytesIO(backup_zip())) as sound, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        changed = {names[key]: data for key, data in members.items()}
        for info in sound.infolist():
            made.writestr(info.filename, changed.get(info.filename, sound.read(info)))
    return path


FILE_ROW = {"sha256": "0" * 64, "media_type": "image/png", "bytes": 4, "added_at": "2026-06-09T08:00:00+00:00"}


@pytest.mark.parametrize(
    "line",
    [
        b"null\n",
        b"[]\n",
        b"1\n",
        b"{}\n",
        b"{\n",
        b"\xff\n",
        json.dumps({**FILE_ROW, "stray": 1}).encode(),
        json.dumps({**FILE_ROW, "bytes": 2**70}).encode(),
        json.dumps({**FILE_ROW, "bytes": True}).encode(),
        json.dumps({**FILE_ROW, "bytes": "4"}).encode(),
        json.dumps({**FILE_ROW, "sha256": None}).encode(),
        json.dumps({**FILE_ROW, "sha256": ["a"]}).encode(),
        b"[" * 100_000,
    ],
)
def test_a_row_that_is_none_makes_no_book(line: bytes, tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile, match="no sound rows of file"):
        restore(spoilt(tmp_path, file=line), tmp_path / "again")


def test_rows_that_point_nowhere_are_the_files_fault(tmp_path: Path) -> None:
    row = {"piece_id": 7, "name": "oil", "done_at": "2026-06-09T08:00:00+00:00"}

    with pytest.raises(UnreadableFile, match="no sound rows of step"):
        restore(spoilt(tmp_path, step=json.dumps(row).encode() + b"\n"), tmp_path / "again")


@pytest.mark.parametrize(
    "index", [b"[" * 100_000, b"null", b'{"form": "evenburn book", "rows": []}', b"\xff\xfe", b" " * (2 << 20)]
)
def test_an_index_that_is_none_is_told(index: bytes, tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile, match="no backup"):
        restore(spoilt(tmp_path, book_json=index), tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_a_version_is_told_and_not_followed(tmp_path: Path) -> None:
    index = json.dumps({"form": "evenburn book", "rows": {}, "version": ["x" * 9000]}).encode()

    with pytest.raises(InvalidInput) as told:
        restore(spoilt(tmp_path, book_json=index), tmp_path / "again")
    assert len(str(told.value)) < 300


def test_a_backup_that_swells_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile, match="far more than a book holds"):
        restore(spoilt(tmp_path, wood=bytes(200 << 20)), tmp_path / "again")
    assert not (tmp_path / "again").exists()


@pytest.mark.parametrize("member", ["../secret.svg", "files/../../secret.svg", "files/" + "0" * 64])
def test_no_member_of_a_backup_lands_outside_the_book(member: str) -> None:
    out = io.BytesIO(backup_zip())
    with zipfile.ZipFile(out, "a") as packed:
        packed.writestr(member, b"elsewhere")

    with guard() as keeper:
        outcome = keeper.attempt("backup", {"book.zip": out.getvalue()})

    assert outcome.fault == ""
    assert (outcome.what, outcome.text) == ("done", "restored")


@pytest.mark.parametrize("where", ["absolute", "upwards"])
def test_a_plan_of_a_backup_leads_to_no_folder_outside_the_book(where: str, tmp_path: Path) -> None:
    """The row of a plan names its folder by a hash; a made-up one named a folder of programs beside the book."""
    book = open_book_at(tmp_path / "book")
    taken = take_in_batch(book, small_batch(tmp_path / "own"), now=NOW)
    piece_id = taken.piece_ids[0]
    planned = plan_piece(book, piece_id, now=NOW)
    back_up(book, tmp_path / "sound.zip", now=NOW)
    outside = planned.folder.rename(tmp_path / "o")
    book.close()
    with zipfile.ZipFile(tmp_path / "sound.zip") as sound, zipfile.ZipFile(tmp_path / "book.zip", "w") as made:
        for info in sound.infolist():
            data = sound.read(info)
            if info.filename == "tables/plan.jsonl":
                named = str(outside) if where == "absolute" else "../../o"
                data = json.dumps({**json.loads(data), "inputs_sha256": named, "folder": named}).encode() + b"\n"
            made.writestr(info.filename, data)

    again = restore(tmp_path / "book.zip", tmp_path / "again" / "book")
    try:
        assert plan_of(again, piece_id) is None
        assert glances(again, [piece_id]) == {}
        with pytest.raises(NotFound):
            file_of(again, piece_id, "plaque-front.ngc")
        fresh = plan_piece(again, piece_id, now=NOW)  # and it is planned as any other
        assert fresh.folder.parent.name == "plans"
    finally:
        again.close()


def test_what_a_guard_leaves_is_what_it_was_given(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "art.svg").write_text(ART, encoding="utf-8")

    assert tree(tmp_path) == {"a/art.svg": ART.encode()}
