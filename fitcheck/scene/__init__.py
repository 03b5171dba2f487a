"""Reading the scene file: what was written, and where."""
