"""How a book of one version becomes one of the next; run by `opening`."""
