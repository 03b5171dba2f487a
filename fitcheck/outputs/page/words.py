"""What the page says beside figures and names."""

from __future__ import annotations

# As in the README.
CAUTIONS = (
    "fitcheck measures a drawing, not your parts: measure them, and test-fit before you cut.",
    "Deburr and wear eye protection when you drill or cut.",
    "Leak-test a loop with the supply unplugged, and keep coolant joints away from mains parts.",
    "Glass and full cases are heavy.",
    "Wiring that carries mains voltage is work for someone licensed for it; local codes come first.",
)
# What the colours of a drawing tell, by what it is coloured by.
HEADINGS = {
    "clearance": "distance to the nearest part that is not meant to touch",
    "verdict": "worst finding that names the part",
    "role": "what each solid is",
}
