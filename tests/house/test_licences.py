"""Everything that evenburn needs is locked by its sum, and on docs/licences.md with its terms."""

from __future__ import annotations

import importlib.util
import re
import tomllib
from itertools import chain
from pathlib import Path
from types import ModuleType

import pytest
from packaging.requirements import Requirement

from house.source import ROOT, text_of

LOCKS = ("requirements.lock", "requirements-dev.lock")
PAGE = ROOT / "docs" / "licences.md"
PIN = re.compile(r"^([\w.-]+)==(\S+) \\$")
SUM = re.compile(r"^    --hash=sha256:[0-9a-f]{64}( \\)?$")
RELOCK = "run tools/lock.py, then tools/licences.py"


def loaded(name: str) -> ModuleType:
    """Return a tool as a module."""
    spec = importlib.util.spec_from_file_location(name, ROOT / "tools" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module", name="tool")
def _tool() -> ModuleType:
    return loaded("licences")


def declared(*extras: str) -> list[Requirement]:
    """Return what pyproject.toml says evenburn needs, with some extras."""
    project = tomllib.loads(text_of(ROOT / "pyproject.toml"))["project"]
    return [
        Requirement(one)
        for one in [*project["dependencies"], *chain.from_iterable(project["optional-dependencies"][e] for e in extras)]
    ]


def unlocked(requirements: list[Requirement], pins: dict[str, str]) -> list[str]:
    """Return what a lock does not hold, or holds in a version that is not wanted."""
    names = {re.sub(r"[-_.]+", "-", one.name).lower(): one for one in requirements}
    return [
        f"{name}: {'is missing' if name not in pins else f'{pins[name]} is not {one.specifier}'}"
        for name, one in sorted(names.items())
        if name not in pins or not one.specifier.contains(pins[name], prereleases=True)
    ]


@pytest.mark.parametrize(
    ("lock", "extras"), [("requirements.lock", ("postgres",)), ("requirements-dev.lock", ("postgres", "dev"))]
)
def test_what_is_needed_is_locked(lock: str, extras: tuple[str, ...], tool: ModuleType) -> None:
    assert unlocked(declared(*extras), tool.locked(lock)) == [], RELOCK


def test_make_installs_by_the_lock() -> None:
    made, set_up = text_of(ROOT / "Makefile"), text_of(ROOT / "tools" / "set-up")

    assert "@tools/set-up ||" in made
    assert "pip install" not in made  # nowhere past it
    assert "--require-hashes -r requirements-dev.lock" in set_up
    assert 'grep -q "DO NOT MATCH THE HASHES"' in set_up  # what was swapped is never replaced by the newest


def test_a_planted_unlocked_package_is_caught() -> None:
    wanted = [Requirement("numpy>=2.2"), Requirement("Typing_Extensions>=4")]

    assert unlocked(wanted, {"numpy": "2.1", "typing-extensions": "4.9"}) == ["numpy: 2.1 is not >=2.2"]
    assert unlocked(wanted, {"numpy": "2.4"}) == ["typing-extensions: is missing"]


@pytest.mark.parametrize("lock", LOCKS)
def test_every_line_of_a_lock_is_a_version_or_a_sum_and_names_no_host(lock: str) -> None:
    lines = [line for line in text_of(ROOT / lock).splitlines() if line and not line.startswith("#")]

    strange = [line for line in lines if PIN.match(line) is None and SUM.match(line) is None]
    assert strange == []
    assert re.search(r"https?:|//|--(?!hash)", text_of(ROOT / lock)) is None or "--require-hashes" in text_of(
        ROOT / lock
    )
    unsummed = [a for a, b in zip(lines, [*lines[1:], ""], strict=True) if PIN.match(a) and SUM.match(b) is None]
    assert unsummed == []
    assert len([line for line in lines if PIN.match(line)]) > 30


def test_both_locks_agree(tool: ModuleType) -> None:
    run, dev = (tool.locked(lock) for lock in LOCKS)

    assert {name: (version, dev.get(name)) for name, version in run.items() if dev.get(name) != version} == {}


def test_the_page_lists_all_that_is_locked_and_all_that_ships(tool: ModuleType) -> None:
    page = text_of(PAGE)
    missing = [
        f"{name} {version}"
        for lock in LOCKS
        for name, version in tool.locked(lock).items()
        if f"| {name} | {version} | " not in page
    ]
    missing += [row for row in (*tool.vendored(), *tool.faces()) if row not in page]

    assert missing == [], f"docs/licences.md does not list these: {RELOCK}"
    assert tool.vendored()
    assert tool.faces()
    assert "not stated" not in page, "read its licence file and add it to READ_BY_HAND in tools/licences.py"


def test_every_vendored_folder_is_recorded(tool: ModuleType) -> None:
    folder = tool.VENDORED.parent
    recorded = {
        f"{name.rsplit('/', 1)[-1].removesuffix('.org')}-{version}"
        for name, version, _ in tool.vendored_packages(text_of(tool.VENDORED))
    }

    assert {p.name for p in folder.iterdir() if p.is_dir()} == recorded


@pytest.mark.parametrize(
    ("version", "entry", "meant"),
    [
        ("1.2", {"versions": ["1.2"]}, True),
        ("1.3", {"versions": ["1.2"]}, False),
        ("1.2", {"ranges": [{"type": "ECOSYSTEM", "events": [{"introduced": "0"}, {"fixed": "1.3"}]}]}, True),
        ("1.3", {"ranges": [{"type": "ECOSYSTEM", "events": [{"introduced": "0"}, {"fixed": "1.3"}]}]}, False),
        (
            "1.10",
            {"ranges": [{"type": "ECOSYSTEM", "events": [{"introduced": "1.9"}, {"last_affected": "1.10"}]}]},
            True,
        ),
        (
            "1.11",
            {"ranges": [{"type": "ECOSYSTEM", "events": [{"introduced": "1.9"}, {"last_affected": "1.10"}]}]},
            False,
        ),
        ("1.2", {"ranges": [{"type": "GIT", "events": [{"introduced": "0"}]}]}, False),
    ],
)
def test_an_advisory_means_the_versions_it_names(version: str, entry: dict[str, object], meant: bool) -> None:  # noqa: FBT001  # what is expected
    """The form is the Open Source Vulnerabilities schema's, `affected[]`; from memory."""
    advisory = {
        "id": "X-1",
        "summary": "swells",
        "affected": [{"package": {"ecosystem": "PyPI", "name": "Some_Thing"}, **entry}],
    }

    told = list(loaded("audit").found({"some-thing": version}, [advisory]))

    assert told == ([f"some-thing {version}: X-1 swells"] if meant else [])


def test_an_audit_without_advisories_says_that_nothing_was_looked_at(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    audit = loaded("audit")
    monkeypatch.setattr(audit.importlib.util, "find_spec", lambda _name: None)

    assert audit.main([]) == 2
    assert "nothing was looked at" in capsys.readouterr().out
    (tmp_path / "none.json").write_text("[]", encoding="utf-8")
    assert audit.main([str(tmp_path / "none.json")]) == 0
    (tmp_path / "bad.json").write_text("[", encoding="utf-8")
    assert audit.main([str(tmp_path / "bad.json")]) == 2
