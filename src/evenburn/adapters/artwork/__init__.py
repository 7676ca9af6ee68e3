"""Artwork that comes in: drawings, pictures and lettering."""
