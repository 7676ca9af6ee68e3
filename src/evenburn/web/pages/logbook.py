"""The logbook: burns searched and graded, one burn in full, and its recipe used again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, cast

from fastapi import APIRouter, Request
from fastapi.responses import Response, StreamingResponse

from evenburn.core.errors import ChangedMeanwhile, InvalidInput
from evenburn.core.units import lines_per_inch, psi
from evenburn.services.book.do_again import Target, do_it_again, make_alike, targets_of
from evenburn.services.book.logbook import Graded, LogLine, LogPage, burn_of, grade_burn, log_csv, search_log
from evenburn.services.book.look_at_burn import Mat, Picture, look_at_burn, mats_of, photographs_of_burn
from evenburn.services.book.piece_of import piece_of
from evenburn.services.book.saved import Saved
from evenburn.web import urls
from evenburn.web.desk import AtDesk, Desk
from evenburn.web.forms import Form, Sent
from evenburn.web.meanwhile import Meanwhile, meanwhile_of
from evenburn.web.planning import plan_beside
from evenburn.web.render import changed, go, page
from evenburn.web.work import Progress

router = APIRouter()
TAB = "logbook"
GRADE_WORDS: dict[int, str] = {1: "spoiled", 2: "poor", 3: "usable", 4: "good", 5: "as wished"}
GRADES = (
    ("", "all grades"),
    *((str(n), f"{n}, {w}") for n, w in reversed(GRADE_WORDS.items())),
    ("none", "not graded"),
)
AXIS_px, LIGHT_L, DARK_L = 700.0, 90.0, 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LogSheet:
    """The logbook as searched."""

    log: LogPage
    woods: tuple[tuple[str, str], ...]
    grades: tuple[tuple[str, str], ...]
    words: Mapping[int, str]
    search: str
    wood: str
    grade: str
    searched: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ToneLine:
    """Promised and got on the line of tones, as px from the left."""

    stops: tuple[tuple[float, float], ...]
    ticks: tuple[tuple[float, int], ...]
    promised: float
    low: float
    high: float
    got: float | None
    got_low: float
    got_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnSheet:
    """A burn in full."""

    line: LogLine
    recipe: Mapping[str, Any]
    predicted: Mapping[str, Any]
    lines_per_inch: float
    air_psi: float | None
    tones: ToneLine | None
    photographs: tuple[int, ...]
    unlooked: tuple[int, ...]
    mats: tuple[tuple[str, str], ...]
    mat: str
    targets: tuple[Target, ...]
    words: Mapping[int, str]
    grade: str
    note: str
    errors: Mapping[str, str]
    hint: str
    meanwhile: Meanwhile | None


@router.get("/logbook")
def show(request: Request, desk: AtDesk) -> Response:
    """Show the burns that were searched for."""
    asked = _asked(request)
    number = request.query_params.get("page", "1")
    log = search_log(
        desk.book,
        text=asked["search"],
        wood_id=asked["wood"] or None,
        grade=cast("Graded", asked["grade"]),
        page=int(number) if _is_number(number) else 1,
    )
    context = LogSheet(
        log=log,
        woods=(("", "all woods"), *log.woods),
        grades=GRADES,
        words=GRADE_WORDS,
        search=asked["search"],
        wood=asked["wood"],
        grade=asked["grade"],
        searched=any(asked.values()),
    )
    return page(request, "logbook.html", context, tab=TAB)


@router.get("/logbook.csv")
def take_along(request: Request, desk: AtDesk) -> Response:
    """Give the burns that were searched for as CSV, a part at a time."""
    asked = _asked(request)
    rows = log_csv(desk.book, text=asked["search"], wood_id=asked["wood"] or None, grade=cast("Graded", asked["grade"]))
    headers = {"content-disposition": 'attachment; filename="evenburn-logbook.csv"'}
    return StreamingResponse(rows, media_type="text/csv; charset=utf-8", headers=headers)


@router.get("/logbook/{burn_id}")
def show_burn(request: Request, burn_id: int, desk: AtDesk) -> Response:
    """Show a burn in full."""
    return _sheet(request, desk, burn_id)


@router.post("/logbook/{burn_id}/grade")
def grade(request: Request, burn_id: int, desk: AtDesk, sent: Form) -> Response:
    """Keep a grade and a note, and photographs that were chosen beside them."""
    return _kept(request, desk, burn_id, sent=sent, looks=bool(sent.files.get("photographs")))


@router.post("/logbook/{burn_id}/photographs")
def look(request: Request, burn_id: int, desk: AtDesk, sent: Form) -> Response:
    """Keep photographs of what came of a burn, and the grade and note beside them."""
    return _kept(request, desk, burn_id, sent=sent, looks=True)


def _kept(request: Request, desk: Desk, burn_id: int, *, sent: Sent, looks: bool) -> Response:
    """Keep what a burn's form says, or show it again: of the same form both buttons keep what was typed."""
    try:
        version = sent.whole("version")
        saved = _graded(desk, burn_id, sent, version=version, always=not looks)
        if looks:
            return _looked(desk, burn_id, sent, version=version if saved is None else saved.version)
    except InvalidInput as error:
        return _sheet(request, desk, burn_id, sent=sent, error=error)
    except ChangedMeanwhile as error:
        meanwhile = meanwhile_of(desk, error, key=burn_id, version=sent.whole("version"), sent=sent)
        return _sheet(request, desk, burn_id, sent=sent, meanwhile=meanwhile)
    assert saved is not None  # noqa: S101  # it was to be kept in any case
    return changed(urls.burn(burn_id), saved)


def _graded(desk: Desk, burn_id: int, sent: Sent, *, version: int, always: bool) -> Saved | None:
    """Keep grade and note; None where they say what stands already and need not be kept."""
    line = burn_of(desk.book, burn_id)
    given = line.grade if "grade" not in sent.values else sent.whole("grade") if sent.text("grade") else None
    note = sent.values.get("note", line.note).replace("\r\n", "\n")
    if not always and (given, note.strip()) == (line.grade, line.note):
        return None
    return grade_burn(desk.book, burn_id, grade=given, note=note, version=version, now=desk.now())


def _looked(desk: Desk, burn_id: int, sent: Sent, *, version: int) -> Response:
    """Keep photographs; where a mat lay round it, hold them against its plan, as long work."""
    pictures = tuple(Picture(name=one.name, data=one.data) for one in sent.files.get("photographs", ()))
    also = tuple(int(k[6:]) for k in sent.values if k.startswith("photo-") and k[6:].isdecimal() and len(k) < 16)
    now = desk.now()
    mat = sent.whole("mat") if sent.text("mat") else None
    if mat is None or not (pictures or also):
        looked = look_at_burn(desk.book, burn_id, pictures, also=also, version=version, now=now)
        return changed(urls.burn(burn_id), looked.saved)

    def compare(progress: Progress) -> None:
        look_at_burn(
            desk.book, burn_id, pictures, mat_card_id=mat, also=also, version=version, now=now, progress=progress
        )

    job = desk.work.begin("Holds it against its plan", compare, goes_to=f"{urls.burn(burn_id)}#came")
    return go(urls.work(job.id))


@router.post("/logbook/{burn_id}/again")
def again(request: Request, burn_id: int, desk: AtDesk, sent: Form) -> Response:
    """Put a burn's recipe into a mark, and lead to its piece."""
    piece_id, _, rest = sent.text("mark").partition("/")
    version, _, mark_id = rest.partition("/")
    try:
        if not (_is_number(piece_id) and _is_number(version) and mark_id):
            raise InvalidInput({"mark": "choose the mark that is to be burnt like that"})  # noqa: TRY301
        saved = do_it_again(desk.book, burn_id, int(piece_id), mark_id, version=int(version), now=desk.now())
    except InvalidInput as error:
        return _sheet(request, desk, burn_id, sent=sent, error=error)
    return changed(urls.piece(int(piece_id)), saved)


@router.post("/logbook/{burn_id}/alike")
def alike(burn_id: int, desk: AtDesk, sent: Form) -> Response:  # noqa: ARG001  # the form's token is looked at
    """Add a piece like that one, plan it, and lead to it."""
    saved = make_alike(desk.book, burn_id, now=desk.now())
    plan_beside(desk, int(saved.key), name=piece_of(desk.book, int(saved.key)).name)
    return changed(urls.piece(int(saved.key)), saved)


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) < 10


def _asked(request: Request) -> dict[str, str]:
    asked = request.query_params
    wished = asked.get("grade", "")
    return {
        "search": asked.get("search", "")[:200].strip(),
        "wood": asked.get("wood", "")[:64],
        "grade": wished if wished in {"1", "2", "3", "4", "5", "none"} else "",
    }


def _sheet(
    request: Request,
    desk: Desk,
    burn_id: int,
    *,
    sent: Sent | None = None,
    error: InvalidInput | None = None,
    meanwhile: Meanwhile | None = None,
) -> Response:
    line = burn_of(desk.book, burn_id)
    known = set(line.photographs)
    context = BurnSheet(
        line=line,
        recipe=line.recipe,
        predicted=line.predicted,
        lines_per_inch=lines_per_inch(line.recipe["line_spacing_mm"]),
        air_psi=None if line.recipe.get("air_kPa") is None else psi(line.recipe["air_kPa"]),
        tones=_tones(line),
        photographs=line.photographs,
        unlooked=tuple(i for i in photographs_of_burn(desk.book, burn_id) if i not in known),
        mats=(("", "none: only keep the photographs"), *((str(mat.card_id), _mat(mat)) for mat in mats_of(desk.book))),
        mat="" if sent is None else sent.text("mat"),
        targets=targets_of(desk.book, burn_id),
        words=GRADE_WORDS,
        grade=str(line.grade or "") if sent is None or "grade" not in sent.values else sent.text("grade"),
        note=line.note if sent is None or "note" not in sent.values else sent.values["note"],
        errors={} if error is None else error.fields,
        hint="" if error is None else error.hint,
        meanwhile=meanwhile,
    )
    status = 409 if meanwhile else 422 if error else 200
    return page(request, "logbook_burn.html", context, tab=TAB, status=status)


def _mat(mat: Mat) -> str:
    return f"{mat.name}, {mat.page}"


def _tones(line: LogLine) -> ToneLine | None:
    """Return promised and got on the line of tones; None where no tone was promised."""
    promised, sd = line.predicted.get("tone_L"), line.predicted.get("tone_L_sd")
    if promised is None:
        return None
    spread, got, got_sd = sd or 0.0, line.got_L, line.got_L_sd or 0.0
    return ToneLine(
        stops=tuple((_at(n), float(n)) for n in range(90, 8, -10)),
        ticks=tuple((_at(n), n) for n in range(90, 8, -10)),
        promised=_at(promised),
        low=_at(promised + spread),
        high=_at(promised - spread),
        got=None if got is None else _at(got),
        got_low=_at((got or 0.0) + got_sd),
        got_high=_at((got or 0.0) - got_sd),
    )


def _at(tone_L: float) -> float:
    held = min(max(tone_L, DARK_L), LIGHT_L)
    return round((LIGHT_L - held) / (LIGHT_L - DARK_L) * AXIS_px, 1)
