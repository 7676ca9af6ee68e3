"""evenburn: the bench book that computes."""
