"""Loops: where the coolant is, how it drains and fills, what it takes to pump it."""
