"""No two marks, proofs and dry traces of a batch may have one file name."""

from __future__ import annotations

import pytest

from evenburn.adapters.formats.batch_toml import file_clash


@pytest.mark.parametrize(
    ("pieces", "clash"),
    [
        ({"a": ["b", "c"], "d": ["b"]}, None),
        ({"a": ["b-c"], "a-b": ["c"]}, "a-b-c"),
        ({"a": ["proof"]}, "a-proof"),
        ({"a": ["b", "b-trace"]}, "a-b-trace"),
        ({"a": ["b"], "a-b": ["trace"]}, "a-b-trace"),
        ({"a": ["trace"]}, None),
    ],
)
def test_names_that_meet_are_found(pieces: dict[str, list[str]], clash: str | None) -> None:
    assert file_clash(pieces) == clash
