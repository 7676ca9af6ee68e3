"""Photographs of cards and pieces, opened as the camera encoded them."""
