"""What others made and the pages ship with is what its list says, with its licence, and nothing comes from elsewhere."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import evenburn.web

STATIC = Path(evenburn.web.__file__).parent / "static"
VENDOR = STATIC / "vendor"


def _listed() -> dict[str, str]:
    text = (VENDOR / "VENDORED.md").read_text(encoding="utf-8")
    parts = re.split(r"^## (.+)$", text, flags=re.MULTILINE)[1:]
    return {
        f"{folder}/{name}": sha256
        for folder, body in zip(parts[::2], parts[1::2], strict=True)
        for name, sha256 in re.findall(r"^\| `([^`]+)` \| `([0-9a-f]{64})` \|$", body, flags=re.MULTILINE)
    }


def test_every_vendored_file_is_listed_and_unchanged() -> None:
    there = {
        path.relative_to(VENDOR).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in VENDOR.rglob("*")
        if path.is_file() and path.name != "VENDORED.md"
    }
    assert there == _listed()
    assert len(there) > 10


def test_every_package_comes_with_its_licence() -> None:
    for folder in (path for path in VENDOR.iterdir() if path.is_dir()):
        assert "ermission" in (folder / "LICENSE").read_text(encoding="utf-8"), folder.name


def test_no_style_or_script_of_ours_asks_another_host() -> None:
    for path in [*STATIC.glob("*.css"), *STATIC.glob("*.js")]:
        text = path.read_text(encoding="utf-8").replace("http://www.w3.org/", "")
        assert not re.search(r"https?://|url\(\s*['\"]?//|@import", text), path.name
