"""The list of woods, and the forms that put one in or change what is told of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.core.errors import ChangedMeanwhile, InvalidInput, NotFound
from evenburn.core.nouns.cautions import Caution, cautions_for
from evenburn.services.book.change_wood import SURFACES, Begins, NewWood, change_wood, new_wood
from evenburn.services.book.woods_of import WoodList, WoodTold, begins_with, list_woods, told_of_wood
from evenburn.web import urls
from evenburn.web.desk import AtDesk
from evenburn.web.forms import Form, Sent, gathering, page_number
from evenburn.web.meanwhile import Meanwhile, meanwhile_of
from evenburn.web.pages.wood import none_wrong
from evenburn.web.render import changed, page

router = APIRouter()
SURFACE_CHOICES = tuple((s, s) for s in SURFACES)
CAUTIONS = cautions_for(decision="wood")
FIELDS = ("called", "of", "begins", "name", "surface", "cut_J_per_mm3", "confirmed_by", "confirmed")


@dataclass(frozen=True, slots=True, kw_only=True)
class WoodsPage:
    """The woods of the book."""

    woods: WoodList
    page_address: Callable[..., str]


@dataclass(frozen=True, slots=True, kw_only=True)
class NewWoodPage:
    """The form for a wood that is not in the book yet; `of_choices` are what it may begin with, in groups."""

    values: Mapping[str, str]
    of_choices: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    materials: tuple[tuple[str, str, str], ...]
    cautions: tuple[Caution, ...] = CAUTIONS
    surfaces: tuple[tuple[str, str], ...] = SURFACE_CHOICES
    fields: tuple[str, ...] = FIELDS
    errors: Mapping[str, str] = field(default_factory=dict)
    hint: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeWoodPage:
    """The form for what is told of a wood."""

    wood_id: str
    title: str
    values: Mapping[str, str]
    version: int
    cautions: tuple[Caution, ...] = CAUTIONS
    surfaces: tuple[tuple[str, str], ...] = SURFACE_CHOICES
    fields: tuple[str, ...] = FIELDS
    errors: Mapping[str, str] = field(default_factory=dict)
    hint: str = ""
    meanwhile: Meanwhile | None = None


@router.get("/woods")
def show(request: Request, desk: AtDesk) -> Response:
    """List the woods."""
    search = request.query_params.get("search", "")[:120].strip()
    found = list_woods(desk.book, search=search, page=page_number(request))
    return page(
        request,
        "woods.html",
        WoodsPage(woods=found, page_address=partial(urls.woods, search=search or None)),
        tab="woods",
    )


@router.get("/woods/new")
def ask_new(request: Request, desk: AtDesk) -> Response:
    """Ask for a new wood."""
    lot = request.query_params.get("lot", "")[:64]
    values = {"of": f"lot:{lot}"} if lot else {}
    return _new_page(request, desk, values)


@router.post("/woods/new")
def put_in(request: Request, desk: AtDesk, sent: Form) -> Response:
    """Put a wood in, or show the form again with what is wrong."""
    wrong: dict[str, str] = {}
    kind, _, of = sent.text("of").partition(":")
    if kind not in ("ship", "lot") or not of:
        wrong["of"] = "choose what it begins with"
    begins: Begins = "lot" if kind == "lot" else "like" if sent.text("begins") == "like" else "same"
    if kind == "ship" and sent.text("begins") not in ("same", "like"):
        wrong["begins"] = "choose one; where you do not know what the boards are, they are another wood"
    cut = _cut(sent, wrong)
    confirmed_by = _confirmed_by(sent, wrong)
    try:
        wish = NewWood(
            called=sent.text("called"),
            begins=begins,
            of=of,
            surface=sent.text("surface") or None,
            cut_J_per_mm3=cut,
            confirmed_by=confirmed_by,
        )
        saved = new_wood(desk.book, wish, now=desk.now(), wrong_already=wrong)
    except InvalidInput as error:
        return _new_page(request, desk, sent.values, errors=error.fields, hint=error.hint)
    except NotFound as error:
        return _new_page(request, desk, sent.values, errors={**wrong, "of": error.message}, hint=error.hint)
    return changed(urls.wood(str(saved.key)), saved)


@router.get("/woods/{wood_id}/change")
def ask_change(request: Request, wood_id: str, desk: AtDesk) -> Response:
    """Show what is told of a wood, to be changed."""
    told = told_of_wood(desk.book, wood_id)
    values = {**told.values, "version": str(told.version)}
    return page(
        request,
        "wood_change.html",
        ChangeWoodPage(wood_id=wood_id, title=told.called, values=values, version=told.version),
        tab="woods",
    )


@router.post("/woods/{wood_id}/change")
def keep_change(request: Request, wood_id: str, desk: AtDesk, sent: Form) -> Response:
    """Keep what is told of a wood, or show the form again with what is wrong."""
    wrong: dict[str, str] = {}
    version = sent.whole("version")
    told = told_of_wood(desk.book, wood_id)
    changes = {
        "called": sent.text("called"),
        "name": sent.text("name").lower(),
        "surface": sent.text("surface"),
        "cut_J_per_mm3": _cut(sent, wrong),
    }
    if not _confirmed_as_before(sent, told):
        changes["confirmed_by"] = _confirmed_by(sent, wrong, told)
    try:
        none_wrong(wrong)
        saved = change_wood(desk.book, wood_id, changes, version=version, now=desk.now())
    except InvalidInput as error:
        context = ChangeWoodPage(
            wood_id=wood_id,
            title=told.called,
            values=sent.values,
            version=version,
            errors=error.fields,
            hint=error.hint,
        )
        return page(request, "wood_change.html", context, tab="woods", status=422)
    except ChangedMeanwhile as error:
        context = ChangeWoodPage(
            wood_id=wood_id,
            title=told.called,
            values=sent.values,
            version=told.version,
            meanwhile=meanwhile_of(desk, error, key=wood_id, version=version, sent=sent),
        )
        return page(request, "wood_change.html", context, tab="woods", status=409)
    return changed(urls.wood(wood_id), saved)


def _confirmed_as_before(sent: Sent, told: WoodTold) -> bool:
    """Return whether somebody confirmed it who is still named, and it is still the board they confirmed."""
    kept = all(_said(sent.text(key)) == _said(told.values[key]) for key in ("called", "name", "surface"))
    return kept and bool(told.values["confirmed_by"]) and sent.text("confirmed_by") == told.values["confirmed_by"]


def _said(words: str) -> str:
    return " ".join(words.split()).casefold()


def _confirmed_by(sent: Sent, wrong: dict[str, str], told: WoodTold | None = None) -> str | None:
    """Return who answers for a doubtful material: a name and a tick, or neither; what they said before counts for no other."""
    name, ticked = sent.text("confirmed_by"), bool(sent.text("confirmed"))
    if name and not ticked and told is not None and name == told.values["confirmed_by"]:
        wrong["confirmed"] = (
            f"{name} made sure of “{told.called}”; tick this if also of what it is now, or empty the name"
        )
    elif name and not ticked:
        wrong["confirmed"] = "tick this, or leave the name out"
    elif ticked and not name:
        wrong["confirmed_by"] = "is empty; write who made sure of it"
    return name or None


def _cut(sent: Sent, wrong: dict[str, str]) -> float | None:
    told = None
    if sent.text("cut_J_per_mm3"):
        with gathering(wrong):
            told = sent.number("cut_J_per_mm3", unit="J/mm³")
    return told


def _new_page(
    request: Request,
    desk: AtDesk,
    values: Mapping[str, str],
    *,
    errors: Mapping[str, str] | None = None,
    hint: str = "",
) -> Response:
    begins = begins_with(desk.book)
    context = NewWoodPage(
        values=values,
        of_choices=begins.choices,
        materials=begins.materials,
        errors=errors or {},
        hint=hint,
    )
    return page(request, "wood_new.html", context, tab="woods", status=422 if errors else 200)
