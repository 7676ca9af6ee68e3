"""Long work: what is being done, how far, how long still, and a button that stops it."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.core.nouns.cautions import Caution, cautions_for
from evenburn.web import urls
from evenburn.web.desk import AtDesk
from evenburn.web.forms import Form
from evenburn.web.render import go, page
from evenburn.web.work import Job

router = APIRouter()
FILES = ((".pdf", "run sheet"), (".zip", "programs"))


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkPage:
    """A piece of work as it stands; `hands_over` says what file it ends in, "" where it ends in a page.

    `cautions` hold before the programs of a batch are burnt, whatever lens each of them is for.
    """

    job: Job
    hands_over: str
    cautions: tuple[Caution, ...] = cautions_for(decision="burn")


@router.get("/work/{job_id}")
def show(request: Request, job_id: int, desk: AtDesk) -> Response:
    """Show how far it is; when it is done, lead on to what came of it, or hand the file over that did."""
    job = desk.work.job(job_id)
    if job.state == "done" and not _file(job):
        return go(job.goes_to)
    status = job.failed.status if job.failed is not None else 200
    return page(request, "work.html", WorkPage(job=job, hands_over=_file(job)), status=status)


def _file(job: Job) -> str:
    """Return what is handed over; a browser that was led straight to a file would leave the page as it stood before."""
    return next((name for end, name in FILES if job.goes_to.endswith(end)), "")


@router.get("/work/{job_id}/part")
def part(request: Request, job_id: int, desk: AtDesk) -> Response:
    """Return the part of the page that changes; when nothing more will, have the browser load the page anew."""
    job = desk.work.job(job_id)
    leads_on = job.state == "done" and not _file(job)
    headers = {"HX-Redirect": job.goes_to if leads_on else urls.work(job_id)} if job.over() else None
    return page(request, "work_part.html", WorkPage(job=job, hands_over=_file(job)), headers=headers)


@router.get("/work/{job_id}/line")
def line(request: Request, job_id: int, desk: AtDesk) -> Response:
    """Return the one line that other pages show; when nothing more will change, have the browser load that page anew."""
    job = desk.work.job(job_id)
    return page(
        request,
        "work_line.html",
        WorkPage(job=job, hands_over=_file(job)),
        headers={"HX-Refresh": "true"} if job.over() else None,
    )


@router.post("/work/{job_id}/stop")
def stop(job_id: int, desk: AtDesk, sent: Form) -> Response:  # noqa: ARG001  # the form's token is looked at
    """Ask it to stop."""
    desk.work.stop(job_id)
    return go(urls.work(job_id))
