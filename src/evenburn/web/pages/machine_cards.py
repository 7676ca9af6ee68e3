"""The stopwatch and the focus ladder, step by step: make the files, burn and time, read, and let the machine take it over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.core.errors import InvalidInput, NotFound, UnreadableFile
from evenburn.core.nouns.cautions import Caution, cautions_for
from evenburn.services.book.learn_machine import (
    Photograph,
    StopwatchTold,
    demand_some,
    differences,
    learn_ladder,
    learn_stopwatch,
    take_measured,
)
from evenburn.services.book.machine_cards import (
    CardKind,
    MachineCard,
    SetUp,
    card_woods,
    delivered_photographs,
    fault_of_machine_card,
    file_of_card,
    focus_stand_off_mm,
    machine_card_of,
    make_machine_card,
    packed_card,
    photograph_data,
    set_ups_of,
)
from evenburn.services.book.machine_of import MachinePage, machine_of
from evenburn.web import urls
from evenburn.web.desk import AtDesk
from evenburn.web.errors import told
from evenburn.web.forms import Form, Sent, gathering
from evenburn.web.machine_drawing import VernierDrawing, vernier_drawing
from evenburn.web.machine_words import shown
from evenburn.web.render import changed, go, page
from evenburn.web.serving_files import kept_file
from evenburn.web.work import Progress

router = APIRouter()
TAB = "machine"
TAKES = 2
TITLES: Mapping[str, str] = {"motion": "Stopwatch", "beam": "Focus ladder"}


@dataclass(frozen=True, slots=True, kw_only=True)
class MakePage:
    """Where a card is made: what it will tell, and what it needs."""

    kind: CardKind
    title: str
    machine: MachinePage
    woods: tuple[tuple[str, str], ...]
    lenses: tuple[tuple[str, str], ...]
    wood: str
    lens: str
    paper: str
    errors: Mapping[str, str]
    hint: str
    cards: tuple[MachineCard, ...]
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeRow:
    """A program to be timed: what to do, what it should take, and what was taken down."""

    id: str
    program: str
    name: str
    says: str
    expected_s: float
    takes: tuple[tuple[str, str], ...]
    doubtful: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class VernierRow:
    """A vernier to be read by eye."""

    field: str
    name: str
    speed_mm_per_s: float
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeRow:
    """A number before and after."""

    name: str
    before: str
    after: str
    kind: str
    taken: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CardPage:
    """The sheet of a card; `fault` tells why its programs are not handed out any more, "" where they are."""

    title: str
    card: MachineCard
    fault: str
    machine: MachinePage
    cautions: tuple[Caution, ...]
    while_timing: tuple[Caution, ...]
    lens_number: int
    focus_stand_off_mm: float
    corner_mm: tuple[float, float]
    size_mm: tuple[float, float]
    takes: tuple[TakeRow, ...]
    card_take: TakeRow | None
    verniers: tuple[VernierRow, ...]
    set_ups: tuple[SetUp, ...]
    delivered: tuple[tuple[int, str], ...]
    changes: tuple[ChangeRow, ...]
    all_taken: bool
    gone_lens: str
    fitted_on: str
    detail: str
    pictures: tuple[tuple[str, str], ...]
    errors: Mapping[str, str]
    hint: str
    known: tuple[str, ...]
    vernier: VernierDrawing


# ---- making one --------------------------------------------------------------------------------------------------


@router.get("/machine/{machine_id}/measure/{kind}")
def show_make(request: Request, machine_id: str, kind: str, desk: AtDesk, lens: str = "") -> Response:
    """Say what a card tells and what it needs."""
    return page(request, "machine_make.html", _make_page(desk, machine_id, _kind(kind), lens=lens), tab=TAB)


@router.post("/machine/{machine_id}/measure/{kind}")
def make(request: Request, machine_id: str, kind: str, desk: AtDesk, sent: Form) -> Response:
    """Make a card and lead to its sheet."""
    try:
        card_id = make_machine_card(
            desk.book,
            machine_id,
            _kind(kind),
            wood_id=sent.text("wood"),
            lens_name=sent.text("lens") or None,
            page=sent.text("paper") or "A4",
            now=desk.now(),
        )
    except (InvalidInput, NotFound) as error:
        fields = told(error).fields or {"wood": error.message}
        context = _make_page(desk, machine_id, _kind(kind), sent=sent, errors=fields, hint=error.hint)
        return page(request, "machine_make.html", context, tab=TAB, status=422)
    return go(urls.machine_card(card_id))


def _make_page(
    desk: AtDesk,
    machine_id: str,
    kind: CardKind,
    *,
    lens: str = "",
    sent: Sent | None = None,
    errors: Mapping[str, str] | None = None,
    hint: str = "",
) -> MakePage:
    machine = _machine(desk, machine_id)
    woods = card_woods(desk.book)
    even = next((i for i in ("hard-maple", "beech", "birch-plywood") if i in dict(woods)), "")
    chosen = sent.text("wood") if sent else even
    return MakePage(
        kind=kind,
        title=TITLES[kind],
        machine=machine,
        woods=woods if not woods or chosen in dict(woods) else (("", "choose"), *woods),
        lenses=tuple((one.name, one.name) for one in machine.lenses),
        wood=chosen,
        lens=sent.text("lens") if sent else lens or machine.lenses[0].name,
        paper=sent.text("paper") if sent else "A4",
        errors=errors or {},
        hint=hint,
        cards=tuple(c for c in machine.cards if c.kind == kind),
        cautions=cautions_for(decision="card"),
    )


# ---- its sheet ---------------------------------------------------------------------------------------------------


@router.get("/machine-cards/{card_id}")
def show(request: Request, card_id: int, desk: AtDesk) -> Response:
    """Show a card: what to do at the machine, and what came of it."""
    return _shown(request, desk, card_id)


@router.post("/machine-cards/{card_id}")
def learn(request: Request, card_id: int, desk: AtDesk, sent: Form) -> Response:
    """Fit what was taken down; photographs are read as long work, times alone at once."""
    card = machine_card_of(desk.book, card_id)
    now = desk.now()
    try:
        photographs = _photographs(desk, sent)
        if card.kind == "beam":
            demand_some(photographs)

            def read_ladder(progress: Progress) -> None:
                learn_ladder(desk.book, card_id, photographs, now=now, progress=progress, run=desk.run)

            return _begin(desk, "Reads the ladder and fits the beam", read_ladder, card_id)
        taken_down = _told(card, sent, photographs)
        if photographs:

            def read_card(progress: Progress) -> None:
                learn_stopwatch(desk.book, card_id, taken_down, now=now, progress=progress, run=desk.run)

            return _begin(desk, "Reads the strokes and fits how the head moves", read_card, card_id)
        learn_stopwatch(desk.book, card_id, taken_down, now=now)
    except (InvalidInput, UnreadableFile) as error:
        fields = error.fields if isinstance(error, InvalidInput) else {"photographs": error.message}
        return _shown(request, desk, card_id, sent=sent, errors=_at_takes(fields), hint=error.hint)
    return go(f"{urls.machine_card(card_id)}#result")


@router.post("/machine-cards/{card_id}/take")
def take(card_id: int, desk: AtDesk, sent: Form) -> Response:
    """Let the machine take over what the card told."""
    saved = take_measured(desk.book, card_id, version=sent.whole("version"), now=desk.now())
    return changed(urls.machine(str(saved.key)), saved)


@router.get("/machine-cards/{card_id}/files/{name}")
def give(card_id: int, name: str, desk: AtDesk) -> Response:
    """Give a file of a card; pictures are shown, the rest is saved."""
    data, media_type = file_of_card(desk.book, card_id, name)
    return kept_file(data, name=name, media_type=media_type, save=False)


@router.get("/machine-cards/{card_id}/card-{number}.zip")
def give_all(card_id: int, number: int, desk: AtDesk) -> Response:
    """Give all that is needed to burn a card."""
    if number != card_id:
        raise NotFound("there is no such file")
    headers = {"content-disposition": f'attachment; filename="evenburn-card-{card_id}.zip"'}
    return Response(packed_card(desk.book, card_id), media_type="application/zip", headers=headers)


def _begin(desk: AtDesk, title: str, do: Any, card_id: int) -> Response:
    job = desk.work.begin(title, do, goes_to=f"{urls.machine_card(card_id)}#result")
    return go(urls.work(job.id))


def _photographs(desk: AtDesk, sent: Sent) -> tuple[Photograph, ...]:
    """Return the photographs that were chosen: sent here, and delivered by a phone before."""
    ids = [key.removeprefix("delivered-") for key in sent.values if key.startswith("delivered-")]
    earlier = [photograph_data(desk.book, int(i)) for i in ids if i.isdecimal() and len(i) < 10]
    return (
        *(Photograph(name=name, data=data) for name, data in earlier),
        *(Photograph(name=one.name, data=one.data) for one in sent.files.get("photographs", ())),
    )


def _takes_of(raster: Mapping[str, Any]) -> int:
    """Return how often a program is timed: what burns the scrap only once, for a second time would spoil it."""
    return 1 if raster.get("burns") else TAKES


def _told(card: MachineCard, sent: Sent, photographs: tuple[Photograph, ...]) -> StopwatchTold:
    """Return what was taken down; InvalidInput with every field that is no number."""
    wrong: dict[str, str] = {}
    times: list[tuple[str, float]] = []
    lines_up: dict[str, float] = {}
    for raster in card.document["rasters"]:
        for number in range(1, TAKES + 1):
            name = f"time-{raster['id']}-{number}"
            if sent.text(name):
                with gathering(wrong):
                    times.append((raster["id"], sent.number(name, unit="s")))
    for vernier in card.document["verniers"]:
        name = f"lines_up-{vernier['id']}"
        if sent.text(name):
            with gathering(wrong):
                lines_up[vernier["id"]] = sent.number(name)
    if wrong:
        raise InvalidInput(wrong)
    return StopwatchTold(times=tuple(times), lines_up=lines_up, photographs=photographs)


def _at_takes(errors: Mapping[str, str]) -> dict[str, str]:
    """Return errors at the fields of the sheet: time[1] stands at the first take of raster 1."""
    found: dict[str, str] = {}
    for where, text in errors.items():
        at = where
        if where.startswith("time["):
            at = f"time-{where[5:-1]}-1"
        elif where.startswith("lines_up["):
            at = f"lines_up-{where[9:-1]}"
        found.setdefault(at, text)
    return found


def _shown(
    request: Request,
    desk: AtDesk,
    card_id: int,
    *,
    sent: Sent | None = None,
    errors: Mapping[str, str] | None = None,
    hint: str = "",
) -> Response:
    card = machine_card_of(desk.book, card_id)
    machine = _machine(desk, card.machine_id)
    lens = next((one for one in machine.lenses if one.name == card.lens_name), None)
    rows = _takes(card, sent)
    changes: tuple[ChangeRow, ...] = ()
    gone = ""
    try:
        changes = tuple(
            ChangeRow(
                name=d.form.name,
                before=shown(d.form, d.before),
                after=shown(d.form, d.after, sd=d.sd),
                kind=d.kind,
                taken=d.taken,
            )
            for d in differences(desk.book, card_id)
        )
    except InvalidInput as error:
        gone = next(iter(error.fields.values()))
    context = CardPage(
        title=TITLES[card.kind],
        card=card,
        fault=fault_of_machine_card(desk.book, card_id),
        machine=machine,
        cautions=cautions_for(decision="card", wavelength_um=(lens or machine.lenses[0]).wavelength_um),
        while_timing=tuple(one for one in cautions_for(decision="stopwatch") if "card" not in one.at),
        lens_number=0 if lens is None else lens.number,
        focus_stand_off_mm=focus_stand_off_mm(desk.book, card_id),
        corner_mm=tuple(card.document["card"]["origin_bed_mm"]),
        size_mm=tuple(card.document["card"]["size_mm"]),
        takes=tuple(r for r in rows if r.id != "card"),
        card_take=next((r for r in rows if r.id == "card"), None),
        verniers=_verniers(card, sent),
        set_ups=set_ups_of(desk.book, card_id) if card.kind == "beam" else (),
        delivered=delivered_photographs(desk.book, card_id),
        changes=changes,
        all_taken=bool(changes) and all(c.taken for c in changes),
        gone_lens=gone,
        fitted_on=card.told[0].date if card.told else "",
        detail=card.told[0].detail if card.told else "",
        pictures=_pictures(desk, card),
        errors=errors or {},
        hint=hint,
        known=(
            "photographs",
            *(name for r in rows for name, _ in r.takes),
            *(f"lines_up-{v['id']}" for v in card.document.get("verniers", ())),
        ),
        vernier=vernier_drawing(),
    )
    template = "machine_stopwatch.html" if card.kind == "motion" else "machine_ladder.html"
    return page(request, template, context, tab=TAB, status=422 if errors else 200)


def _takes(card: MachineCard, sent: Sent | None) -> tuple[TakeRow, ...]:
    """Return the programs to be timed, with what was typed, else with the times of the newest result."""
    known: dict[str, list[float]] = {}
    doubtful: set[str] = set()
    for one in (card.result or {}).get("times", []) if card.kind == "motion" else []:
        known.setdefault(one["id"], []).append(one["measured_s"])
        if one["doubtful"]:
            doubtful.add(one["id"])
    rows = []
    for raster in card.document.get("rasters", ()):
        takes = []
        for number in range(1, _takes_of(raster) + 1):
            name = f"time-{raster['id']}-{number}"
            before = known.get(raster["id"], [])
            value = f"{before[number - 1]:g}" if number <= len(before) else ""
            takes.append((name, value if sent is None else sent.text(name)))
        rows.append(
            TakeRow(
                id=raster["id"],
                program=raster["program"],
                name=raster["name"],
                says=f"{raster['strokes']} {'lines' if raster.get('burns') else 'strokes'} along {raster['axis']}",
                expected_s=raster["expected_s"],
                takes=tuple(takes),
                doubtful=raster["id"] in doubtful,
            )
        )
    return tuple(rows)


def _verniers(card: MachineCard, sent: Sent | None) -> tuple[VernierRow, ...]:
    seen = {
        s["vernier"]: s
        for s in ((card.result or {}).get("shifts", []) if card.kind == "motion" else [])
        if s["by"] == "eye"
    }
    rows = []
    for vernier in card.document.get("verniers", ()):
        name = f"lines_up-{vernier['id']}"
        known = seen.get(vernier["id"])
        value = "" if known is None else f"{known['shift_mm'] / vernier['step_mm']:g}"
        rows.append(
            VernierRow(
                field=name,
                name=vernier["id"],
                speed_mm_per_s=vernier["speed_mm_per_s"],
                value=value if sent is None else sent.text(name),
            )
        )
    return tuple(rows)


def _pictures(desk: AtDesk, card: MachineCard) -> tuple[tuple[str, str], ...]:
    """Return the pictures of a result: name of the file, and what it shows."""
    wished = (
        ("reading.png", "The first photograph, with what was found and read drawn on it."),
        ("beam.png", "Radius of the beam against the stand-off: each set-up with its doubt, and the fit."),
    )
    found = []
    for name, says in wished:
        try:
            file_of_card(desk.book, card.card_id, name)
        except NotFound:
            continue
        found.append((name, says))
    return tuple(found)


def _kind(text: str) -> CardKind:
    if text == "motion":
        return "motion"
    if text == "beam":
        return "beam"
    raise NotFound("there is no such measurement", hint="There are the stopwatch and the focus ladder.")


def _machine(desk: AtDesk, machine_id: str) -> MachinePage:
    found = machine_of(desk.book, machine_id)
    if found is None:
        raise NotFound("that machine is not in the book")
    return found
