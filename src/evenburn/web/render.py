"""Turn a page's context into HTML: one environment, one way to answer, one line of undo after a change."""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from evenburn.core.errors import EvenburnError
from evenburn.services.book.saved import Saved
from evenburn.services.book.undo import EditLine, edit_line
from evenburn.web import figures, urls
from evenburn.web.desk import Desk, preferences
from evenburn.web.errors import told
from evenburn.web.guard import TOKEN_COOKIE, TOKEN_FIELD, token_of
from evenburn.web.unsound import reason

LOOK_COOKIE = "evenburn_look"
LOOKS = ("as the system", "light", "dark")
LOOK_OF = {"system": "as the system", "light": "light", "dark": "dark"}
YEAR_s = 365 * 24 * 3600
NOT_FOUND = 404
ORDER = ("today", "pieces", "woods", "machine", "shelf", "logbook")  # of the tabs, whatever the order they came in
TABS = (
    ("today", "Today", urls.today),
    ("pieces", "Pieces", urls.pieces),
    ("woods", "Woods", urls.woods),
    ("machine", "Machine", urls.machine),
    ("shelf", "Shelf", urls.shelf),
    ("logbook", "Logbook", urls.logbook),
)

_environment: list[Environment] = []


def environment() -> Environment:
    """Return the one environment, made when the first page is asked for."""
    if not _environment:
        made = Environment(
            loader=PackageLoader("evenburn.web", "templates"),
            autoescape=select_autoescape(default=True, default_for_string=True),
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        made.globals |= {"urls": urls, "length_unit": figures.length_unit, "speed_unit": figures.speed_unit}
        for name in (
            *("fixed", "trimmed", "mm", "spacing", "offset", "power", "speed", "tone", "duration", "words", "many"),
            *("size", "entry", "speed_entry", "short_date", "short_duration"),
            *("sentence", "clock", "weekday", "day", "short_day", "tone_colour", "unbroken"),
        ):
            made.filters[name] = getattr(figures, name)
        made.filters["json"] = lambda value: json.dumps(value, ensure_ascii=False)  # escaped as any other text
        _environment.append(made)
    return _environment[0]


def page(
    request: Request,
    template: str,
    context: Any,
    *,
    tab: str = "",
    status: int = 200,
    headers: dict[str, str] | None = None,
) -> HTMLResponse:
    """Return a page from its frozen context.

    Parameters
    ----------
    context : a frozen dataclass; its fields are the template's names.
    tab : key of the index tab the page stands behind; "" for none.
    """
    values = {f.name: getattr(context, f.name) for f in fields(context)} if is_dataclass(context) else {}
    token = token_of(request.cookies)
    text = (
        environment()
        .get_template(template)
        .render(
            **values,
            tab=tab,
            tabs=[(key, name, address()) for key, name, address in sorted(TABS, key=lambda tab: ORDER.index(tab[0]))],
            token=token,
            token_field=TOKEN_FIELD,
            look=_look(request),
            looks=LOOKS,
            here=here(request),
            saved=_edit(request, "saved"),
            undone=_edit(request, "undone"),
        )
    )
    answer = HTMLResponse(text, status_code=status, headers=headers)
    if request.cookies.get(TOKEN_COOKIE) != token:
        answer.set_cookie(TOKEN_COOKIE, token, httponly=True, samesite="strict", max_age=YEAR_s)
    return answer


def here(request: Request) -> str:
    """Return the address of the page that was asked for, without the line of undo; where forms lead back to."""
    query = {k: v for k, v in request.query_params.items() if k not in ("saved", "undone")}
    return urls.with_query(request.url.path, **query)


def _look(request: Request) -> str:
    """Return light, dark or as the system: what this browser chose, else what the book says."""
    chosen = request.cookies.get(LOOK_COOKIE)
    if chosen in LOOKS:
        return chosen
    try:
        return LOOK_OF[preferences().theme]
    except EvenburnError:
        return LOOKS[0]  # the page may be the one that says why the book cannot be read


def _edit(request: Request, name: str) -> EditLine | None:
    """Return the change that a page is to tell of, None where it tells of none or the book does not know it."""
    number = request.query_params.get(name, "")
    desk = request.app.state.desk if "app" in request.scope else None
    if not number.isdecimal() or not number.isascii() or len(number) > 9 or not isinstance(desk, Desk):
        return None
    try:
        return edit_line(desk.book, int(number))
    except EvenburnError:
        return None


def changed(address: str, saved: Saved) -> RedirectResponse:
    """Return an answer that leads on after a change, to a page with a line that says what was done and offers undo."""
    return go(urls.telling(address, saved=saved.edit_id))


def go(address: str) -> RedirectResponse:
    """Return an answer that leads on to another page after a change."""
    return RedirectResponse(address, status_code=303)


def wants_json(request: Request) -> bool:
    """Return whether an answer is to be JSON: the documented interface, or whoever asks for nothing else."""
    return request.url.path.startswith("/api/") or request.headers.get("accept", "").startswith("application/json")


def error_answer(request: Request, error: Exception) -> Response:
    """Return any error in its one shape, as a page or as JSON; from what an undo took away, lead to the list it stood in."""
    what = told(reason(request, error))
    if wants_json(request):
        return JSONResponse(what.document(), status_code=what.status)
    gone = _edit(request, "undone") if what.status == NOT_FOUND and request.method == "GET" else None
    if gone is not None and gone.undone_at is not None:
        return go(urls.telling(urls.list_of(request.url.path), undone=gone.edit_id))
    return page(request, "error.html", what, status=what.status)
