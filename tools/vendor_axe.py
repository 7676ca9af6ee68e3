"""Fetch axe-core, which looks for what keeps people out of a page, into tests/browser/vendor; nothing ships it.

A developer's script, run by hand to renew it:

    python tools/vendor_axe.py
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from vendor_web import Taken, fetch

TARGET = Path(__file__).resolve().parent.parent / "tests" / "browser" / "vendor"
AXE = Taken(
    package="axe-core",
    version="4.14.1",
    licence="MPL-2.0",
    licence_file="LICENSE",
    files=("axe.min.js",),
    use="accessibility of every page, in tests",
)


def main() -> None:
    """Lay it out anew."""
    shutil.rmtree(TARGET, ignore_errors=True)
    home = TARGET / AXE.folder()
    home.mkdir(parents=True)
    with tempfile.TemporaryDirectory() as work:
        inside = fetch(AXE, Path(work))
        for name in (AXE.licence_file, *AXE.files):
            shutil.copyfile(inside / name, home / Path(name).name)
    print(f"{AXE.folder()}, {AXE.licence}")


if __name__ == "__main__":
    main()
