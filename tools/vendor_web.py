"""Fetch what the pages ship with, scripts and faces, into src/evenburn/web/static/vendor.

A developer's script, run by hand when something is added or renewed:

    python tools/vendor_web.py

Needs npm on the path; nothing it fetches is run. Each package gets a folder NAME-VERSION with the files taken over byte for byte
and its licence; VENDORED.md names package, version, licence and the SHA-256 of each file. `tests/web/test_vendored.py`
compares that list with what is there.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import tarfile
import tempfile
from dataclasses import dataclass
from pathlib import Path

TARGET = Path(__file__).resolve().parent.parent / "src" / "evenburn" / "web" / "static" / "vendor"
MOST_BYTES = 1_000_000  # of all that is shipped; a page needs no more


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A package, its version, the licence it must state, and the files taken from it."""

    package: str
    version: str
    licence: str
    licence_file: str
    files: tuple[str, ...]
    use: str

    def folder(self) -> str:
        """Return the folder it goes to."""
        return f"{self.package.rsplit('/', 1)[-1].removesuffix('.org')}-{self.version}"


def _face(name: str, version: str) -> Taken:
    """Name the subsets of a variable face that our languages and formulas need."""
    subsets = ("latin", "latin-ext", "greek")
    return Taken(
        package=f"@fontsource-variable/{name}",
        version=version,
        licence="OFL-1.1",
        licence_file="LICENSE",
        files=tuple(f"files/{name}-{s}-wght-{style}.woff2" for s in subsets for style in ("normal", "italic")),
        use="type of the pages",
    )


TAKEN = (
    Taken(
        package="htmx.org",
        version="4.0.1",
        licence="BSD-0-Clause",
        licence_file="LICENSE",
        files=("dist/htmx.min.js",),
        use="parts of a page renewed without leaving it",
    ),
    _face("brygada-1918", "5.3.0"),
    _face("sofia-sans-semi-condensed", "5.3.0"),
)


def fetch(taken: Taken, work: Path) -> Path:
    """Fetch and unpack a package; return the folder its files lie in."""
    subprocess.run(["npm", "pack", "--silent", f"{taken.package}@{taken.version}"], cwd=work, check=True)  # noqa: S603, S607
    (archive,) = work.glob("*.tgz")
    with tarfile.open(archive) as packed:
        packed.extractall(work, filter="data")
    archive.unlink()
    inside = work / "package"
    stated = json.loads((inside / "package.json").read_text(encoding="utf-8"))["license"]
    if stated not in {taken.licence, "0BSD" if taken.licence == "BSD-0-Clause" else taken.licence}:
        raise SystemExit(f"{taken.package} states licence {stated}, expected {taken.licence}")
    return inside


def lay_out(taken: Taken) -> list[str]:
    """Lay one package out anew and return its lines of the list."""
    home = TARGET / taken.folder()
    shutil.rmtree(home, ignore_errors=True)
    home.mkdir(parents=True)
    with tempfile.TemporaryDirectory() as work:
        inside = fetch(taken, Path(work))
        shutil.copyfile(inside / taken.licence_file, home / "LICENSE")
        for name in taken.files:
            shutil.copyfile(inside / name, home / Path(name).name)
    sums = [f"| `{p.name}` | `{hashlib.sha256(p.read_bytes()).hexdigest()}` |" for p in sorted(home.iterdir())]
    head = f"## {taken.folder()}\n\n{taken.use}. npm package `{taken.package}` {taken.version}, {taken.licence}.\n"
    return [head, "| file | SHA-256 |", "|---|---|", *sums, ""]


def main() -> None:
    """Lay out everything and write the list."""
    lines = [
        "# What others made and the pages ship with",
        "",
        "Written by `tools/vendor_web.py`; unchanged, byte for byte.",
        "",
    ]
    for taken in TAKEN:
        lines += lay_out(taken)
    (TARGET / "VENDORED.md").write_text("\n".join(lines), encoding="utf-8")
    total = sum(p.stat().st_size for p in TARGET.rglob("*") if p.is_file())
    if total > MOST_BYTES:
        raise SystemExit(f"{total} bytes are shipped; allowed are {MOST_BYTES}")
    print(f"{len(TAKEN)} packages, {total} bytes")


if __name__ == "__main__":
    main()
