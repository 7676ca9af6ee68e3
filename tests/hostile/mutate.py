"""Ways to spoil a file: bytes, tokens of a text, values of a tree, members of an archive."""

from __future__ import annotations

import io
import json
import re
import warnings
import zipfile
import zlib
from collections.abc import Callable
from random import Random
from typing import Any

NUMBERS = ("0", "-0", "-1", "1", "0.5", "1e-300", "-1e-9", "1e300", "-1e300", "1e999", "nan", "inf", "-inf", "2147483648",
           "-9223372036854775809", "18446744073709551616", "1e7", "0.0001", "99999", "1_0", "0x10", "007", "1e", ".", "-", "",
           "9" * 400, "1,5", "١٢", "½")  # fmt: skip
WORDS = ("", " ", "\0", "\n", "\r\n", "\ufeff", "\u202e", "\U0001f6a3", "é\u0301" * 50, "../secret", "/etc/hostname", "a" * 5000, "%s%n{}", "<b>",
         "'", '"', "\\", "#", "NULL", "true", "[[", "]]", "{", "}", "CON", "..", "\ud7ff", "url(#a)")  # fmt: skip
NUMBER = re.compile(rb"[-+]?\d+\.?\d*(?:[eE][-+]?\d+)?")
MAGIC_BYTES = (0, 1, 0x20, 0x7F, 0x80, 0xC0, 0xFE, 0xFF)
LONGEST = 300_000


def spoil_bytes(rng: Random, data: bytes) -> bytes:
    """Return bytes with some changed, lost, doubled or moved."""
    made = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 2, 4, 16))):
        if not made:
            return bytes(rng.randrange(256) for _ in range(rng.randrange(64)))
        at = rng.randrange(len(made))
        span = min(len(made) - at, rng.choice((1, 1, 2, 4, 8, 64, 1024)))
        match rng.randrange(8):
            case 0:
                made[at] ^= 1 << rng.randrange(8)
            case 1:
                made[at] = rng.choice(MAGIC_BYTES)
            case 2:
                del made[at : at + span]
            case 3:
                made[at:at] = made[at : at + span] * rng.choice((1, 1, 3, 40))
            case 4:
                made[at : at + span] = bytes(rng.randrange(256) for _ in range(span))
            case 5:
                other = rng.randrange(len(made))
                made[at:at] = made[other : other + span]
            case 6:
                made[at : at + 4] = rng.choice((b"\0\0\0\0", b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"\0\0\0\x01"))
            case _:
                if rng.random() < 0.3:
                    del made[at:]
                else:
                    made[at] = (made[at] + rng.choice((-1, 1))) % 256
    return bytes(made[:LONGEST])


def spoil_text(rng: Random, data: bytes) -> bytes:
    """Return a text with numbers, words or lines changed for others, as a careless or an ill-meaning hand would."""
    made = data
    for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
        match rng.randrange(7):
            case 0 | 1 | 2:
                hits = list(NUMBER.finditer(made))
                if hits:
                    hit = rng.choice(hits)
                    made = made[: hit.start()] + rng.choice(NUMBERS).encode() + made[hit.end() :]
            case 3:
                lines = made.split(b"\n")
                at = rng.randrange(len(lines))
                what = rng.randrange(3)
                if what == 0:
                    del lines[at]
                elif what == 1:
                    lines.insert(rng.randrange(len(lines) + 1), lines[at])
                else:
                    lines[at : at + 1] = [lines[at]] * rng.choice((2, 5, 200))
                made = b"\n".join(lines)
            case 4:
                at = rng.randrange(len(made) + 1)
                made = made[:at] + rng.choice(WORDS).encode("utf-8", "surrogatepass") + made[at:]
            case 5:
                tokens = re.findall(rb"[\w.#-]+|[^\w\s]", made)
                if tokens:
                    one, other = rng.choice(tokens), rng.choice(tokens)
                    places = [m.start() for m in re.finditer(re.escape(one), made)]
                    at = rng.choice(places)
                    made = made[:at] + other + made[at + len(one) :]
            case _:
                if rng.random() < 0.2:
                    made = spoil_bytes(rng, made)
    return made[:LONGEST]


def spoil_groups(rng: Random, data: bytes) -> bytes:
    """Return a DXF with values of its groups changed for others of their kind, so that it is still read as one."""
    lines = data.split(b"\n")
    pairs = [at for at in range(0, len(lines) - 1, 2) if lines[at].strip().isdigit() and 10 <= int(lines[at]) < 100]
    for _ in range(rng.choice((1, 2, 4, 12))):
        if not pairs:
            break
        at = rng.choice(pairs[-len(pairs) // 3 :] if rng.random() < 0.8 else pairs)
        whole = int(lines[at]) >= 60
        odd = (
            ("0", "1", "2", "-1", "3", "7", "255", "32767")
            if whole
            else ("0", "1", "-1", "0.001", "1e6", "1e-9", "1e20", "1e300", "nan", "90", "-5")
        )
        lines[at + 1] = rng.choice(odd).encode()
    if rng.random() < 0.3 and len(pairs) > 20:
        at, other = rng.choice(pairs), rng.choice(pairs)
        lines[at : at + 2] = lines[other : other + 2]
    return b"\n".join(lines)


# ---- trees, as of JSON and TOML ----------------------------------------------------------------------------------


def _near_value(rng: Random, old: Any) -> Any:
    """Return another value of the same kind, which may well be allowed."""
    if isinstance(old, bool) or old is None:
        return not old
    if isinstance(old, int | float):
        made = old * rng.choice((0.001, 0.1, 0.5, 0.9, 1.1, 2.0, 10.0, 100.0)) + rng.choice((0, 0, 0, 1, -1))
        return round(made) if isinstance(old, int) else float(made)
    if isinstance(old, str) and old:
        at = rng.randrange(len(old))
        return rng.choice((old[:at], old[at:], old[:at] + rng.choice("aé漢 -_1/.") + old[at:], old.title()))
    if isinstance(old, list) and old:
        return rng.choice((old[::-1], old[1:], old[:-1], [*old, old[-1]], [old[0]] * len(old), sorted(old, key=str)))
    return old


def _odd_value(rng: Random, old: Any) -> Any:
    if rng.random() < 0.5:
        return _near_value(rng, old)
    deep: Any = []
    for _ in range(rng.choice((3, 50, 400))):
        deep = [deep]
    odd = [None, True, False, 0, -1, 1, 2**63, -(2**70), 1e308, -1e308, 1e-308, float("nan"), float("inf"), 1e7, 0.001,
           "", "x", "a" * 4000, "../secret.toml", "\0", [], {}, [[]], {"": {}}, deep, [0] * 2000, "1", [1, 2, 3]]  # fmt: skip
    if isinstance(old, float | int) and not isinstance(old, bool):
        odd += [-old, old * 1e6, old * 1e-6, old + 1, old - 1, str(old), float(old), [old], old * 2, old / 2] * 3
    if isinstance(old, str):
        odd += [old.upper(), old + " ", old * 40, rng.choice(WORDS), old[::-1]] * 2
    if isinstance(old, list):
        odd += [old * 2, old[:1], old[::-1], [*old, old[0] if old else 0], old * 200][: 5 if len(old) < 500 else 4]
    if isinstance(old, dict):
        odd += [{**old, "stray": 1}, dict(list(old.items())[:1])]
    return rng.choice(odd)


def _places(node: Any, trail: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [trail] if trail else []
    items = node.items() if isinstance(node, dict) else enumerate(node[:40]) if isinstance(node, list) else ()
    for key, value in items:
        found += _places(value, (*trail, key))
    return found


def spoil_tree(rng: Random, tree: Any) -> Any:
    """Return a copy of a tree of tables, lists and values, some of them lost, doubled or changed."""
    made = json.loads(json.dumps(tree))
    for _ in range(rng.choice((1, 1, 1, 1, 2, 3, 8))):
        places = _places(made)
        if not places:
            return made
        *trail, last = rng.choice(places)
        holder = made
        for key in trail:
            holder = holder[key]
        if rng.random() < 0.15:
            del holder[last]
        elif rng.random() < 0.1 and isinstance(holder, list):
            holder.append(holder[last])
        else:
            holder[last] = _odd_value(rng, holder[last])
    return made


def spoil_json(rng: Random, data: bytes) -> bytes:
    """Return a JSON file with its tree spoiled, or its text."""
    if rng.random() < 0.25:
        return spoil_text(rng, data)
    try:
        return json.dumps(spoil_tree(rng, json.loads(data)), ensure_ascii=rng.random() < 0.5).encode("utf-8", "replace")
    except (ValueError, RecursionError, OverflowError):  # a case found before, spoiled again
        return spoil_text(rng, data)


def toml_text(tree: dict[str, Any]) -> str:
    """Return tables as TOML; what TOML cannot say is left out."""
    return "\n".join(f"{json.dumps(key)} = {_toml(value)}" for key, value in tree.items() if value is not None) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(k)} = {_toml(v)}" for k, v in value.items() if v is not None) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(v) for v in value if v is not None) + "]"
    if isinstance(value, float):
        return repr(value)
    return json.dumps(value)


# ---- archives ----------------------------------------------------------------------------------------------------

BAD_MEMBERS = (
    "../secret.svg",
    "/" + "tmp/secret",
    "files/../../secret.svg",
    "tables/../book.json",
    "C:\\secret",
    "files/" + "0" * 64,
    "",
    "a" * 300,
)


def spoil_zip(rng: Random, data: bytes) -> bytes:
    """Return an archive with members lost, doubled, renamed, spoiled, or blown up."""
    if rng.random() < 0.25:
        return spoil_bytes(rng, data)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            members = [(info.filename, packed.read(info)) for info in packed.infolist()]
    except (
        zipfile.BadZipFile,
        zlib.error,
        ValueError,
        RuntimeError,
        EOFError,
        OSError,
        MemoryError,
    ):
        return spoil_bytes(rng, data)
    for _ in range(rng.choice((1, 1, 2, 4))):
        if not members:
            break
        at = rng.randrange(len(members))
        name, body = members[at]
        match rng.randrange(6):
            case 0:
                del members[at]
            case 1:
                members.insert(at, members[at])
            case 2:
                members.append((rng.choice(BAD_MEMBERS), body))
            case 3:
                members[at] = (name, _spoil_member(rng, name, body))
            case 4:
                members[at] = (name, body * rng.choice((2, 3, 50)) if len(body) < 20_000 else b"")
            case _:
                members[at] = (name, _spoil_member(rng, name, _spoil_member(rng, name, body)))
    out = io.BytesIO()
    with (
        warnings.catch_warnings(),
        zipfile.ZipFile(out, "w", rng.choice((zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED))) as packed,
    ):
        warnings.simplefilter("ignore")  # of a name that stands twice: it is meant to
        for name, body in members:
            try:
                packed.writestr(name, body)
            except (ValueError, OSError, IndexError):
                continue
    return out.getvalue()


def _spoil_member(rng: Random, name: str, body: bytes) -> bytes:
    if name.endswith(".jsonl"):
        lines = [line for line in body.split(b"\n") if line]
        if lines and rng.random() < 0.8:
            at = rng.randrange(len(lines))
            lines[at] = spoil_json(rng, lines[at])
            return b"\n".join(lines) + b"\n"
        return body + rng.choice((b"{}\n", b"[]\n", b"null\n", b"{\n", b"1\n", b'{"id": 1}\n', b"\xff\n"))
    return spoil_json(rng, body) if name.endswith(".json") else spoil_bytes(rng, body)


Spoil = Callable[[Random, bytes], bytes]
