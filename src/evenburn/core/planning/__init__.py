"""From machine, lens, wood and artwork to a recipe, its program, its checks, and the order of the batch."""
