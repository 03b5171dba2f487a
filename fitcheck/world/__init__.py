"""Placing parts, and the geometry engine."""
