"""The faces that a text can be set in."""

from __future__ import annotations

from dataclasses import dataclass

from evenburn.adapters.artwork.faces import list_faces


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceLine:
    """A shipped face: its id, the name people know it by, and its kind."""

    face_id: str
    name: str
    kind: str


def faces() -> tuple[FaceLine, ...]:
    """Return the shipped faces, in the order of their kinds."""
    return tuple(FaceLine(face_id=face.id, name=face.name, kind=face.kind) for face in list_faces())
