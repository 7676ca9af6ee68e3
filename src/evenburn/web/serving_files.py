"""Files of the book as a browser gets them: pictures as pictures, everything else to be saved, and none to be run.

What a row says of a file's kind may come from a backup made elsewhere; only what stands here is passed on.
"""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import quote

from fastapi.responses import Response

from evenburn.web.guard import ARTWORK_POLICY

SHOWN = frozenset({"image/jpeg", "image/png", "image/webp"})
PICTURES = SHOWN | {"image/svg+xml"}  # a drawing may hold more than a picture: shown within our pages, else only saved
OTHER = "application/octet-stream"


def kept_file(
    data: bytes, *, name: str, media_type: str, save: bool = True, headers: Mapping[str, str] | None = None
) -> Response:
    """Return a file of the book.

    Parameters
    ----------
    media_type : as the book has it; a kind that is no picture of `PICTURES` goes out as one that is only saved.
    save : whether a picture is to be saved too, and not shown by itself.
    """
    plain = media_type.partition(";")[0].strip().lower()
    kind = plain if plain in PICTURES else OTHER
    told = {**(headers or {}), "content-security-policy": ARTWORK_POLICY, "x-content-type-options": "nosniff"}
    if save or kind not in SHOWN:
        told["content-disposition"] = f"attachment; filename*=UTF-8''{quote(name, safe='')}"
    return Response(data, media_type=kind, headers=told)
