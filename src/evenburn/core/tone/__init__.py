"""Light and eye: lightness, sRGB, what banding the eye sees, and halftones."""
