"""Where things lie: outlines, places on the bed, room for the run-up."""
