"""Write docs/licences.md: whose work evenburn stands on, and on what terms.

    python tools/licences.py

Packages and versions are those of requirements.lock and requirements-dev.lock; what each says of its licence is read from
its own metadata, as it is installed here. What ships inside evenburn, scripts of the pages and faces, is listed by the files that record
it. `tests/house/test_licences.py` says when this has to be run.
"""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "licences.md"
VENDORED = ROOT / "src" / "evenburn" / "web" / "static" / "vendor" / "VENDORED.md"
FACES = ROOT / "src" / "evenburn" / "assets" / "faces" / "faces.toml"
LICENCE_FILE = re.compile(r"licen[cs]e|copying|notice", re.IGNORECASE)
# What a package leaves unsaid in its metadata, read in the licence file that it brings along.
READ_BY_HAND = {
    "resvg-py": "MIT",
    "pypdfium2": "BSD-3-Clause OR Apache-2.0; the library inside: BSD-3-Clause and others",
}
# Packages that build evenburn and that pip keeps apart while it does; from memory.
NOT_INSTALLED = {"hatchling": "MIT", "tomlkit": "MIT", "trove-classifiers": "Apache-2.0"}
HEAD = """# Licences

Written by tools/licences.py; do not edit by hand. evenburn itself is under the licence in [LICENSE](../LICENSE).

Versions are those of `requirements.lock`, each file of a package by its SHA-256. To install exactly these, from the project's
folder, into an environment of their own:

    python3 -m venv locked
    locked/bin/python -m pip install --require-hashes -r requirements.lock
    locked/bin/python -m pip install --no-deps .

pip refuses a file whose sum is another. `tools/lock.py` writes the locks anew, `make audit` looks for known faults of what
is in them.
"""


def normal(name: str) -> str:
    """Return a package's name as indexes compare it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def locked(file: str) -> dict[str, str]:
    """Return the packages of a lock with their versions."""
    return dict(re.findall(r"^([\w.-]+)==(\S+)", (ROOT / file).read_text(encoding="utf-8"), flags=re.MULTILINE))


def licence_of(name: str) -> str:
    """Return what a package says of its licence: an SPDX expression, else its classifier, else its own words."""
    told = metadata.metadata(name)
    expression = told.get("License-Expression")
    if expression:
        return str(expression)
    classes = [c.rsplit(" :: ", 1)[-1] for c in told.get_all("Classifier") or () if c.startswith("License ::")]
    if classes and classes != ["OSI Approved"]:
        return "; ".join(classes)
    own = (str(told.get("License") or "").strip().splitlines() or [""])[0].strip()
    return READ_BY_HAND.get(normal(name)) or own or "not stated"


def files_of(name: str) -> int:
    """Return how many licence files a package brings along."""
    return sum(bool(LICENCE_FILE.search(file.name)) for file in metadata.files(name) or ())


def rows(packages: dict[str, str]) -> list[str]:
    """Return a row for each package that is installed here; one that only other systems need is told as such."""
    made = []
    for name, version in sorted(packages.items()):
        try:
            made.append(f"| {name} | {version} | {licence_of(name)} | {files_of(name)} |")
        except metadata.PackageNotFoundError:
            licence = NOT_INSTALLED.get(name, "for another system; the package says it")
            made.append(f"| {name} | {version} | {licence} | – |")
    return made


def vendored() -> list[str]:
    """Return a row for each package that ships inside the pages."""
    text = VENDORED.read_text(encoding="utf-8") if VENDORED.exists() else ""
    return [f"| {name} | {version} | {licence} |" for name, version, licence in vendored_packages(text)]


def vendored_packages(text: str) -> list[tuple[str, str, str]]:
    """Return name, version and licence of each package that VENDORED.md tells of."""
    return [(m[1], m[2], m[3]) for m in re.finditer(r"npm package `(\S+)` (\S+), (\S+?)\.?$", text, flags=re.MULTILINE)]


def faces() -> list[str]:
    """Return a row for each face that ships."""
    told = tomllib.loads(FACES.read_text(encoding="utf-8"))
    return [
        f"| {one['name']} | {one['package']} {one['version']} | {one['licence']} |"
        for one in (*told["face"], *told["sheet"])
    ]


def page() -> str:
    """Return the page as it should read."""
    run, dev = locked("requirements.lock"), locked("requirements-dev.lock")
    only_dev = {name: version for name, version in dev.items() if name not in run}
    head = "| package | version | licence, as it says | licence files |\n| --- | --- | --- | --- |"
    inside = "| package | version | licence |\n| --- | --- | --- |"
    type_head = "| face | from | licence |\n| --- | --- | --- |"
    parts = [
        HEAD,
        "## Packages that it runs on\n",
        "Installed beside it by pip, not part of it; “licence files” counts those that each package brings along.\n",
        "\n".join([head, *rows(run)]),
        "\n## Packages for its development only\n",
        "\n".join([head, *rows(only_dev)]),
        "\n## What ships inside its pages\n",
        "Byte for byte as the package has it; the licence stands beside the files in src/evenburn/web/static/vendor.\n",
        "\n".join([inside, *vendored()]),
        "\n## Faces that ship\n",
        "Each licence stands beside its file in src/evenburn/assets/faces.\n",
        "\n".join([type_head, *faces()]),
    ]
    return "\n".join(parts) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    print(f"{PAGE.relative_to(ROOT)}: {page().count(chr(10) + '| ')} rows")
