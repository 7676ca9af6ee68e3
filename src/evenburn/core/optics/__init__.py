"""How the beam reaches the surface: spot, depth of focus, and the dose that scan lines leave."""
