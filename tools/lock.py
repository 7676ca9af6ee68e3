"""Write `requirements.lock` and `requirements-dev.lock`: every package at one version, each file of it by its SHA-256.

`python tools/lock.py` takes the versions of the environment it runs in, and the sums that pip reports for them: of this
computer's own files, and for requirements.lock of those for other Pythons on Linux, macOS and Windows as well. Nothing is downloaded
by hand; which index is asked is pip's own affair, and no host's name comes into the files. To use one:

    python -m pip install --require-hashes -r requirements.lock
    python -m pip install --no-deps --no-build-isolation .      # hatchling is in requirements-dev.lock
"""

from __future__ import annotations

import argparse
import json
import re
import subprocess
import sys
import tempfile
import tomllib
from importlib import metadata
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
LOCKS = {"requirements.lock": ("postgres",), "requirements-dev.lock": ("postgres", "dev")}
PYTHONS = ("3.11", "3.12", "3.13")
PLATFORMS = {
    "Linux, x86-64": ("manylinux_2_17_x86_64", "manylinux_2_28_x86_64", "manylinux_2_34_x86_64", "manylinux1_x86_64", "manylinux2014_x86_64", "linux_x86_64"),
    "Linux, ARM": ("manylinux_2_17_aarch64", "manylinux_2_28_aarch64", "manylinux_2_34_aarch64", "manylinux2014_aarch64"),
    "macOS, ARM": ("macosx_11_0_arm64", "macosx_12_0_arm64", "macosx_14_0_arm64", "macosx_11_0_universal2", "macosx_10_13_universal2"),
    "Windows, x86-64": ("win_amd64",),
}  # fmt: skip
Sums = dict[str, tuple[str, set[str]]]


def normal(name: str) -> str:
    """Return a package's name as indexes compare it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def wanted(extras: tuple[str, ...]) -> list[str]:
    """Return the requirements of the project, with those of some extras and of its build."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    found = list(project["project"]["dependencies"])
    for extra in extras:
        found += project["project"]["optional-dependencies"][extra]
    return found + (project["build-system"]["requires"] if "dev" in extras else [])


def resolved(requirements: list[str], *, constraints: Path, more: tuple[str, ...] = ()) -> Sums:
    """Return what pip would install, name → version and sums, by its own report; empty where it finds no way."""
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        target = ("--target", str(Path(folder) / "target")) if more else ()
        words = [sys.executable, "-m", "pip", "install", "--dry-run", "--quiet", "--ignore-installed", "--no-input",
                 "--disable-pip-version-check", "--report", str(report), "-c", str(constraints), *more, *target,
                 *requirements]  # fmt: skip
        done = subprocess.run(words, capture_output=True, text=True, check=False)  # noqa: S603  # pip, by this Python
        if done.returncode != 0:
            print(
                f"  none: {done.stderr.strip().splitlines()[-1][:160] if done.stderr.strip() else 'pip said nothing'}"
            )
            return {}
        return {
            normal(item["metadata"]["name"]): (item["metadata"]["version"], {_sum(item)})
            for item in json.loads(report.read_text(encoding="utf-8"))["install"]
        }


def _sum(item: dict[str, Any]) -> str:
    return str(item["download_info"]["archive_info"]["hashes"]["sha256"])


def lock_text(sums: Sums, *, extras: tuple[str, ...], where: list[str]) -> str:
    """Return the text of a lock."""
    head = [
        f"# Written by tools/lock.py: every package that evenburn needs, with the extras {', '.join(extras)}.",
        f"# Sums are known for: {'; '.join(where)}.",
        "# It was made on Linux: what a package asks for on another system alone (colorama on Windows) is not in it.",
        "# To install: python -m pip install --require-hashes -r this-file",
        "",
    ]
    lines = []
    for name, (version, known) in sorted(sums.items()):
        lines.append(f"{name}=={version} \\")
        ordered = sorted(known)
        lines += [f"    --hash=sha256:{one} \\" for one in ordered[:-1]] + [f"    --hash=sha256:{ordered[-1]}"]
    return "\n".join([*head, *lines]) + "\n"


def main() -> None:
    """Write both locks."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--here", action="store_true", help="only this computer's own kind: quick")
    here_only = parser.parse_args().here
    with tempfile.TemporaryDirectory() as folder:
        constraints = Path(folder) / "constraints.txt"
        pins = {normal(d.metadata["Name"]): d.version for d in metadata.distributions()}
        constraints.write_text(
            "".join(f"{n}=={v}\n" for n, v in sorted(pins.items()) if n != "evenburn"), encoding="utf-8"
        )
        for file, extras in LOCKS.items():
            requirements = wanted(extras)
            print(f"{file}: this computer")
            sums = resolved(requirements, constraints=constraints)
            where = [f"{sys.platform}, CPython {sys.version_info.major}.{sys.version_info.minor}"]
            for system, tags in ({} if here_only or "dev" in extras else PLATFORMS).items():
                found_for = []
                for python in PYTHONS:
                    print(f"{file}: {system}, CPython {python}")
                    more = ("--only-binary=:all:", "--python-version", python, "--implementation", "cp",
                            *(word for tag in tags for word in ("--platform", tag)))  # fmt: skip
                    found = resolved(requirements, constraints=constraints, more=more)
                    found_for += [python] if found else []
                    for name, (version, known) in found.items():
                        if name not in sums:
                            sums[name] = (version, set(known))
                        elif sums[name][0] == version:
                            sums[name][1].update(known)
                where += [f"{system}, CPython {', '.join(found_for)}"] if found_for else []
            (ROOT / file).write_text(lock_text(sums, extras=extras, where=where), encoding="utf-8")
            print(f"{file}: {len(sums)} packages, {sum(len(known) for _, known in sums.values())} sums")


if __name__ == "__main__":
    main()
