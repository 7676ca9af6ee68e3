"""Light, dark, or as the system has it: kept in the browser, for a bench in the sun and an office in the evening.

The book remembers the last choice for browsers that made none.
"""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from evenburn.core.errors import InvalidInput
from evenburn.services.book.settings import change_settings
from evenburn.web import urls
from evenburn.web.desk import AtDesk
from evenburn.web.forms import Form
from evenburn.web.render import LOOK_COOKIE, LOOK_OF, LOOKS, YEAR_s, go

router = APIRouter()
THEME_OF = {look: theme for theme, look in LOOK_OF.items()}


@router.post("/look")
def choose(desk: AtDesk, sent: Form) -> Response:
    """Keep the look that was chosen and lead back to where it was chosen."""
    look = sent.text("look")
    if look not in LOOKS:
        raise InvalidInput({"look": f"{look[:40]!r} is none of {', '.join(LOOKS)}"})
    change_settings(desk.book, {"theme": THEME_OF[look]})
    answer = go(urls.own(sent.text("back"), otherwise=urls.today()))
    answer.set_cookie(LOOK_COOKIE, look, httponly=True, samesite="strict", max_age=YEAR_s)
    return answer
