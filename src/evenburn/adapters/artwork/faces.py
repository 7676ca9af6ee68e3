"""The faces that ship with evenburn, and where their files lie."""

from __future__ import annotations

import atexit
import difflib
import tomllib
from contextlib import ExitStack
from dataclasses import dataclass
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

from evenburn.core.errors import NotFound

_FONT_SUFFIXES = (".ttf", ".otf")


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """One shipped face: its id, the name people know it by, its kind, and where it comes from.

    `kind` is one of script, serif, capitals, slab, sans, condensed, monoline, blackletter, stencil. `licence` is an
    SPDX id; the text stands in `<id>.LICENSE`. `unchanged` says whether the file is the package's own, byte for byte.
    """

    id: str
    name: str
    kind: str
    file: str
    package: str
    version: str
    licence: str
    unchanged: bool


def _folder() -> Traversable:
    return resources.files("evenburn") / "assets" / "faces"


@cache
def _tables() -> dict[str, tuple[Face, ...]]:
    listed = tomllib.loads((_folder() / "faces.toml").read_text(encoding="utf-8"))
    return {table: tuple(Face(**entry) for entry in listed[table]) for table in ("face", "sheet")}


def list_faces() -> tuple[Face, ...]:
    """Return the faces for engraving, in the order of their kinds."""
    return _tables()["face"]


def list_sheet_faces() -> tuple[Face, ...]:
    """Return the faces for printed sheets and pictures; their figures are tabular and lining by default."""
    return _tables()["sheet"]


def face_file(face: str | Path) -> Path:
    """Return the font file of a shipped face, by its id, or of a user's own face, by its path.

    A string is always an id, never a path, so that text from a file or a form cannot reach outside the package. A
    Path must have been checked by the caller to lie in a folder the user may name.

    Raises
    ------
    NotFound
        If no shipped face has that id, or no font file (.ttf or .otf) lies at that path.
    """
    if isinstance(face, Path):
        if face.suffix.lower() not in _FONT_SUFFIXES or not face.is_file():
            raise NotFound(
                f"no font file at {face.name!r}; a face's file ends in .ttf or .otf",
                hint="put the font file beside the batch and name it, or use the id of a shipped face",
            )
        return face
    known = {one.id: one for table in _tables().values() for one in table}
    if face not in known:
        ids = [one.id for one in list_faces()]
        near = difflib.get_close_matches(face.strip().lower().replace(" ", "-"), list(known), n=1, cutoff=0.5)
        raise NotFound(
            f"no face {face!r}; there are {', '.join(ids)}",
            hint=f"did you mean {near[0]}?" if near else "use one of these ids",
        )
    return _on_disk(known[face].file)


def licence_text(face_id: str) -> str:
    """Return the licence of a shipped face. Raises NotFound as `face_file` does."""
    face_file(face_id)
    return (_folder() / f"{face_id}.LICENSE").read_text(encoding="utf-8")


@cache
def _on_disk(name: str) -> Path:
    """Return a path to a shipped file, unpacked for this process if the package itself is an archive."""
    resource = _folder() / name
    if isinstance(resource, Path):
        return resource
    kept = ExitStack()
    atexit.register(kept.close)
    return kept.enter_context(resources.as_file(resource))
