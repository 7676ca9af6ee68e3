"""`evenburn read` with bad input: each a refusal in plain words, exit code 3, never a number; and what is still read."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import cv2
import numpy as np
import pytest
from jsonschema import Draft202012Validator
from numpy.typing import NDArray
from PIL import Image

from evenburn.adapters.formats.card_json import card_document
from evenburn.adapters.formats.json_file import write_json
from evenburn.adapters.formats.reading_json import read_reading
from evenburn.cli.main import main
from evenburn.core.card.mat_geometry import frame_box_mm
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.card import Box
from house.source import ROOT
from service.test_bad_input import GIANT_PNG
from unit.core.card import photographed
from unit.core.card.photographed import Camera, Printer, Scene, card_of, photograph, scene, tones_of, true_tones

Picture = NDArray[np.uint8]
SMALLER = Camera(size_px=(1600, 1200))  # 8 to a millimetre: quick
TONE_L = 4.0  # of a single patch, paper and toner unknown: what is asked for is the 95th percentile at 2.5

CARD = card_of()
WINDOW_MIDDLE = (
    0.5 * (CARD.mat.window_mm[0] + CARD.mat.window_mm[2]),
    0.5 * (CARD.mat.window_mm[1] + CARD.mat.window_mm[3]),
)


def made(**changes: Any) -> Scene:
    camera = replace(SMALLER, **changes.pop("camera", {}))
    return scene(CARD, camera=camera, **changes)


@pytest.fixture(scope="module", autouse=True)
def _drawn_once() -> Iterator[None]:
    """Draw the page of a scene once, whatever camera looks at it."""
    drawn: dict[str, tuple[NDArray[np.float32], Box]] = {}
    draw = photographed.page_light

    def page_light(s: Scene) -> tuple[NDArray[np.float32], Box]:
        key = repr(replace(s, camera=SMALLER))
        if key not in drawn:
            drawn[key] = draw(s)
        page, box = drawn[key]
        return page.copy(), box

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(photographed, "page_light", page_light)
        yield


@pytest.fixture(scope="module")
def truth() -> dict[str, float]:
    return true_tones(made())


@pytest.fixture(scope="module")
def plain() -> Picture:
    return photograph(made())


@pytest.fixture(scope="module")
def schema() -> Draft202012Validator:
    return Draft202012Validator(
        json.loads((ROOT / "docs" / "reference" / "reading.schema.json").read_text(encoding="utf-8"))
    )


def jpeg(picture: Picture, *, orientation: int = 1) -> bytes:
    data = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = orientation
    Image.fromarray(picture).save(data, format="JPEG", quality=92, exif=exif)
    return data.getvalue()


def png(image: Image.Image) -> bytes:
    data = io.BytesIO()
    image.save(data, format="PNG")
    return data.getvalue()


class Reader:
    """Runs `evenburn read` on pictures and holds what came of it."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder, self.capsys = folder, capsys
        self.card = folder / "card.json"
        self.to = folder / "reading.json"
        write_json(self.card, card_document(CARD))

    def __call__(self, *files: bytes, name: str = "card.jpg", options: tuple[str, ...] = ()) -> int:
        paths = []
        for number, data in enumerate(files):
            path = self.folder / (name if len(files) == 1 else f"{number}-{name}")
            path.write_bytes(data)
            paths.append(str(path))
        code = main(["read", *paths, "--card", str(self.card), "--to", str(self.to), *options])
        self.shown = self.capsys.readouterr()
        assert "Traceback" not in self.shown.err
        return code

    def document(self) -> dict[str, Any]:
        document = json.loads(self.to.read_text(encoding="utf-8"))
        assert isinstance(document, dict)
        return document

    def refused(self, *files: bytes, name: str = "card.jpg") -> dict[str, str]:
        """Read, hold that it was refused, and return why."""
        assert self(*files, name=name) == 3, self.shown
        document = self.document()
        assert document["patches"] == []
        assert "bare_wood_L" not in document
        why: dict[str, str] = document["refused"]
        assert why["text"].endswith(".")
        assert why["remedy"].endswith(".")
        said = " ".join(self.shown.out.split())
        assert why["text"] in said
        assert why["remedy"] in said
        return why


@pytest.fixture
def read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Reader:
    return Reader(tmp_path, capsys)


# ---- what is read ------------------------------------------------------------------------------------------------


def test_an_ordinary_photograph_is_read(
    read: Reader, plain: Picture, truth: dict[str, float], schema: Draft202012Validator
) -> None:
    assert read(jpeg(plain), options=("--drawing", str(read.folder / "read.png"))) == 0

    document = read.document()
    schema.validate(document)
    assert "refused" not in document
    off = np.array([p["tone_L"] - truth[p["id"]] for p in document["patches"]])
    assert np.abs(off).max() < TONE_L
    assert [p["id"] for p in document["patches"] if p["flags"]] == []
    with Image.open(read.folder / "read.png") as drawn:
        assert min(drawn.size) > 800


@pytest.mark.parametrize("turns", [1, 2])
def test_a_turned_photograph_is_read(read: Reader, plain: Picture, truth: dict[str, float], turns: int) -> None:
    assert read(jpeg(np.ascontiguousarray(np.rot90(plain, turns)))) == 0

    turned = {p["id"]: p["tone_L"] for p in read.document()["patches"]}
    assert max(abs(turned[k] - truth[k]) for k in truth) < TONE_L


def test_the_orientation_in_the_file_is_followed(read: Reader, plain: Picture) -> None:
    """6: row 0 is the right-hand side (Exif 2.3): a picture turned to the left, to be turned back."""
    assert read(jpeg(np.ascontiguousarray(np.rot90(plain)), orientation=6), jpeg(plain)) == 0

    assert [p["id"] for p in read.document()["patches"] if p["flags"]] == []


def test_a_mirroring_orientation_mirrors(read: Reader, plain: Picture) -> None:
    """2: mirrored left to right (Exif 2.3); undone, an upright picture comes out mirrored."""
    assert read.refused(jpeg(plain, orientation=2))["code"] == "mirrored"
    assert read(jpeg(np.ascontiguousarray(plain[:, ::-1]), orientation=2)) == 0


def test_a_refused_photograph_is_left_out_of_several(read: Reader, plain: Picture) -> None:
    assert read(jpeg(plain), jpeg(np.ascontiguousarray(plain[:, ::-1]))) == 0

    document = read.document()
    assert "refused" not in document
    assert "refused" not in document["photographs"][0]
    assert document["photographs"][1]["refused"]["code"] == "mirrored"
    assert "1-card.jpg" in read.shown.out
    assert read_reading(read.to, name="reading.json").photographs == 1


# ---- no photograph of a camera -----------------------------------------------------------------------------------


def smaller(plain: Picture, columns: int, rows: int) -> Picture:
    return np.asarray(cv2.resize(plain, (columns, rows)), np.uint8)


def heic(_: Picture) -> bytes:
    return b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 64


def deep(plain: Picture) -> bytes:
    return png(Image.fromarray(plain[..., 1].astype(np.uint16) * 257))


def bars(plain: Picture) -> bytes:
    screen = np.full((2532, 1170, 3), 18, np.uint8)
    small = cv2.resize(plain, (1170, 877), interpolation=cv2.INTER_AREA)
    screen[800 : 800 + 877] = small
    cv2.putText(screen, "9:41", (70, 80), cv2.FONT_HERSHEY_SIMPLEX, 1.4, (240, 240, 240), 3)
    return png(Image.fromarray(screen))


def desk(_: Picture) -> bytes:
    rng = np.random.default_rng(3)
    rough = rng.normal(0.0, 25.0, (15, 20, 3)) + np.array([150.0, 110.0, 80.0])
    large = cv2.resize(rough.astype(np.float32), (2000, 1500), interpolation=cv2.INTER_CUBIC)
    for x in range(100, 1900, 300):  # sheets and pencils
        cv2.rectangle(large, (x, 200 + x // 3), (x + 160, 330 + x // 3), (230.0, 225.0, 40.0 + x // 10), -1)
    return jpeg(np.clip(large + rng.normal(0.0, 3.0, large.shape), 0, 255).astype(np.uint8))


class NoPicture(NamedTuple):
    """A file that no camera wrote; what the refusal has to say of it."""

    name: str
    data: Callable[[Picture], bytes]
    code: str
    text: str
    remedy: str


NO_PICTURE = [
    NoPicture("card.jpg", lambda _: b"", "no-picture", "is empty", "Copy the photograph"),
    NoPicture("card.jpg", lambda _: b"dear all, the card is attached\n" * 40, "no-picture", "is no picture", "as JPEG"),
    NoPicture("card.jpg", lambda p: jpeg(p)[:100_000], "damaged", "cut short", "Copy the photograph"),
    NoPicture("card.png", lambda _: GIANT_PNG, "too-large", "170 million", "12 megapixels"),
    NoPicture("card.heic", heic, "heic", "HEIC", "JPEG"),
    NoPicture(
        "card.png", lambda p: png(Image.fromarray(p[:2, :2])), "too-small", "2 × 2 pixels", "as the camera took it"
    ),
    NoPicture("card.jpg", lambda p: jpeg(smaller(p, 560, 420)), "too-small", "560 × 420", "not a preview"),
    NoPicture("card.jpg", lambda p: jpeg(smaller(p, 824, 618)), "too-small", "pixels; at least 4", "Go closer"),
    NoPicture("card.png", lambda p: png(Image.fromarray(p).convert("L")), "no-colours", "grey", "in colour"),
    NoPicture(
        "card.jpg", lambda p: jpeg(np.repeat(p[..., 1:2], 3, axis=2)), "no-colours", "the same everywhere", "filters"
    ),
    NoPicture("card.png", deep, "no-colours", "grey", "in colour"),
    NoPicture("card.png", lambda p: png(Image.fromarray(p).convert("P")), "no-colours", "256 colours", "in colour"),
    NoPicture("card.png", bars, "screenshot", "one flat colour", "not a screenshot"),
    NoPicture("card.jpg", desk, "no-mat", "0 of its 12 markers", "all its markers"),
]


@pytest.mark.parametrize("case", NO_PICTURE, ids=[f"{c.code}-{n}" for n, c in enumerate(NO_PICTURE)])
def test_what_no_camera_wrote_is_refused(read: Reader, plain: Picture, case: NoPicture) -> None:
    why = read.refused(case.data(plain), name=case.name)

    assert why["code"] == case.code
    assert case.text in why["text"]
    assert case.remedy in why["remedy"]


def test_printing_inks_are_refused(read: Reader, plain: Picture) -> None:
    data = io.BytesIO()
    Image.fromarray(plain).convert("CMYK").save(data, format="JPEG")

    assert "CMYK" in read.refused(data.getvalue())["text"]


def test_an_opaque_layer_is_read(read: Reader, plain: Picture) -> None:
    assert read(png(Image.fromarray(plain).convert("RGBA")), name="card.png") == 0


@pytest.mark.parametrize("missing", ["card.jpg", "card.json"])
def test_a_missing_file_is_an_error_of_the_input(
    tmp_path: Path, plain: Picture, capsys: pytest.CaptureFixture[str], missing: str
) -> None:
    write_json(tmp_path / "card.json", card_document(CARD))
    (tmp_path / "card.jpg").write_bytes(jpeg(plain))
    (tmp_path / missing).unlink()

    code = main(
        ["read", str(tmp_path / "card.jpg"), "--card", str(tmp_path / "card.json"), "--to", str(tmp_path / "r.json")]
    )

    assert code == 2
    assert f"{missing}: is missing" in capsys.readouterr().err
    assert not (tmp_path / "r.json").exists()


def test_lightness_that_no_paper_has_is_an_error_of_the_input(read: Reader, plain: Picture) -> None:
    assert read(jpeg(plain), options=("--paper-L", "12", "--toner-L", "93")) == 2

    assert "--paper-L" in read.shown.err
    assert "--toner-L" in read.shown.err
    assert not read.to.exists()


def test_a_refusal_cannot_be_taken_for_a_reading(read: Reader, plain: Picture) -> None:
    read.refused(jpeg(np.ascontiguousarray(plain[:, ::-1])))

    with pytest.raises(InvalidInput, match="mirrored"):
        read_reading(read.to, name="reading.json")


# ---- spoilt photographs ------------------------------------------------------------------------------------------


def with_hidden_marker(picture: Picture) -> Picture:
    """A thumb over the upper right corner of the picture, where marker 4 lies."""
    hidden = picture.copy()
    columns = hidden.shape[1]
    cv2.circle(hidden, (columns - 128, 100), 174, (190, 140, 115), -1, cv2.LINE_AA)
    return hidden


class Spoilt(NamedTuple):
    """A photograph that something spoilt; what the refusal has to say of it."""

    name: str
    change: Callable[[Picture], Picture]
    code: str
    text: str
    remedy: str


SPOILT = [
    Spoilt(
        "a thumb",
        with_hidden_marker,
        "markers-hidden",
        "1 of 12 markers cannot be seen: marker 4, upper right.",
        "whole",
    ),
    Spoilt("mirrored", lambda p: np.ascontiguousarray(p[:, ::-1]), "mirrored", "mirrored", "back of the phone"),
    Spoilt(
        "fit to page",
        lambda _: photograph(made(printer=Printer(scale=0.94))),
        "print-scale",
        "printed at 94.0 %",
        "“actual size”",
    ),
    Spoilt(
        "defocus",
        lambda p: np.asarray(cv2.GaussianBlur(p, (0, 0), 4.5), np.uint8),
        "blurred",
        "0.35 mm is allowed",
        "hold the phone still",
    ),
    Spoilt(
        "shaken",
        lambda p: np.asarray(cv2.blur(p, (31, 1)), np.uint8),
        "blurred",
        "nothing in the picture is sharper",
        "hold the phone still",
    ),
    Spoilt(
        "a hand's shadow",
        lambda _: photograph(made(), shadow="hard"),
        "hard-shadow",
        "paper has an edge",
        "shadow on the mat",
    ),
    Spoilt(
        "a wide shine",
        lambda _: photograph(made(), glare=(*WINDOW_MIDDLE, 14.0, 0.3)),
        "glare",
        "patches: ",
        "Tilt the phone",
    ),
    Spoilt(
        "a shine on the paper",
        lambda _: photograph(made(), glare=(WINDOW_MIDDLE[0] - 66.0, WINDOW_MIDDLE[1], 9.0, 0.3)),
        "glare",
        "white paper",
        "Tilt the phone",
    ),
    Spoilt(
        "overexposed",
        lambda p: np.clip(p.astype(np.float32) * 1.35, 0, 255).astype(np.uint8),
        "overexposed",
        "of the white paper is overexposed",
        "exposure down",
    ),
    Spoilt("dark", lambda p: (p.astype(np.float32) * 0.25).astype(np.uint8), "too-dark", "of 255", "more light"),
]


@pytest.mark.parametrize("case", SPOILT, ids=[c.name for c in SPOILT])
def test_a_spoilt_photograph_is_refused(read: Reader, plain: Picture, case: Spoilt) -> None:
    why = read.refused(jpeg(case.change(plain)))

    assert why["code"] == case.code, why
    assert case.text in why["text"]
    assert case.remedy in why["remedy"]


def test_glare_on_a_few_patches_flags_them_and_no_others(read: Reader, plain: Picture) -> None:
    """A shine of 5 mm on d8, below a third of white: what it moves by more than 1.5 L* has to carry a flag."""
    d8 = next(p for p in CARD.patches if p.id == "d8")
    x = WINDOW_MIDDLE[0] + 0.5 * (d8.box_mm[0] + d8.box_mm[2]) - 45.0
    y = WINDOW_MIDDLE[1] + 0.5 * (d8.box_mm[1] + d8.box_mm[3]) - 30.0
    assert read(jpeg(plain)) == 0
    before = {p["id"]: p["tone_L"] for p in read.document()["patches"]}

    assert read(jpeg(photograph(made(), glare=(x, y, 5.0, 0.3)))) == 0

    patches = read.document()["patches"]
    flagged = {p["id"] for p in patches if p["flags"]}
    moved = {p["id"] for p in patches if abs(p["tone_L"] - before[p["id"]]) > 1.5}
    assert "d8" in moved
    assert moved <= flagged
    assert len(flagged) < 20
    assert "glare: " in read.shown.out


def test_two_mats_are_refused(read: Reader, plain: Picture) -> None:
    assert read.refused(jpeg(np.concatenate([plain, plain], axis=1)))["code"] == "two-mats"


def test_a_card_file_of_another_card_is_refused(read: Reader, plain: Picture) -> None:
    rng = np.random.default_rng(8)
    other = [CARD.patches[n] for n in rng.permutation(len(CARD.patches))]
    mixed = replace(
        CARD, patches=tuple(replace(p, id=q.id, box_mm=q.box_mm) for p, q in zip(other, CARD.patches, strict=True))
    )
    for card, code in ((mixed, "wrong-card"), (card_of("strip"), "wrong-mat"), (card_of(page="Letter"), "wrong-mat")):
        write_json(read.card, card_document(card))

        why = read.refused(jpeg(plain))

        assert why["code"] == code
        assert "card.json" in why["remedy"]


def test_the_scenes_are_what_they_seem(truth: dict[str, float]) -> None:
    """The double itself: the tones it burns are those it was asked for, and the frame is in the picture."""
    wanted = tones_of(CARD)
    assert max(abs(truth[k] - wanted[k]) for k in wanted) < 1.5  # grain, averaged over a patch
    left, low, right, high = frame_box_mm(CARD.mat)
    assert right - left > 150.0
    assert high - low > 100.0
