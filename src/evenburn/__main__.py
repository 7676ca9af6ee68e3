"""`python -m evenburn`."""

from evenburn.cli.main import run

run()
