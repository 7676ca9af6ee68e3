"""Settings: units, when the bench opens, how long a change-over takes, light or dark; and the way to backups and changes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.services.book.settings import change_settings, check_settings
from evenburn.web import urls
from evenburn.web.desk import AtDesk, preferences
from evenburn.web.figures import trimmed
from evenburn.web.forms import Form, gathering
from evenburn.web.render import LOOK_COOKIE, LOOK_OF, YEAR_s, go, page

router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsPage:
    """The settings, as they stand or as they were entered."""

    values: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    book_name: str
    kept: bool = False


@router.get("/settings")
def show(request: Request, desk: AtDesk, kept: str = "") -> Response:
    """Show the settings."""
    now = preferences()
    values = {
        "units": now.units,
        "starts_at": now.starts_at,
        "change_over_min": trimmed(now.change_over_min, 2),
        "theme": now.theme,
    }
    context = SettingsPage(values=values, book_name=desk.book.name, kept=kept == "yes")
    return page(request, "settings.html", context, tab="settings")


@router.post("/settings")
def keep(request: Request, desk: AtDesk, sent: Form) -> Response:
    """Keep the settings, all or none."""
    wrong: dict[str, str] = {}
    changes: dict[str, Any] = {name: sent.text(name) for name in ("units", "starts_at", "theme")}
    with gathering(wrong):
        changes["change_over_min"] = sent.number("change_over_min", unit="min")
    wrong |= check_settings(desk.book, changes)
    if wrong:
        context = SettingsPage(values=sent.values, errors=wrong, book_name=desk.book.name)
        return page(request, "settings.html", context, tab="settings", status=422)
    change_settings(desk.book, changes)
    answer = go(urls.with_query(urls.settings(), kept="yes"))
    answer.set_cookie(LOOK_COOKIE, LOOK_OF[changes["theme"]], httponly=True, samesite="strict", max_age=YEAR_s)
    return answer
