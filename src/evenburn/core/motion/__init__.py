"""How the head moves: velocity profiles, raster events, the clock and the bounds."""
