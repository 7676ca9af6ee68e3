"""Look whether any locked package has a known fault: `python tools/audit.py [ADVISORIES.json]`, or `make audit`.

With a file of advisories it works off line: JSON in the form of the Open Source Vulnerabilities schema, one object or a list,
of which package, ecosystem, versions and ranges of versions are read. Without one it runs pip-audit on requirements.lock where that is
installed, which goes on line, and otherwise says how to get either. It finds only what somebody has reported.
"""

from __future__ import annotations

import importlib.util
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from packaging.version import InvalidVersion, Version

ROOT = Path(__file__).resolve().parents[1]
LOCK = ROOT / "requirements.lock"
HOW = """No advisories were given and pip-audit is not installed, so nothing was looked at. Either
  off line:  save advisories of the Python ecosystem (Open Source Vulnerabilities schema, JSON) and
             run `make audit ADVISORIES=file.json`
  on line:   python -m pip install pip-audit, into an environment of its own, and run `make audit` with it"""


def normal(name: str) -> str:
    """Return a package's name as indexes compare it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def locked(text: str) -> dict[str, str]:
    """Return the packages of a lock with their versions."""
    return dict(re.findall(r"^([\w.-]+)==(\S+)", text, flags=re.MULTILINE))


def touches(affected: dict[str, Any], version: str) -> bool:
    """Return whether an advisory's entry for a package means a version of it."""
    if version in affected.get("versions", ()):
        return True
    try:
        return any(
            _within(span.get("events", ()), Version(version))
            for span in affected.get("ranges", ())
            if span.get("type") != "GIT"
        )
    except InvalidVersion:
        return True  # what cannot be told apart is told


def _within(events: list[dict[str, str]], version: Version) -> bool:
    inside = False
    for event in events:
        if "introduced" in event and version >= Version(event["introduced"]):
            inside = True
        if "fixed" in event and version >= Version(event["fixed"]):
            inside = False
        if "last_affected" in event and version > Version(event["last_affected"]):
            inside = False
    return inside


def found(pins: dict[str, str], advisories: list[dict[str, Any]]) -> Iterator[str]:
    """Yield a line for each locked package that an advisory means."""
    for advisory in advisories:
        for affected in advisory.get("affected", ()):
            package = affected.get("package", {})
            name = normal(str(package.get("name", "")))
            if package.get("ecosystem") == "PyPI" and name in pins and touches(affected, pins[name]):
                yield f"{name} {pins[name]}: {advisory.get('id', '?')} {advisory.get('summary', '')}".rstrip()


def main(words: list[str]) -> int:
    """Return 0 where nothing is known against any package, 1 where something is, 2 where nothing could be looked at."""
    if words:
        try:
            told = json.loads(Path(words[0]).read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            print(f"error: {words[0]}: cannot be read as JSON: {error}", file=sys.stderr)
            return 2
        advisories = told if isinstance(told, list) else [told]
        lines = list(found(locked(LOCK.read_text(encoding="utf-8")), advisories))
        print("\n".join(lines) if lines else f"{len(advisories)} advisories: none means a locked package")
        return 1 if lines else 0
    if importlib.util.find_spec("pip_audit") is None:
        print(HOW)
        return 2
    words = [sys.executable, "-m", "pip_audit", "--require-hashes", "-r", str(LOCK)]
    return subprocess.run(words, check=False).returncode  # noqa: S603  # the tool, by this Python


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
