"""Tolerances: how far everything may be off when every uncertain length is, proved and by chance."""
