"""evenburn: the bench book that computes."""

__version__ = "0.1.0"
