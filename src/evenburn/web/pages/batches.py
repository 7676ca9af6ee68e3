"""Batches: the list of them, and a new one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.core.errors import InvalidInput
from evenburn.services.book.batches import (
    BatchKept,
    MachineChoice,
    NewBatch,
    list_batches,
    machine_choices,
    new_batch,
)
from evenburn.services.book.settings import change_settings
from evenburn.web import urls
from evenburn.web.desk import AtDesk
from evenburn.web.forms import Form
from evenburn.web.render import changed, go, page

router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchesPage:
    """All batches."""

    batches: tuple[BatchKept, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NewBatchPage:
    """The form of a new batch, with what was entered."""

    machines: tuple[MachineChoice, ...]
    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)


@router.get("/batches")
def show(request: Request, desk: AtDesk) -> Response:
    """List all batches."""
    return page(request, "batches.html", BatchesPage(batches=list_batches(desk.book)), tab="today")


@router.get("/batches/new")
def new_form(request: Request, desk: AtDesk) -> Response:
    """Show the form of a new batch."""
    return page(request, "batch_new.html", NewBatchPage(machines=machine_choices(desk.book)), tab="today")


@router.post("/batches/new")
def begin(request: Request, desk: AtDesk, sent: Form) -> Response:
    """Begin a batch, and let Today show it."""
    machine_id, _, lens = sent.text("lens").partition("/")
    wish = NewBatch(name=sent.text("name"), subtitle=sent.text("subtitle"), machine_id=machine_id, lens=lens)
    try:
        saved = new_batch(desk.book, wish, now=desk.now())
    except InvalidInput as error:
        errors = {("lens" if where == "machine" else where): text for where, text in error.fields.items()}
        context = NewBatchPage(machines=machine_choices(desk.book), values=sent.values, errors=errors)
        return page(request, "batch_new.html", context, tab="today", status=422)
    change_settings(desk.book, {"batch_id": saved.key})
    return changed(urls.today(), saved)


@router.post("/batches/choose")
def choose(desk: AtDesk, sent: Form) -> Response:
    """Let Today show a batch from here on."""
    change_settings(desk.book, {"batch_id": sent.text("batch_id")})
    return go(urls.today())
