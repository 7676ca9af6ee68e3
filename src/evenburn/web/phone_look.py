"""How the phone's page looks: style, script and faces all in the page, for there is no other address to fetch them from."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass, fields
from functools import lru_cache
from pathlib import Path
from typing import Any

from markupsafe import Markup
from starlette.responses import HTMLResponse, Response

from evenburn.web.render import environment

VENDOR = Path(__file__).parent / "static" / "vendor"
FACES = (
    ("Brygada 1918", "brygada-1918-5.3.0/brygada-1918-latin-wght-normal.woff2"),
    ("Sofia Sans Semi Condensed", "sofia-sans-semi-condensed-5.3.0/sofia-sans-semi-condensed-latin-wght-normal.woff2"),
)
HEADERS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "cache-control": "no-store",
    "x-robots-tag": "noindex",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Dress:
    """Style and script of the page, and the policy that lets run these two and nothing else."""

    style: Markup
    script: Markup
    policy: str


@lru_cache(maxsize=1)
def dress() -> Dress:
    """Return how the page looks, put together once."""
    style = "".join(_face(*face) for face in FACES) + _source("phone_door.css")
    script = _source("phone_door.js")
    policy = "; ".join(
        (
            "default-src 'none'",
            f"script-src '{_hash(script)}'",
            f"style-src '{_hash(style)}'",
            "img-src blob: data:",
            "font-src data:",
            "connect-src 'self'",
            "form-action 'self'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
        )
    )
    return Dress(style=Markup(style), script=Markup(script), policy=policy)  # noqa: S704  # both ship with evenburn


def _source(name: str) -> str:
    loader = environment().loader
    assert loader is not None  # noqa: S101  # the one environment has one
    return loader.get_source(environment(), name)[0]


def _face(family: str, file: str) -> str:
    data = base64.b64encode((VENDOR / file).read_bytes()).decode()
    return (
        f'@font-face{{font-family:"{family}";font-weight:400 700;'
        f'src:url(data:font/woff2;base64,{data}) format("woff2")}}\n'
    )


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def phone_html(template: str, context: Any, *, status: int = 200) -> Response:
    """Return a page from its frozen context."""
    worn = dress()
    values = {f.name: getattr(context, f.name) for f in fields(context)}
    text = environment().get_template(template).render(**values, style=worn.style, script=worn.script)
    return HTMLResponse(text, status_code=status)
