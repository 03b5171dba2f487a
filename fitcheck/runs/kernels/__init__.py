"""Compiled questions about runs; loaded only when a scene has runs."""
