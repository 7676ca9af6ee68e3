"""Planning a piece beside the pages: begun at once after a change, waited for while that is short, shown on its sheet otherwise."""

from __future__ import annotations

from time import monotonic, sleep
from weakref import WeakKeyDictionary

from evenburn.core.errors import NotFound
from evenburn.services.book.plan_piece import plan_piece
from evenburn.web import urls
from evenburn.web.desk import Desk
from evenburn.web.work import Job, Progress, Work

SHORT_s = 2.5  # so long a person waits for a button without wondering
LOOK_AGAIN_s = 0.03
_jobs: WeakKeyDictionary[Work, dict[int, int]] = WeakKeyDictionary()  # piece → number of the job that plans it


def plan_beside(desk: Desk, piece_id: int, *, name: str, wait_s: float = SHORT_s) -> Job:
    """Plan a piece as it stands now, in place of what is still being planned of it, and return how far that is."""
    before = job_of(desk, piece_id)
    if before is not None and not before.over():
        desk.work.stop(before.id)
    now = desk.now()

    def do(progress: Progress) -> None:
        plan_piece(desk.book, piece_id, now=now, progress=progress, run=desk.run)

    job = desk.work.begin(f"Planning “{name}”", do, goes_to=urls.piece(piece_id))
    _jobs.setdefault(desk.work, {})[piece_id] = job.id
    ends = monotonic() + wait_s
    while not desk.work.job(job.id).over() and monotonic() < ends:
        sleep(LOOK_AGAIN_s)
    return desk.work.job(job.id)


def job_of(desk: Desk, piece_id: int) -> Job | None:
    """Return the last planning of a piece that this program began, None where there was none or it is forgotten."""
    number = _jobs.get(desk.work, {}).get(piece_id)
    if number is None:
        return None
    try:
        return desk.work.job(number)
    except NotFound:
        return None
