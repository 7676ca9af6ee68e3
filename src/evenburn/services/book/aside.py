"""Heavy work in processes of its own: pages stay quick meanwhile, and the memory it took goes back when it is done.

    run(function, …, progress=progress)     as function(…, progress=progress), wherever it runs

`here` runs it in this process; `Aside` in a second one, kept warm for a while. What it does must be to folders and files: it sees
none of this process's memory, and what it returns is copied.
"""

from __future__ import annotations

import multiprocessing
import threading
import traceback
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Protocol

from evenburn.core.errors import EvenburnError, StorageError
from evenburn.services.progress import Progress, no_progress

AT_ONCE = 2
IDLE_s = 60.0  # so long a process waits for more to do before it ends
LARGEST_MB = 1000.0  # a process that grew larger ends after its work; the next one begins small
END_s = 3.0  # for a process to end by itself when the program is closed
_PICKLED_ERRORS = (EvenburnError, MemoryError)


class Run(Protocol):
    """Runs a function that tells its progress."""

    def __call__(self, function: Callable[..., Any], /, *, progress: Progress, **given: Any) -> Any:
        """Return what the function returns; raises what it raises, and what `progress` raises stops it."""


def here(function: Callable[..., Any], /, *, progress: Progress = no_progress, **given: Any) -> Any:
    """Run a function in this process."""
    return function(**given, progress=progress)


def plainly(*, function: Callable[..., Any], given: dict[str, Any], progress: Progress = no_progress) -> Any:  # noqa: ARG001
    """Run a function that tells no progress, by name and copy as any other."""
    return function(**given)


class Aside:
    """Runs functions in processes of their own, a few at a time."""

    def __init__(self, *, at_once: int = AT_ONCE) -> None:
        self._free = threading.Semaphore(at_once)
        self._lock = threading.Lock()
        self._idle: list[_Hand] = []
        self._all: list[_Hand] = []
        self._closed = False

    def __call__(self, function: Callable[..., Any], /, *, progress: Progress = no_progress, **given: Any) -> Any:
        """Run a function in another process.

        Parameters
        ----------
        function : of a module's top level, and what it is given: both go to the other process by name and copy.

        Raises
        ------
        StorageError
            If the process was ended from outside, as a computer short of memory does.
        """
        with self._free:
            while True:
                hand = self._hand()
                try:
                    return hand.do(function, given, progress=progress)
                except _Gone:
                    continue  # it had waited long enough and was leaving as this came; a new one does it
                finally:
                    self._keep(hand)

    def close(self) -> None:
        """End the processes; what is under way is lost, and nothing of it is kept."""
        with self._lock:
            self._closed = True
            hands, self._all, self._idle = self._all, [], []
        for hand in hands:
            hand.end()

    def _hand(self) -> _Hand:
        with self._lock:
            if self._closed:
                raise StorageError("evenburn is being closed; this was not done")
            while self._idle:
                hand = self._idle.pop()
                if hand.ready():
                    return hand
                self._all.remove(hand)
            hand = _Hand()
            self._all.append(hand)
            return hand

    def _keep(self, hand: _Hand) -> None:
        with self._lock:
            if self._closed:
                return
            if hand.ready():
                self._idle.append(hand)
                return
            self._all.remove(hand)
        hand.end()


class _Gone(Exception):  # nothing went wrong
    """The other process had left before it heard of the work."""


class _Hand:
    """One other process, and the line to it."""

    def __init__(self) -> None:
        spawn = multiprocessing.get_context("spawn")  # forking a process with threads would copy their locks
        self._line, theirs = spawn.Pipe()
        self._process = spawn.Process(target=_work, args=(theirs,), daemon=True, name="evenburn beside")
        self._process.start()
        theirs.close()
        self._worked = False  # whether it has done anything yet; only one that has may have left of itself
        self._leaves = False  # whether it said that it ends

    def ready(self) -> bool:
        """Return whether it can take work."""
        return not self._leaves and self._process.is_alive() and not self._line.poll()

    def do(self, function: Callable[..., Any], given: dict[str, Any], *, progress: Progress) -> Any:
        heard = False
        try:
            self._line.send((function, given))
            stopping: BaseException | None = None
            while True:
                kind, told, self._leaves = self._line.recv()
                heard = True
                if kind == "progress" and stopping is None:
                    try:
                        progress(*told)
                    except BaseException as error:  # noqa: BLE001  # whatever it is, it ends the work there, then comes back here
                        stopping = error
                        self._line.send("stop")
                elif kind == "done":
                    self._worked = True
                    if stopping is not None:
                        raise stopping
                    return told
                elif kind == "failed":
                    raise stopping or told
        except (EOFError, BrokenPipeError, ConnectionResetError) as error:
            self._leaves = True
            self._process.join(END_s)
            if self._worked and not heard:
                raise _Gone from error
            raise StorageError(
                "this computer ended the work before it was done; nothing of it was kept",
                hint="It may be short of memory: close other programs, or plan fewer or smaller marks at once.",
            ) from error

    def end(self) -> None:
        self._process.terminate()
        self._process.join(END_s)
        self._line.close()


# ---- in the other process ----------------------------------------------------------------------------------------


class _StoppedThere(Exception):  # a wish, not an error
    """The one who asked wants no more of it."""


def _work(line: Connection) -> None:
    """Do what comes along the line, until nothing has come for a while, or nobody is at its other end."""
    _leave_interrupts_to_the_one_who_asked()
    try:
        while line.poll(IDLE_s):
            function, given = line.recv()
            answer = _answer(function, given, line)
            leaves = _largest_MB() > LARGEST_MB
            line.send((*answer, leaves))
            if leaves:
                return
    except (EOFError, OSError):
        return


def _answer(function: Callable[..., Any], given: dict[str, Any], line: Connection) -> tuple[str, Any]:
    said = threading.Lock()  # it may tell its progress from several threads

    def progress(doing: str, done: int, of: int) -> None:
        with said:
            if line.poll() and line.recv() == "stop":
                raise _StoppedThere
            line.send(("progress", (doing, done, of), False))

    try:
        return "done", function(**given, progress=progress)
    except _PICKLED_ERRORS as error:
        return "failed", error
    except _StoppedThere:
        return "done", None
    except Exception:  # noqa: BLE001  # not every error can be copied; its words can
        return "failed", RuntimeError(traceback.format_exc())


def _leave_interrupts_to_the_one_who_asked() -> None:
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches all processes of a terminal


def _largest_MB() -> float:  # wears its unit
    """Return the most memory this process has held, 0 where the system does not say.

    Not by `getrusage`: on Linux a new process begins with the figure of the one that began it.
    """
    try:
        with Path("/proc/self/status").open(encoding="ascii", errors="replace") as told:
            line = next((line for line in told if line.startswith("VmHWM:")), "0 0 kB")
    except OSError:  # another system
        return 0.0
    return int(line.split()[1]) / 1024.0
