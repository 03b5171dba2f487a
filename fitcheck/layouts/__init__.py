"""Layouts: one scene asked many times, with other values, parts and placements."""
