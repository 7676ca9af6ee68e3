"""Hypothesis profiles: `ci` gives the same examples every time, `soak` searches long and at random (`make soak`)."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

# No deadline in either: these tests promise laws, and a shared machine's pauses are not breaches of a law.
settings.register_profile("ci", derandomize=True, deadline=None, max_examples=60)
settings.register_profile(
    "soak", deadline=None, max_examples=3000, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("ci")  # `--hypothesis-profile=soak` comes later and wins
