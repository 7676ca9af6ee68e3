"""The part of reading a PDF that is done in a process of its own, run by path: `python pdf_child.py JOB`.

The library that reads PDFs is written in C++; a file made to do so can keep it busy for ever, or end the process it runs
in. Here that is a process that does nothing else, with ceilings for work and memory. It imports nothing of evenburn.
JOB is a JSON object; what is found goes to standard output as another, pixels to a file, blue, green, red, row after row.
"""

from __future__ import annotations

import ctypes
import json
import sys
from pathlib import Path
from typing import Any

DEEPEST = 15
BAND_px = 16_000_000  # drawn at once
# the standard fourteen, which a reader has to bring along: ISO 32000-1, 9.6.2.2
STANDARD_FACES = ("Courier", "Helvetica", "Times", "Symbol", "ZapfDingbats")


def _fence(*, cpu_s: int, memory_bytes: int) -> None:
    """Take on the ceilings; where the system knows none, whoever started this watches the clock."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s))
    resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, memory_bytes))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _look(document: Any, pdfium_c: Any, *, page: int) -> dict[str, Any]:
    """Return how many pages there are, the size of one [pt], and a face that it names and does not hold."""
    if not 1 <= page <= len(document):
        return {"pages": len(document)}
    opened = document[page - 1]
    stray = ""
    for item in opened.get_objects(filter=[pdfium_c.FPDF_PAGEOBJ_TEXT], max_depth=DEEPEST):
        font = pdfium_c.FPDFTextObj_GetFont(item)
        if not font or pdfium_c.FPDFFont_GetIsEmbedded(font) == 1:
            continue
        face = _face_name(font, pdfium_c)
        if face and not face.startswith(STANDARD_FACES):
            stray = face
            break
    return {"pages": len(document), "size_pt": list(opened.get_size()), "stray_face": stray}


def _face_name(font: Any, pdfium_c: Any) -> str:
    size = int(pdfium_c.FPDFFont_GetBaseFontName(font, None, 0))
    buffer = ctypes.create_string_buffer(max(size, 1))
    pdfium_c.FPDFFont_GetBaseFontName(font, buffer, size)
    return buffer.value.decode("utf-8", "replace")


def _draw(document: Any, pdfium: Any, pdfium_c: Any, job: dict[str, Any]) -> dict[str, Any]:
    """Draw a page into a picture over white, in bands, and write its pixels."""
    page = document[job["page"] - 1]
    width, height = job["size_px"]
    left, top, wide, high = job["box_px"]
    rows = max(1, BAND_px // width)
    with Path(job["pixels"]).open("wb") as out:
        for first in range(0, height, rows):
            count = min(rows, height - first)
            bitmap = pdfium.PdfBitmap.new_native(width, count, pdfium_c.FPDFBitmap_BGR)
            bitmap.fill_rect((255, 255, 255, 255), 0, 0, width, count)
            pdfium_c.FPDF_RenderPageBitmap(bitmap, page, left, top - first, wide, high, 0, pdfium_c.FPDF_ANNOT)
            drawn = memoryview(bitmap.buffer).cast("B")
            out.writelines(drawn[row * bitmap.stride : row * bitmap.stride + 3 * width] for row in range(count))
            bitmap.close()
    return {}


def main(job: dict[str, Any]) -> dict[str, Any]:
    """Return what came of a job; `fault` names what the library refused."""
    _fence(cpu_s=job["cpu_s"], memory_bytes=job["memory_bytes"])
    import pypdfium2 as pdfium
    import pypdfium2.raw as pdfium_c

    try:
        document = pdfium.PdfDocument(Path(job["file"]))
        if job["what"] == "look":
            return _look(document, pdfium_c, page=job["page"])
        return _draw(document, pdfium, pdfium_c, job)
    except pdfium.PdfiumError as error:
        return {"fault": "locked" if "password" in str(error).lower() else "damaged"}
    except MemoryError:
        return {"fault": "memory"}


if __name__ == "__main__":
    sys.stdout.write(json.dumps(main(json.loads(sys.argv[1]))))
