"""Long work: done beside the pages, one thing at a time, told with what is left of it, and stopped when a person asks."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import count
from time import monotonic
from typing import Literal

from evenburn.core.errors import EvenburnError, NotFound
from evenburn.web.errors import Told, told

State = Literal["waiting", "working", "done", "stopped", "failed"]
Progress = Callable[[str, int, int], None]
KEPT = 50  # pieces of work that are remembered after they ended


class Stopped(EvenburnError):
    """A person asked that this work be stopped."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A piece of work as it stands: what is being done, how far, and what came of it."""

    id: int
    title: str
    state: State
    doing: str
    done: int
    of: int
    left_s: float | None
    goes_to: str
    failed: Told | None

    def over(self) -> bool:
        """Return whether nothing more will happen."""
        return self.state in {"done", "stopped", "failed"}


class Work:
    """All the long work of one program."""

    def __init__(self) -> None:
        self._jobs: dict[int, Job] = {}
        self._stop: set[int] = set()
        self._lock = threading.Lock()
        self._turn = threading.Lock()
        self._ids = count(1)

    def begin(self, title: str, do: Callable[[Progress], None], *, goes_to: str) -> Job:
        """Begin a piece of work after those that wait already.

        Parameters
        ----------
        do : does it, and tells its progress; an EvenburnError becomes what the page says.
        goes_to : address of the page that shows what came of it.
        """
        job = Job(
            id=next(self._ids),
            title=title,
            state="waiting",
            doing="waits for the work before it",
            done=0,
            of=0,
            left_s=None,
            goes_to=goes_to,
            failed=None,
        )
        with self._lock:
            self._jobs[job.id] = job
            for old in [i for i, j in self._jobs.items() if j.over()][:-KEPT]:
                del self._jobs[old]
        threading.Thread(target=self._run, args=(job.id, do), daemon=True, name=f"work {job.id}").start()
        return job

    def job(self, job_id: int) -> Job:
        """Return a piece of work as it stands now; NotFound if it is not remembered."""
        with self._lock:
            found = self._jobs.get(job_id)
        if found is None:
            raise NotFound(
                "this work is not under way", hint="evenburn was opened anew since; look whether it is done."
            )
        return found

    def under_way(self) -> Job | None:
        """Return what is being worked on or waits, the oldest first; None where nothing is."""
        with self._lock:
            return next((job for job in self._jobs.values() if not job.over()), None)

    def stop(self, job_id: int) -> None:
        """Ask that a piece of work be stopped; it ends at its next step, and what it kept before stays."""
        self.job(job_id)
        self._stop.add(job_id)

    def stop_all(self) -> None:
        """Ask everything to stop."""
        with self._lock:
            self._stop.update(self._jobs)

    def wait(self, most_s: float) -> None:
        """Wait until nothing is under way, but no longer than stated; work that goes on is cut off with the program."""
        if self._turn.acquire(timeout=most_s):
            self._turn.release()

    def _run(self, job_id: int, do: Callable[[Progress], None]) -> None:
        with self._turn:
            began_s = monotonic()

            def progress(doing: str, done: int, of: int) -> None:
                if job_id in self._stop:
                    raise Stopped("stopped by hand")
                left_s = (monotonic() - began_s) * (of - done) / done if done else None
                self._set(job_id, state="working", doing=doing, done=done, of=of, left_s=left_s)

            try:
                progress("begins", 0, 0)
                do(progress)
            except Exception as error:  # noqa: BLE001  # whatever it is, the page has to say so
                if job_id in self._stop:  # what ends a job that was stopped is the stopping, whatever it is called
                    self._set(job_id, state="stopped", left_s=None)
                else:
                    self._set(job_id, state="failed", left_s=None, failed=told(error))
            else:
                self._set(job_id, state="done", left_s=None)

    def _set(self, job_id: int, **changes: object) -> None:
        with self._lock:
            self._jobs[job_id] = replace(self._jobs[job_id], **changes)  # type: ignore[arg-type]
