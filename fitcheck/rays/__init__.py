"""Straight lines through a world: what the first thing on them is."""
