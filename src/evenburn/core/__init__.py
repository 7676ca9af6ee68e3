"""The pure core: no files, clock, environment, logging or global state."""
