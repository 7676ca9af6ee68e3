"""Write what is generated in `docs/reference/`: JSON Schemas, and the tables between markers in the pages.

Schemas and tables of keys come from the models that read and write the files, the tables of options from the command
itself, the table of findings from the reader's rules. The prose around the markers is written by hand and stays.
`make docs` runs this; `tests/house/test_reference_fresh.py` says when it has to be run. The page of outside checks is
`tools/write_checks.py`'s, which is run from here too.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer
from pydantic import BaseModel

from evenburn.adapters.formats.batch_toml import BatchTable
from evenburn.adapters.formats.beam_json import BeamDocument
from evenburn.adapters.formats.card_json import CardDocument
from evenburn.adapters.formats.machine_toml import MachineTable
from evenburn.adapters.formats.motion_json import MotionDocument
from evenburn.adapters.formats.ngc_reader.findings import RULES
from evenburn.adapters.formats.outcome_json import OutcomeDocument
from evenburn.adapters.formats.plan_json import plan_schema
from evenburn.adapters.formats.reading_json import ReadingDocument
from evenburn.adapters.formats.wood_toml import CurveDocument, WoodTable, materials, shipped_ids, shipped_wood
from evenburn.cli.main import app
from evenburn.core.response.curve import tone_range_L

REFERENCE = Path(__file__).resolve().parents[1] / "docs" / "reference"
CHECKS = "checks.md"  # tools/write_checks.py writes it whole
DIALECT = "https://json-schema.org/draft/2020-12/schema"
MARKED = re.compile(r"(<!-- (?P<name>[\w.-]+): begin[^>]*-->\n).*?(<!-- (?P=name): end -->)", re.DOTALL)
WRITTEN_BY_PEOPLE: dict[str, tuple[type[BaseModel], str]] = {
    "machine": (MachineTable, "evenburn machine.toml"),
    "batch": (BatchTable, "evenburn batch.toml"),
    "wood": (WoodTable, "evenburn woods/NAME.toml"),
    "curve": (CurveDocument, "evenburn curve.json"),
    "motion": (MotionDocument, "evenburn motion.json"),
    "beam": (BeamDocument, "evenburn beam.json"),
}
TOLD_ELSEWHERE = {"reading": {"CardDocument", *CardDocument.model_json_schema()["$defs"]}}  # it holds the card whole

WRITTEN_BY_US: dict[str, tuple[type[BaseModel], str]] = {
    "card": (CardDocument, "evenburn card.json"),
    "outcome": (OutcomeDocument, "evenburn outcome.json"),
}


# ---- JSON Schemas ------------------------------------------------------------------------------------------------


def _plain(node: Any, *, drop_null: bool, names: bool = False) -> Any:
    """Return a schema without titles nobody reads; `drop_null` also takes out null, which TOML cannot say.

    `names` tells that the keys of this table are names of fields, one of which may well be called title.
    """
    if isinstance(node, list):
        return [_plain(item, drop_null=drop_null) for item in node]
    if not isinstance(node, dict):
        return node
    plain = {
        key: _plain(value, drop_null=drop_null, names=key in ("properties", "$defs") and not names)
        for key, value in node.items()
        if names or not (key == "title" and isinstance(value, str))
    }
    if drop_null and not names:
        options = plain.get("anyOf")
        if isinstance(options, list) and {"type": "null"} in options:
            rest = [option for option in options if option != {"type": "null"}]
            del plain["anyOf"]
            plain = {**rest[0], **plain} if len(rest) == 1 else {**plain, "anyOf": rest}
        if plain.get("default", 0) is None:
            del plain["default"]
    return plain


def schemas() -> dict[str, dict[str, Any]]:
    """Return every published schema by the name of its file, without .schema.json."""
    made = {
        name: {"$schema": DIALECT, "title": title, **_plain(model.model_json_schema(), drop_null=True)}
        for name, (model, title) in WRITTEN_BY_PEOPLE.items()
    }
    for name, (model, title) in WRITTEN_BY_US.items():
        made[name] = {"$schema": DIALECT, "title": title, **_plain(model.model_json_schema(), drop_null=False)}
    reading = _plain(ReadingDocument.model_json_schema(), drop_null=False)
    made["reading"] = {"$schema": DIALECT, "title": "evenburn reading.json", **reading}
    plan = plan_schema()
    made["plan"] = {"$schema": DIALECT, "title": plan["title"], **_plain(plan, drop_null=False)}
    return made


# ---- tables of keys ----------------------------------------------------------------------------------------------


def _resolved(node: dict[str, Any], schema: dict[str, Any]) -> tuple[dict[str, Any], str]:
    """Return a node with its reference followed, and the name of the table it refers to."""
    reference = node.get("$ref")
    if reference is None:
        return node, ""
    name = str(reference).rsplit("/", 1)[-1]
    return schema["$defs"][name], name


def _number(value: float) -> str:
    return (
        f"{value:g}".replace("-", "−").replace("e+0", "e").replace("1e6", "1 000 000").replace("1e9", "1 000 000 000")
    )


def _range(node: dict[str, Any]) -> str:
    low, above = node.get("minimum"), node.get("exclusiveMinimum")
    high = node.get("maximum")
    if low is not None and high is not None:
        return f", {_number(low)} to {_number(high)}"
    if above is not None and high is not None:
        return f" above {_number(above)}, to {_number(high)}"
    if low is not None:
        return f", {_number(low)} or more"
    return f" above {_number(above)}" if above is not None else ""


def _kind(node: dict[str, Any], schema: dict[str, Any]) -> str:
    """Return what may stand at a key, in words."""
    node, table = _resolved(node, schema)
    if "anyOf" in node:
        return " or ".join(_kind(option, schema) for option in node["anyOf"])
    if "const" in node:
        return f"`{json.dumps(node['const'])}`"
    if "enum" in node:
        return ", ".join(f'`"{value}"`' for value in node["enum"])
    if table:
        return "table"
    match node.get("type"):
        case "number" | "integer":
            return ("whole number" if node["type"] == "integer" else "number") + _range(node)
        case "string" if "pattern" in node:
            return "id"
        case "string":
            return f"text, at most {node['maxLength']}" if "maxLength" in node else "text"
        case "array" if "prefixItems" in node:
            kinds = [_kind(item, schema) for item in node["prefixItems"]]
            return f"{len(kinds)} × {kinds[0]}" if len(set(kinds)) == 1 else f"[{'; '.join(kinds)}]"
        case "array":
            return f"list: {_kind(node['items'], schema)}"
        case "object":
            return "table"
        case _:
            return str(node.get("type", "any"))


def _default(name: str, node: dict[str, Any], required: list[str]) -> str:
    if name in required:
        return "needed"
    value = node.get("default")
    if value is None or value in ("", []):
        return "–"
    return f"`{json.dumps(value, ensure_ascii=False)}`"


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


def key_table(table: dict[str, Any], schema: dict[str, Any], *, all_needed: bool = False) -> str:
    """Return the Markdown table of a table's keys."""
    required = table.get("required", [])
    head = (
        ["key", "what may stand there", "meaning"]
        if all_needed
        else ["key", "what may stand there", "without it", "meaning"]
    )
    rows = [head, ["---"] * len(head)]
    for name, node in table["properties"].items():
        resolved, _ = _resolved(node, schema)
        meaning = _cell(node.get("description", resolved.get("description", "")))
        middle = [] if all_needed else [_default(name, node, required)]
        rows.append([f"`{name}`", _cell(_kind(node, schema)), *middle, meaning])
    return "".join(f"| {' | '.join(row)} |\n" for row in rows)


def key_tables(schema: dict[str, Any], *, stem: str) -> dict[str, str]:
    """Return the tables of a schema by the name of their marker: the whole file's, and one for each table in it."""
    needed = stem == "plan"
    tables = {stem: key_table(schema, schema, all_needed=needed)}
    for name, table in schema.get("$defs", {}).items():
        if name in TOLD_ELSEWHERE.get(stem, ()):
            continue
        word = re.sub(r"(Table|Document)$", "", name)
        slug = re.sub(r"(?<=[a-z])(?=[A-Z])", "-", word).lower()
        tables[f"{stem}.{slug}"] = key_table(table, schema, all_needed=needed)
    return tables


# ---- the command, the rules, the woods ---------------------------------------------------------------------------


def verbs(command: Any, name: str) -> Iterator[tuple[str, Any]]:
    """Yield every visible verb of a command line, spelled out."""
    below = getattr(command, "commands", None)
    if below is None:
        yield name, command
        return
    for word, child in below.items():
        if not getattr(child, "hidden", False):
            yield from verbs(child, f"{name} {word}")


def _metavar(parameter: Any) -> str:
    if getattr(parameter, "is_flag", False):
        return ""
    return f" {parameter.metavar or {'to': 'DIR', 'machine': 'FILE'}.get(parameter.name, parameter.name.upper())}"


def _without(parameter: Any) -> str:
    if parameter.required:
        return "needed"
    if parameter.default is None or parameter.default is False:
        return "–"
    return f"`{Path(parameter.default).as_posix() if isinstance(parameter.default, Path) else parameter.default}`"


def command_table(command: Any) -> str:
    """Return the usage line of a verb, what it does, and the Markdown table of what it takes."""
    rows = [["argument or option", "without it", "meaning"], ["---"] * 3]
    for parameter in command.params:
        is_argument = parameter.param_type_name == "argument"
        shown = parameter.name.upper() if is_argument else ", ".join(parameter.opts) + _metavar(parameter)
        rows.append([f"`{shown}`", _without(parameter), _cell(parameter.help or "")])
    table = "".join(f"| {' | '.join(row)} |\n" for row in rows)
    return f"{_cell(command.help or '')}\n\n{table}"


def rule_table() -> str:
    """Return the Markdown table of what `verify` finds."""
    rows = [["code", "level", "what to do"], ["---"] * 3]
    rows += [[f"`{code}`", level, _cell(remedy)] for code, (level, remedy) in RULES.items()]
    return "".join(f"| {' | '.join(row)} |\n" for row in rows)


def material_table() -> str:
    """Return the Markdown table of the materials that are refused or doubted, forbidden ones first."""
    rows = [["material", "", "why"], ["---"] * 3]
    rows += [[material.name, material.level, _cell(material.why)] for material in materials()]
    return "".join(f"| {' | '.join(row)} |\n" for row in rows)


def wood_table() -> str:
    """Return the Markdown table of the woods that ship."""
    rows = [["id", "bare tone, L*", "tones it can take, L*", "blotches, ± L*", "char limit, J/mm²"], ["---"] * 5]
    for wood_id in shipped_ids():
        curve = shipped_wood(wood_id).curve
        low, high = sorted(tone_range_L(curve))
        rows.append(
            [
                f"`{wood_id}`",
                f"{curve.bare_L:.0f}",
                f"{low:.0f} to {high:.0f}",
                f"{curve.evenness_L:.1f}",
                f"{10.0**curve.x_char:.2f}",
            ]
        )
    return "".join(f"| {' | '.join(row)} |\n" for row in rows)


def tables() -> dict[str, str]:
    """Return the text between every pair of markers, by the markers' name."""
    made: dict[str, str] = {}
    for stem, schema in schemas().items():
        made |= key_tables(schema, stem=stem)
    command = typer.main.get_command(app)
    made |= {name.replace(" ", "."): command_table(verb) for name, verb in verbs(command, "evenburn")}
    return made | {"rules": rule_table(), "materials": material_table(), "shipped-woods": wood_table()}


# ---- pages -------------------------------------------------------------------------------------------------------


def filled(page: str, made: dict[str, str], *, name: str) -> str:
    """Return a page with what stands between its markers made anew.

    Raises
    ------
    SystemExit
        If a marker has no text to put in.
    """
    unknown = [m["name"] for m in MARKED.finditer(page) if m["name"] not in made]
    if unknown:
        raise SystemExit(f"docs/reference/{name}: nothing is called {', '.join(unknown)}; there are {', '.join(made)}")
    return MARKED.sub(lambda m: f"{m[1]}\n{made[m['name']]}\n{m[3]}", page)


def reference(folder: Path) -> dict[str, str]:
    """Return every file of the reference as it should read, by its name.

    Raises
    ------
    SystemExit
        If a table is made that no page shows, or a marker asks for one that is not made.
    """
    made = tables()
    by_hand = [path for path in sorted(folder.glob("*.md")) if path.name != CHECKS]
    pages = {path.name: path.read_text(encoding="utf-8") for path in by_hand}
    shown = {m["name"] for page in pages.values() for m in MARKED.finditer(page)}
    silent = sorted(set(made) - shown)
    if silent:
        raise SystemExit(f"no page of docs/reference/ shows {', '.join(silent)}; give each a pair of markers")
    files = {name: filled(page, made, name=name) for name, page in pages.items()}
    files |= {
        f"{name}.schema.json": json.dumps(schema, ensure_ascii=False, indent=2) + "\n"
        for name, schema in schemas().items()
    }
    return files


def main() -> None:
    """Write what has changed and say what."""
    changed = 0
    for name, text in reference(REFERENCE).items():
        path = REFERENCE / name
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8", newline="\n")
            print(f"wrote docs/reference/{name}")
            changed += 1
    if not changed:
        print("docs/reference is fresh")
    import write_checks

    write_checks.main()


if __name__ == "__main__":
    main()
