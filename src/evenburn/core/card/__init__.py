"""Test cards: designed, found in a photograph, read."""
