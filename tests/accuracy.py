"""Worst errors of the kernels over the scenes of the tests, mm: what the README quotes.

Each is an upper limit that the tests assert on every run: distance against its certificate
and against bounded least squares, depth against the hull of differences (boxes) and 4,000
searched directions (cylinders), travel by the distance left where it ends.
"""

# (distance, depth, travel) of a pair of kinds.
WORST = {
    ("box", "box"): (1e-9, 1e-9, 1e-9),
    ("box", "cylinder"): (1e-6, 1e-6, 1e-6),
    ("cylinder", "cylinder"): (1e-6, 1e-6, 1e-6),
}
