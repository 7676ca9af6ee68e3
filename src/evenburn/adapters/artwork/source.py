"""Artwork from whatever file a mark names: a drawing, a page or a bitmap."""

from __future__ import annotations

from pathlib import Path

from evenburn.adapters.artwork.endings import PICTURE_ENDINGS
from evenburn.adapters.artwork.photo import open_photo
from evenburn.adapters.artwork.svg import open_svg
from evenburn.core.art.picture import Artwork
from evenburn.core.errors import UnreadableFile


def artwork_from_file(path: Path, *, name: str) -> Artwork:
    """Return the artwork in a file, by its ending.

    Raises
    ------
    UnreadableFile
        If the ending is not known or the file cannot be read.
    """
    ending = path.suffix.lower()
    if ending == ".svg":
        return open_svg(path, name=name)
    if ending in PICTURE_ENDINGS:
        return open_photo(path, name=name)
    if ending == ".dxf":
        from evenburn.adapters.artwork.dxf import open_dxf  # half a second to import; few batches have one

        return open_dxf(path, name=name)
    if ending == ".pdf":
        from evenburn.adapters.artwork.pdf import open_pdf

        return open_pdf(path, name=name)
    raise UnreadableFile(
        name, f"ends in {ending or 'nothing'!r}; allowed are .svg, .dxf, .pdf and {', '.join(PICTURE_ENDINGS)}"
    )
