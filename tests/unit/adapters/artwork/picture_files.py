"""Picture files made by hand where no library writes them: PNG of any kind, and small colour profiles."""

from __future__ import annotations

import struct
import zlib
from io import BytesIO
from pathlib import Path

import numpy as np
from PIL import Image

GREY, RGB, GREY_ALPHA = 0, 2, 4  # colour types of PNG
D50 = (0xF6D6, 0x10000, 0xD32D)  # white of every profile, s15Fixed16
# colorants of sRGB seen under D50, from memory of the common sRGB profile
SRGB_D50 = {b"r": (0.4361, 0.2225, 0.0139), b"g": (0.3851, 0.7169, 0.0971), b"b": (0.1431, 0.0606, 0.7141)}


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def png(width: int, height: int, rows: bytes | None, *, depth: int = 8, colour: int = GREY) -> bytes:
    """Return a PNG; `rows` is what its lines hold, each led by its filter byte; None writes no picture data at all."""
    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    data = b"" if rows is None else _chunk(b"IDAT", zlib.compress(rows, 9))
    return b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", head) + data + _chunk(b"IEND", b"")


def png16(values: np.ndarray) -> bytes:
    """Return a 16-bit PNG of grey (rows, columns) or RGB (rows, columns, 3)."""
    deep = values.astype(">u2")
    rows = b"".join(b"\0" + line.tobytes() for line in deep)
    return png(values.shape[1], values.shape[0], rows, depth=16, colour=GREY if values.ndim == 2 else RGB)


def _xyz(*fixed: int) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">iii", *fixed)


def profile(space: bytes, *, gamma: float) -> bytes:
    """Return an ICC profile of version 2 of grey (b"GRAY") or of sRGB's primaries (b"RGB "), with a plain gamma."""
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256)) + b"\0\0"
    tags = {b"wtpt": _xyz(*D50)}
    if space == b"GRAY":
        tags[b"kTRC"] = curve
    else:
        for channel, xyz in SRGB_D50.items():
            tags[channel + b"XYZ"] = _xyz(*(round(v * 65536) for v in xyz))
            tags[channel + b"TRC"] = curve
    offset = 128 + 4 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for tag, content in tags.items():
        table += tag + struct.pack(">II", offset + len(body), len(content))
        body += content
    head = struct.pack(">I4sI4s4s4s12s4s", offset + len(body), b"\0" * 4, 0x02400000, b"mntr", space, b"XYZ ",
                       struct.pack(">6H", 2026, 11, 25, 0, 0, 0), b"acsp")  # fmt: skip
    head += b"\0" * (68 - len(head)) + struct.pack(">iii", *D50)
    return head.ljust(128, b"\0") + table + body


def encoded(picture: Image.Image, kind: str, **options: object) -> bytes:
    """Return a picture as a file's bytes."""
    out = BytesIO()
    picture.save(out, kind, **options)
    return out.getvalue()


def put(folder: Path, content: bytes, *, name: str = "picture.bin") -> Path:
    """Write a file and return its path."""
    path = folder / name
    path.write_bytes(content)
    return path
