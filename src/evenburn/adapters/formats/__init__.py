"""File formats, one module or package for each; strangers to one another."""
