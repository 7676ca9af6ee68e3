"""The doors by which files come in, each as its user opens it; run by the worker, never in the tests' own process."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

DATE = "2026-06-09"
SMALL_px = 96
BOX_mm = (60.0, 30.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Door:
    """How a case, a folder `case` inside an arena, is opened; `warm` is done once before, outside all measuring."""

    enter: Callable[[Path], str]
    warm: Callable[[], None] | None = None


# ---- artwork -----------------------------------------------------------------------------------------------------


def _artwork(ending: str) -> Callable[[Path], str]:
    def enter(arena: Path) -> str:
        import numpy as np

        from evenburn.adapters.artwork.source import artwork_from_file
        from evenburn.core.errors import UnreadableFile

        artwork = artwork_from_file(arena / "case" / f"art{ending}", name=f"art{ending}")
        ink = artwork.ink(width_px=SMALL_px, height_px=SMALL_px // 2)
        light = artwork.light(width_px=SMALL_px // 2, height_px=SMALL_px)
        for picture, shape in ((ink, (SMALL_px // 2, SMALL_px)), (light, (SMALL_px, SMALL_px // 2))):
            assert picture.shape == shape
            assert np.isfinite(picture).all()
            assert picture.min() >= -1e-6
            assert picture.max() <= 1.0 + 1e-6
        try:
            outlines = artwork.outlines(width_mm=BOX_mm[0], height_mm=BOX_mm[1])
        except UnreadableFile:
            return "drawn"
        assert all(np.isfinite(o.points_mm).all() for o in outlines)
        return f"drawn, {len(outlines)} outlines"

    return enter


_SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm"><rect width="5" height="5"/><text>a</text></svg>'
)


def _warm_engine() -> None:
    """Compile the drawing engine, which is kept between runs, and load what every drawing needs."""
    from evenburn.adapters.artwork.svg import parse_svg

    parse_svg(_SVG.encode(), name="warm").ink(width_px=8, height_px=8)


def _warm_dxf() -> None:
    import evenburn.adapters.artwork.dxf  # noqa: F401

    _warm_engine()


def _warm_pdf() -> None:
    import evenburn.adapters.artwork.pdf  # noqa: F401


def _font(arena: Path) -> str:
    import numpy as np

    from evenburn.adapters.artwork.setting import TextSetting, artwork_from_setting

    setting = TextSetting(text="Oars & Swan\n2026", face="own.ttf")
    artwork = artwork_from_setting(setting, size_mm=BOX_mm, face_path=arena / "case" / "own.ttf")
    ink = artwork.ink(width_px=SMALL_px, height_px=SMALL_px // 2)
    assert np.isfinite(ink).all()
    outlines = artwork.outlines(width_mm=BOX_mm[0], height_mm=BOX_mm[1])
    assert all(np.isfinite(o.points_mm).all() for o in outlines)
    return "set"


def _photograph(arena: Path) -> str:
    from evenburn.adapters.photographs.opening import open_photograph

    opened = open_photograph(arena / "case" / "photo.jpg", name="photo.jpg")
    assert opened.ndim == 3
    return "opened"


# ---- what is typed at the command line ---------------------------------------------------------------------------


class PoorlyTold(Exception):
    """An error reached the person in another shape than promised."""


WARNED = re.compile(r"\.py:\d+: \w*Warning: ")  # a line for programmers


def _typed(*words: str | Path) -> str:
    """Return what a command line came to; what it prints for people has to have its promised shape."""
    from evenburn.cli.main import main
    from evenburn.core.errors import InvalidInput, StorageError

    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        code = main([str(word) for word in words])
    said = [line for line in err.getvalue().splitlines() if line.strip()]
    if "Traceback (most recent call last)" in err.getvalue() + out.getvalue():
        raise PoorlyTold(err.getvalue()[-400:])
    if WARNED.search(err.getvalue()):
        raise PoorlyTold(err.getvalue()[-400:])
    if code == 4:
        raise StorageError("; ".join(said)[:400])
    if code == 2:
        if not said or not all(line.startswith(("error: ", "try: ")) for line in said):
            raise PoorlyTold(f"exit code 2 with {said[:3]}")
        raise InvalidInput({"told": "; ".join(said)[:300]})
    if code not in (0, 1, 3):
        raise PoorlyTold(f"exit code {code}")
    return f"exit code {code}"


def _check(arena: Path) -> str:
    return _typed("check", arena / "case")


def _plan(arena: Path) -> str:
    return _typed("plan", arena / "case", "--to", arena / "out", "--date", DATE)


def _program(arena: Path) -> str:
    case = arena / "case"
    return _typed("verify", case / "mark.ngc", "--machine", case / "machine.toml", "--json")


def _card(arena: Path) -> str:
    case, out = arena / "case", arena / "out"
    out.mkdir()
    return _typed("read", case / "photo.jpg", "--card", case / "card.json", "--to", out / "reading.json")


def _reading(arena: Path) -> str:
    case, out = arena / "case", arena / "out"
    out.mkdir()
    return _typed("fit", case / "reading.json", "--wood", "hard-maple", "--to", out / "curve.json", "--date", DATE)


def _curve(arena: Path) -> str:
    from evenburn.adapters.formats.wood_toml import read_curve

    read_curve(arena / "case" / "maple.curve.json", name="maple.curve.json")
    return _check(arena)


def _outcome(arena: Path) -> str:
    return _typed("drift", arena / "case" / "outcome.json", arena / "case" / "other.json", "--json")


def _plan_json(arena: Path) -> str:
    from evenburn.adapters.formats.plan_read import read_plan

    read_plan(arena / "case" / "plan.json", name="plan.json")
    return "read"


def _warm_planning() -> None:
    """Import what planning needs and compile what is compiled."""
    import evenburn.services.check_batch
    import evenburn.services.plan_batch  # noqa: F401

    _warm_engine()


def _warm_fit() -> None:
    import evenburn.services.fit_curve  # noqa: F401


def _warm_read() -> None:
    import evenburn.services.read_card  # noqa: F401


# ---- the book ----------------------------------------------------------------------------------------------------


def _backup(arena: Path) -> str:
    from evenburn.adapters.storage.book.backing_up import back_up
    from evenburn.core.errors import EvenburnError
    from evenburn.services.book.restore_book import restore_book

    out = arena / "out"
    out.mkdir()
    try:
        book = restore_book(arena / "case" / "book.zip", out / "book")
    except EvenburnError:
        assert not (out / "book").exists(), "half a book is left"
        raise
    try:
        back_up(book, out / "again.zip", now="2026-06-09T08:00:00+00:00")
    finally:
        book.close()
    return "restored"


def _warm_book() -> None:
    import evenburn.services.book.restore_book  # noqa: F401


DOORS: dict[str, Door] = {
    "svg": Door(enter=_artwork(".svg"), warm=_warm_engine),
    "dxf": Door(enter=_artwork(".dxf"), warm=_warm_dxf),
    "pdf": Door(enter=_artwork(".pdf"), warm=_warm_pdf),
    "image": Door(enter=_artwork(".png")),
    "font": Door(enter=_font),
    "photograph": Door(enter=_photograph),
    "machine": Door(enter=_program),
    "program": Door(enter=_program),
    "wood": Door(enter=_check, warm=_warm_planning),
    "curve": Door(enter=_curve, warm=_warm_planning),
    "batch": Door(enter=_check, warm=_warm_planning),
    "names": Door(enter=_check, warm=_warm_planning),
    "plan": Door(enter=_plan, warm=_warm_planning),
    "card": Door(enter=_card, warm=_warm_read),
    "reading": Door(enter=_reading, warm=_warm_fit),
    "outcome": Door(enter=_outcome),
    "plan-json": Door(enter=_plan_json),
    "backup": Door(enter=_backup, warm=_warm_book),
}
# The web app's own door, its HTTP API, is asked at random by its own description in tests/hostile/test_api.py.
