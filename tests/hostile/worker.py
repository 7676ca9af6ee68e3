"""A process that opens hostile files, one after another, and tells what came of each: `python worker.py`.

It is fenced in: memory has a ceiling, nothing may be connected to, no other program may be started, and what is written
outside the arena, or read from anywhere but the case, the program itself and the little of the system that Python needs, is
told. Libraries in C that open files by themselves pass the fence unseen; the program hands them bytes, not names. Each line of
standard input is a job, each line of the answer what came of it.
"""

from __future__ import annotations

import contextlib
import ctypes
import io
import json
import os
import resource
import shutil
import sys
import sysconfig
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any

CEILING_bytes = 3 * 1024**3  # of memory that the process may ask for; an everyday plan of thousands of names needs less
NO_CALLS = ("socket.connect", "socket.getaddrinfo", "socket.gethostbyname", "socket.sendto", "subprocess.Popen",
            "os.system", "os.exec", "os.posix_spawn", "os.fork", "webbrowser.open")  # fmt: skip
# which of the arguments are paths, and which tell of a folder already open, from where a path is then reckoned
CHANGES = {"os.remove": ((0,), 1), "os.rename": ((0, 1), 2), "os.mkdir": ((0,), 2), "os.rmdir": ((0,), 1),
           "os.link": ((0, 1), 2), "os.symlink": ((1,), 2), "os.truncate": ((0,), None), "shutil.rmtree": ((0,), 1),
           "os.chmod": ((0,), 2), "sqlite3.connect": ((0,), None)}  # fmt: skip
READS = ("os.listdir", "os.scandir")  # and "open", which is `os.open` too
ROOT = Path(__file__).resolve().parents[2]
SCRATCH = os.path.realpath(os.environ.get("TMPDIR", "/" + "tmp"))  # where libraries put passing files
COMPILED = os.environ.get("NUMBA_CACHE_DIR")
# the program, its libraries and its interpreter …
PROGRAM = tuple(
    os.path.realpath(str(place))
    for place in (
        *(place for place in sys.path if place),  # where the interpreter looks for what it loads
        *(sysconfig.get_path(kind) for kind in ("stdlib", "platstdlib", "purelib", "platlib")),
        ROOT / "src",
        ROOT / "tests",
        *([COMPILED] if COMPILED else []),
    )
)
# … and what of the system it may look at; of the process's own folder not `environ`, not `cmdline`
SYSTEM = tuple(
    os.path.realpath(place)
    for place in (
        *("/dev/null", "/dev/urandom", "/dev/zero", "/etc/localtime", "/usr/share/zoneinfo", "/etc/ld.so.cache"),
        *("/lib", "/lib64", "/usr/lib", "/usr/lib64", "/usr/local/lib"),
        *("/proc/cpuinfo", "/proc/meminfo", "/sys/devices/system/cpu"),
        *(f"/proc/self/{name}" for name in ("status", "stat", "statm", "maps", "cgroup", "clear_refs")),
    )
)

WRITTEN = ("/dev/null", *([os.path.realpath(COMPILED)] if COMPILED else []))


def _within(full: str, *places: str) -> bool:
    """Return whether a path is one of some places or lies below it."""
    return any(full == place or full.startswith(place.rstrip("/") + "/") for place in places)


class Fence:
    """What a case tried that no file may make a program try."""

    def __init__(self) -> None:
        self.arena: str | None = None  # None: no case is under way
        self.breaches: list[str] = []

    def hook(self, event: str, args: tuple[Any, ...]) -> None:
        """Note what is asked of the computer; refuse what would leave it."""
        if self.arena is None:
            return
        if event == "subprocess.Popen" and args[0] == sys.executable and args[1][-2].endswith("pdf_child.py"):
            return  # which has a fence of its own
        if event in NO_CALLS:
            self.breaches.append(f"tried {event}")
            raise PermissionError(f"fenced: {event}")
        if event == "open":
            path, mode, flags = args
            writes = any(c in (mode or "") for c in "wax+") or bool(flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT))
            if not (mode is None and _takes_away(sys._getframe(1))):
                self._judge(path, writes=writes)
        elif event in READS:
            self._judge("." if args[0] is None else args[0], writes=False)
        places, opened = CHANGES.get(event, ((), None))
        if opened is not None and len(args) > opened and args[opened] not in (-1, None):
            return  # inside a folder that was judged when it was opened
        for place in places:
            self._judge(args[place], writes=True)

    def _judge(self, path: object, *, writes: bool) -> None:
        if not isinstance(path, str | bytes | os.PathLike) or self.arena is None or path in (":memory:", b":memory:"):
            return
        full = os.path.realpath(os.fsdecode(path))
        if writes:
            compiled = "__pycache__" in full.split("/") and _within(full, *PROGRAM)
            if not (compiled or _within(full, self.arena, SCRATCH, *WRITTEN)):
                self.breaches.append(f"wrote outside: {full}")
        elif full != self.arena and not _within(  # whose own handle is taken to write names through
            full, f"{self.arena}/case", f"{self.arena}/out", SCRATCH, *PROGRAM, *SYSTEM, *STARTED
        ):
            self.breaches.append(f"read outside: {full}")


def _takes_away(frame: FrameType) -> bool:
    """Return whether a folder is being taken away, which was judged as a whole; names in it are told without their folder."""
    return frame.f_code.co_filename == shutil.__file__ and frame.f_code.co_name.startswith("_rmtree")


STARTED = (os.path.realpath(sys.argv[0]),)  # this program as it was started; errors quote its lines
FENCE = Fence()


# ---- coverage, to be guided by -----------------------------------------------------------------------------------


class Seen:
    """Lines of our own code that any case has reached."""

    def __init__(self) -> None:
        self.lines: set[tuple[str, int]] = set()
        self.fresh = 0
        self._ours: dict[str, bool] = {}

    def trace(self, frame: FrameType, event: str, _arg: Any) -> Callable[..., Any] | None:
        """Follow functions of the program, and no others."""
        name = frame.f_code.co_filename
        ours = self._ours.get(name)
        if ours is None:
            ours = self._ours[name] = "evenburn" in name and "site-packages" not in name and "tests" not in name
        return self._line if ours and event == "call" else None

    def _line(self, frame: FrameType, event: str, _arg: Any) -> Callable[..., Any]:
        if event == "line":
            key = (frame.f_code.co_filename, frame.f_lineno)
            if key not in self.lines:
                self.lines.add(key)
                self.fresh += 1
        return self._line


# ---- one case ----------------------------------------------------------------------------------------------------


def _status_kib(key: str) -> int:
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith(key):
            return int(line.split()[1])
    return 0


def _forget_peak() -> None:
    with contextlib.suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5", encoding="ascii")


def _where(error: BaseException) -> str:
    """Return the innermost place of our own code an error came through, and the innermost of all."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [f for f in frames if "evenburn" in f.filename and "tests" not in f.filename]
    last = ours[-1] if ours else frames[-1]
    return f"{Path(last.filename).name}:{last.lineno} {last.name}"


def run_case(enter: Callable[[Path], str], arena: Path, *, seen: Seen | None) -> dict[str, Any]:
    """Return what came of one case: what, kind, text, where, seconds, memory."""
    from evenburn.core.errors import EvenburnError, ProgramNotSound, StorageError

    _forget_peak()
    before_kib = _status_kib("VmRSS")
    FENCE.breaches.clear()
    FENCE.arena = os.path.realpath(arena)
    answer: dict[str, Any] = {"what": "done", "text": ""}
    said = io.StringIO()
    start = time.process_time()  # work, not time: a busy computer is no fault of the file
    if seen is not None:
        seen.fresh = 0
        sys.settrace(seen.trace)
    try:
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
            answer["text"] = enter(arena)
    except (StorageError, ProgramNotSound) as error:
        answer = {
            "what": "blamed the computer",
            "kind": type(error).__name__,
            "text": str(error),
            "where": _where(error),
        }
    except EvenburnError as error:
        answer = {"what": "refused", "kind": type(error).__name__, "text": str(error)[:300]}
    except BaseException as error:  # noqa: BLE001  # whatever it is, it is the finding
        answer = {"what": "traceback", "kind": type(error).__name__, "text": str(error)[:300], "where": _where(error)}
    finally:
        sys.settrace(None)
        FENCE.arena = None
    answer["seconds"] = round(time.process_time() - start, 3)
    answer["grown_MiB"] = max(0, _status_kib("VmHWM") - before_kib) // 1024
    answer["breaches"] = list(dict.fromkeys(FENCE.breaches))
    answer["fresh"] = 0 if seen is None else seen.fresh
    if "Traceback (most recent call last)" in said.getvalue():
        answer |= {"what": "traceback", "kind": "printed", "text": said.getvalue()[-400:], "where": "printed"}
    return answer


def main() -> None:
    """Answer jobs until there are no more."""
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    from hostile.doors import DOORS

    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)  # libraries in C talk past Python
    with contextlib.suppress(OSError):
        ctypes.CDLL(None).prctl(1, 9)  # dies with whoever started it
    resource.setrlimit(resource.RLIMIT_DATA, (CEILING_bytes, CEILING_bytes))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    sys.addaudithook(FENCE.hook)
    seen = Seen() if "--guided" in sys.argv else None
    for line in sys.stdin:
        job = json.loads(line)
        door = DOORS[job["door"]]
        if door.warm is not None:
            door.warm()
        answers.write('{"what": "ready"}\n')
        answers.flush()
        answer = run_case(door.enter, Path(job["arena"]), seen=seen)
        answers.write(json.dumps(answer) + "\n")
        answers.flush()


if __name__ == "__main__":
    main()
