"""Hypothesis profiles: `ci` gives the same examples every time, `lap` others each time (`make soak`), `campaign` many of them."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings
from xdist.remote import Producer
from xdist.scheduler import LoadFileScheduling

# No deadline in any: these tests promise laws, and a shared machine's pauses are not breaches of a law.
settings.register_profile("ci", derandomize=True, deadline=None, max_examples=60)
for name, many in (("lap", 60), ("campaign", 3000)):
    settings.register_profile(
        name,
        deadline=None,
        max_examples=many,
        print_blob=True,
        database=None,
        suppress_health_check=[HealthCheck.too_slow],
    )
settings.load_profile("ci")  # `--hypothesis-profile=lap` comes later and wins


class ByFile(LoadFileScheduling):  # type: ignore[misc]  # xdist tells no types
    """Keep the tests of a file in one process, and those of all files that look at the planned demo: it is planned once."""

    def __init__(self, config: pytest.Config, log: Producer) -> None:
        super().__init__(config, log)
        files = (config.rootpath / "tests" / "service").glob("test_*.py")
        self.looking = {f"tests/service/{f.name}" for f in files if ": Planned" in f.read_text(encoding="utf-8")}

    def _split_scope(self, nodeid: str) -> str:
        file: str = super()._split_scope(nodeid)
        return "the demo" if file in self.looking else file


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> ByFile | None:
    """Hand out tests as `ByFile` says wherever they are handed out by files."""
    return ByFile(config, log) if config.getvalue("dist") == "loadfile" else None
