"""Hypothesis profiles: `ci` gives the same examples every time, `lap` others each time (`make soak`), `campaign` many of them."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings

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


@pytest.hookimpl(tryfirst=True)  # before the processes agree on what there is to do
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep a file's tests in one process, and all files of service tests that look at the planned demo: it is planned once."""
    looking = {
        item.path
        for item in items
        if item.nodeid.startswith("tests/service/") and "demo" in getattr(item, "fixturenames", ())
    }
    for item in items:
        item.add_marker(pytest.mark.xdist_group("demo" if item.path in looking else item.path.stem))
