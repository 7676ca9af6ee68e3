"""The documentation keeps up with the program, the README with its promise; no file tells whose machine it was on."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
import typer

from house.source import ROOT, Finding, project_files, report

SETUP = ["make demo", "make test"]


# ---- every verb and every option is documented -------------------------------------------------------------------


def verbs(command: Any, name: str) -> Iterator[tuple[str, list[str]]]:
    """Yield every visible verb of a command line, spelled out, with all its options."""
    options = [p for p in command.params if p.param_type_name == "option" and not getattr(p, "hidden", False)]
    below = getattr(command, "commands", None)
    if below is None:
        yield name, [flag for p in options for flag in [*p.opts, *p.secondary_opts]]
        return
    for word, child in below.items():
        if not getattr(child, "hidden", False):
            yield from verbs(child, f"{name} {word}")


def sections(page: str) -> dict[str, str]:
    """Return the text below every heading of a Markdown page, backticks taken off the heading."""
    parts = re.split(r"^#+ +(.+)$", page, flags=re.MULTILINE)
    return {title.replace("`", "").strip(): text for title, text in zip(parts[1::2], parts[2::2], strict=True)}


def undocumented(app: typer.Typer, page: str) -> list[str]:
    """Return what a person can type and cannot read about."""
    told = sections(page)
    missing: list[str] = []
    for verb, flags in verbs(typer.main.get_command(app), "evenburn"):
        text = "\n".join(f"{t}\n{body}" for t, body in told.items() if t == verb or t.startswith(f"{verb} "))
        if not text:
            missing.append(f"{verb}: no section headed “{verb}”")
            continue
        missing += [f"{verb}: {flag}" for flag in flags if not re.search(rf"(?<![\w-]){flag}(?![\w-])", text)]
    return missing


def test_every_verb_and_option_is_documented() -> None:
    from evenburn.cli.main import app

    page = ROOT / "docs" / "reference" / "commands.md"
    assert page.is_file(), "docs/reference/commands.md is missing: run `make docs`"
    missing = undocumented(app, page.read_text(encoding="utf-8"))
    assert missing == [], "docs/reference/commands.md does not mention these; run `make docs`:\n" + "\n".join(missing)


@pytest.fixture
def planted() -> typer.Typer:
    app, card = typer.Typer(add_completion=False), typer.Typer()

    @app.command()
    def plan(folder: str, to: str = typer.Option(...), json: str = typer.Option("", "--json", "--table")) -> None: ...

    @card.command()
    def wood(machine: str = typer.Option(..., "--machine", "-m")) -> None: ...

    app.add_typer(card, name="card")
    return app


def test_a_planted_silent_option_is_caught(planted: typer.Typer) -> None:
    page = "## `evenburn plan FOLDER`\n`--to DIR`, `--json-lines`, `--table`\n## evenburn card wood\n--machine -m"
    assert undocumented(planted, page) == ["evenburn plan: --json"]
    assert undocumented(planted, page.replace("--json-lines", "--json")) == []


def test_a_planted_silent_verb_is_caught(planted: typer.Typer) -> None:
    page = "## evenburn plan\n--to --json --table\n## evenburn card\n--machine -m\n"
    assert undocumented(planted, page) == ["evenburn card wood: no section headed “evenburn card wood”"]


# ---- the README sets up in two commands --------------------------------------------------------------------------


def setup_commands(readme: str) -> list[str]:
    """Return the commands of the README's section “Set up”: lines of code blocks, comments taken off."""
    text = next((body for title, body in sections(readme).items() if title.lower().startswith("set up")), "")
    fenced = re.findall(r"^```\w*\n(.*?)^```", text, flags=re.MULTILINE | re.DOTALL)
    indented = re.findall(r"^ {4}(.+)$", text, flags=re.MULTILINE) if not fenced else []
    lines = [line for block in fenced for line in block.splitlines()] + indented
    bare = (re.sub(r"(^|\s)#.*", "", line).strip().removeprefix("$ ") for line in lines)
    return [line for line in bare if line]


def test_readme_sets_up_in_two_commands() -> None:
    seen = setup_commands((ROOT / "README.md").read_text(encoding="utf-8"))
    assert seen == SETUP, f"README.md, section “Set up”, must hold exactly {SETUP} in a code block; it holds {seen}"


@pytest.mark.parametrize(
    "readme",
    [
        "# evenburn\n",
        "## Set up\n```\nmake demo\n```\n",
        "## Set up\n```sh\npip install x\nmake demo\nmake test\n```\n",
        "## Set up\n\n    make test\n    make demo\n",
        "## Other\n```\nmake demo\nmake test\n```\n",
    ],
)
def test_a_planted_longer_setup_is_caught(readme: str) -> None:
    assert setup_commands(readme) != SETUP


def test_a_readme_with_two_commands_passes() -> None:
    fenced = (
        "## Set up: two commands\n```sh\nmake demo     # plans\n\nmake test     # checks\n```\n## Next\n```\nls\n```\n"
    )
    assert setup_commands(fenced) == SETUP
    assert setup_commands("## Set up\n\n    make demo   # plans\n    make test\n\nThen:\n") == SETUP


# ---- no file tells whose machine it was made on ------------------------------------------------------------------

# Written so that these patterns do not find themselves.
MACHINE = {
    r"(?<![\w.~*}-])/(?:home|Users|root|work|tmp|mnt)/\w": "a path of one machine; write it relative to the project",
    r"\b[A-Z]:\\(?:Users|Program|Windows|Temp)": "a path of one machine; write it relative to the project",
    r"\bfile:///[a-z]": "a path of one machine; write it relative to the project",
    r"pypi\.org|python[h]osted\.org|npmjs\.\w|crates\.io|artifact[o]ry": "a registry's host name; name the package",
    r"(?:extra-)?ind[e]x-url|trust[e]d-host|\bproxy\.gol[a]ng": "a registry setting; each machine has its own",
}
MAY_NAME = {"LICENSE"}


def machine_traces(text: str) -> list[Finding]:
    """Return absolute paths of a machine and host names of package registries."""
    return [
        Finding(line=number, text=f"{hit.group()!r}: {why}")
        for number, line in enumerate(text.splitlines(), start=1)
        for pattern, why in MACHINE.items()
        for hit in re.finditer(pattern, line)
    ]


def test_no_file_tells_whose_machine_it_was_on() -> None:
    found = {}
    for path in project_files():
        try:
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue  # pictures and fonts
        if path.name not in MAY_NAME and (faults := machine_traces(text)):
            found[path] = faults
    assert not found, report(found, "Files must read the same on every machine.")


def spelled(*parts: str) -> str:
    """Return parts joined, so that this file does not breach its own rule."""
    return "".join(parts)


@pytest.mark.parametrize(
    "breach",
    [
        spelled("see /ho", "me/ann/x.toml"),
        spelled("'/t", "mp/x'"),
        spelled("C:\\", "Users\\ann"),
        spelled("https://pypi", ".org/simple"),
        spelled("pip --index", "-url x"),
    ],
)
def test_a_planted_trace_is_caught(breach: str) -> None:
    assert len(machine_traces(f"first line\n{breach}\n")) == 1
    assert machine_traces(f"first line\n{breach}\n")[0].line == 2


@pytest.mark.parametrize("fine", ["#!/usr/bin/env bash", "src/work/x.py", "docs/home/a.md", "mm/s", "60 W /work/"])
def test_a_plain_path_is_left_alone(fine: str) -> None:
    assert machine_traces(fine) == []
