"""Screws and the holes they go through: standard sizes, facing patterns, lengths, room for keys and nuts."""
