"""The reader's own conversions, so that a fault in the writer's would be seen."""

S_PER_MIN = 60.0
MM_PER_INCH = 25.4  # exact, international yard and pound agreement of 1959
