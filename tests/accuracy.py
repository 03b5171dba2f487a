"""Worst errors of the kernels over the scenes of the tests, mm: what the README quotes.

Each is an upper limit that the tests assert on every run: distance against its certificate
and against bounded least squares, depth against the hull of differences (boxes) and 4,000
searched directions (cylinders), travel by the distance left where it ends.
"""

# (distance, depth, travel) of a pair of kinds.
WORST = {
    ("box", "box"): (1e-9, 1e-9, 1e-9),
    ("box", "cylinder"): (1e-6, 1e-6, 3e-6),  # slivers of 0.01 mm along 600 mm: 1.8e-6
    ("cylinder", "cylinder"): (1e-6, 1e-6, 3e-6),
}

# Where two bodies with a cylinder are deep in each other, the depth and its normal are as exact as
# above, but the pair of points drawn for them may lie outside by so much, mm (found: 0.099 in
# 2.8 million pairs, the worst nested 350 mm deep).
DEEP_POINT = 0.15
# The normal is the direction between the nearest points; how much less than the distance separates the
# bodies along it, mm (found: 9.7e-4, among nearly touching ones). Nearer than COINCIDENT two points have no direction to speak of.
ALONG_NORMAL = 2e-3
COINCIDENT = 1e-6
