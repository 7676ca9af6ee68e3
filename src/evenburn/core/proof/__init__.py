"""From events and beam to a dose map, and from a dose map to the predicted look."""
