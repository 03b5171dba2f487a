"""The ways of the air: fans, openings, and how narrow the free space between them is."""
