"""Pictures written to disk: the burn image, the mark's place on the bed, the proof."""
