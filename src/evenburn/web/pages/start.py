"""The first start: a book with nothing in it takes the demo batch in, if a person likes."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from evenburn.services.book.begin import begin_with_demo
from evenburn.web import urls
from evenburn.web.desk import AtDesk
from evenburn.web.forms import Form
from evenburn.web.render import go
from evenburn.web.work import Progress

router = APIRouter()
DEMO = "Taking the demo batch in"


@router.post("/begin/demo")
def take_demo_in(desk: AtDesk, sent: Form) -> Response:  # noqa: ARG001  # the form's token is looked at
    """Take the demo batch in and plan it, unless that is under way."""
    under_way = desk.work.under_way()
    if under_way is not None and under_way.title == DEMO:
        return go(urls.work(under_way.id))

    def take_in(progress: Progress) -> None:
        begin_with_demo(desk.book, now=desk.now(), progress=progress, run=desk.run)

    return go(urls.work(desk.work.begin(DEMO, take_in, goes_to=urls.today()).id))
