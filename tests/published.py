"""Published values that the built-in models are held against, each with its source.

`Published` entries stand in a named document. How well each was seen is said beside it:
standard text (the page was read), quoted (files quote the document's table and agree), secondary (other public
pages or files repeat it), package (read in a package's data, recomputed where a formula exists).
Values of the trade that no standard fixes are listed apart, as TRADE.
Lengths in mm.
"""

# --- Boards -------------------------------------------------------------------------------------------------------
# Board frame of the standards: origin where the rear edge meets the slot-side edge; x along the rear edge from the
# slots to the rear connectors; y from the rear edge to the front, DOWN in that view of the component side. With z
# out of the component side that frame is left-handed.

# ATX 2.x board size; microATX interface specification 1.2, clause 2.1, table 3 (standard text, p. 9).
# Mini-ITX addendum 1.1 to microATX 1.2, table 1 (standard text, p. 5).
OUTLINES = {"atx": (304.8, 243.84), "micro_atx": (243.84, 243.84), "mini_itx": (170.0, 170.0)}

# microATX 1.2, figure 4, notes: typical board 0.062 in (standard text, p. 14).
BOARD_THICKNESS = 1.57

# ATX 2.x mechanical drawing; microATX 1.2 figures 2 and 3; Mini-ITX addendum 1.1 figure 3.
# Quoted: positions in four independent files that agree exactly; hole sets in microATX 1.2, p. 10.
BOARD_HOLES = {
    "atx": {
        "a": (16.51, 10.16), "c": (140.97, 10.16), "f": (298.45, 33.02),
        "g": (16.51, 165.10), "h": (140.97, 165.10), "j": (298.45, 165.10),
        "k": (16.51, 237.49), "l": (140.97, 237.49), "m": (298.45, 237.49),
    },
    "micro_atx": {
        "b": (34.29, 10.16), "c": (80.01, 10.16), "f": (237.49, 33.02),
        "h": (80.01, 165.10), "j": (237.49, 165.10), "l": (80.01, 237.49), "m": (237.49, 237.49),
        # R and S of the standard; which letter is which was not confirmed, the positions were.
        "b_middle": (34.29, 165.10), "b_front": (34.29, 237.49),
    },
    "mini_itx": {"c": (6.35, 10.16), "f": (163.83, 33.02), "h": (6.35, 165.10), "j": (163.83, 165.10)},
}  # fmt: skip

# ATX, microATX and Mini-ITX drawings, 0.156 in (quoted).
BOARD_HOLE_DIAMETER = 3.96

# microATX 1.2, clause 2.4.2: 0.250 in under the board kept clear by the case (quoted).
UNDER_BOARD = 6.35

# microATX 1.2, figure 4, notes (standard text, p. 14): cut-out 6.25 x 1.75 in; 0.150 in between the top of the
# board and the lower edge of the cut-out; panel 0.037 to 0.052 in.
APERTURE = {"width": 158.75, "height": 44.45, "board_top_to_lower_edge": 3.81}
APERTURE_PANEL = (0.94, 1.32)
# ATX 2.x figure 4: left edge 0.296 in and right edge 6.546 in from hole C (quoted, three files).
APERTURE_FROM_HOLE_C = (7.52, 166.27)
# microATX 1.2, figure 5 (standard text, p. 15): connector zone, and its faces behind the hole row.
CONNECTOR_ZONE = (152.15, 37.34)
CONNECTOR_FACE = 11.30

# --- Cards --------------------------------------------------------------------------------------------------------
# ATX 2.x and PCI Express CEM: 0.800 in (secondary, three files).
SLOT_PITCH = 20.32
# PCI Express CEM, add-in card form factors: 4.376 in high with the edge contacts, 12.283 and 6.600 in long (secondary).
CARD_HEIGHT = 111.15
CARD_FULL_LENGTH = 312.0
CARD_HALF_LENGTH = 167.65
# PCI Express CEM (secondary).
CARD_THICKNESS = 1.57
# PCI Express CEM bracket figures (secondary; two independent files): height, width, thickness, screw slot.
BRACKET = {"height": 120.02, "width": 18.42, "thickness": 0.86, "screw_slot": 4.42}
# PCI Express CEM figure 6-1 (quoted): x16 connector, and the seat of the card above the board.
SLOT_CONNECTOR = {"length": 89.0, "width": 7.5, "height": 11.25, "card_seat": 3.40}
# PCI Express CEM figures 6-1 and 6-3 (quoted): long and short section of the x16 tongue.
TONGUE = {"long": 72.15, "short": 11.65}

# --- Drives -------------------------------------------------------------------------------------------------------
# x across from the middle, y from the connector end (5.25 in: from the bezel's rear face), z from the bottom.
DRIVES = {
    # SFF-8201 rev 3.4, table 3-1: A4, A6; A52, A53, A23; A50, A51, A29 (quoted).
    "drive_2_5": {
        "width": 69.85, "length": 100.45,
        "side_y": (14.00, 90.60), "side_z": (3.00,), "bottom_x": 61.72, "bottom_y": (14.00, 90.60),
    },
    # SFF-8301 rev 3.4, table 3-1: A3, A2, A1; A8, A9, A10; A4, A5, A6, A7, A13 (quoted, two files).
    "drive_3_5": {
        "width": 101.60, "length": 147.00, "height": 26.10,
        "side_y": (28.50, 130.10), "side_z": (6.35,), "bottom_x": 95.25, "bottom_y": (41.28, 85.73),
    },
    # SFF-8551 rev 3.3, table 5-1: A1, A2, A3; A10, A11, A13, A14; A6, A7, A8, A9 (quoted).
    "drive_5_25": {
        "width": 146.05, "length": 202.80, "height": 41.53,
        "side_y": (47.40, 126.65), "side_z": (10.00, 21.84), "bottom_x": 139.70, "bottom_y": (47.40, 126.65),
    },
}  # fmt: skip
# SFF-8201 table 3-1: the heights a 2.5 in drive may have (quoted).
DRIVE_2_5_HEIGHTS = (5.0, 7.0, 8.47, 9.5, 10.5, 12.7, 15.0, 17.0, 19.05)
# SFF-8551 table 5-1, A16, A17, A5 (quoted).
BEZEL = {"width": 148.00, "height": 42.30, "depth": 5.00}

# --- Supplies -----------------------------------------------------------------------------------------------------
# ATX12V design guide, mechanical outline: width, height, depth (secondary, two pages and two files).
SUPPLY_ATX = (150.0, 86.0, 140.0)
# The same: screws from the lower left corner of the rear face, seen from outside (secondary, two independent files).
SUPPLY_ATX_SCREWS = ((6.0, 16.0), (6.0, 80.0), (144.0, 80.0), (120.0, 6.0))
# ATX power supply design guide 0.9, clause 4.3: 0.5 in clear of intake and exhaust (standard text, p. 23).
SUPPLY_AIR = 12.7
# SFX12V design guide, 60/80 mm fan profile: width, height, depth (secondary, two pages).
SUPPLY_SFX = (125.0, 63.5, 100.0)

# --- Threads and holes --------------------------------------------------------------------------------------------
# ISO 228-1, table 1: major diameter and pitch of G1/4 (package; 25.4 / 19 = 1.337).
G1_4_MAJOR = 13.157
G1_4_PITCH = 1.337
# ISO 261 (nominal), ASME B1.1: No. 6 is 0.1380 in (package; public thread table).
STUD_MAJOR = {"M2.5": 2.5, "M3": 3.0, "M4": 4.0, "6-32": 3.505}
# Tap drills: ISO 2306 (d - P) and drill #36, 0.1065 in (package).
TAP_DRILLS = {"M2.5": 2.05, "M3": 2.5, "M4": 3.3, "6-32": 2.705}
# 2B minor diameter of 6-32, ASME B1.1: 0.104 to 0.114 in (public thread table).
MINOR_6_32 = (2.64, 2.90)
# ISO 273 (package).
CLEARANCE = {
    "M2.5": {"fine": 2.7, "medium": 2.9, "coarse": 3.1},
    "M3": {"fine": 3.2, "medium": 3.4, "coarse": 3.6},
    "M4": {"fine": 4.3, "medium": 4.5, "coarse": 4.8},
    "M5": {"fine": 5.3, "medium": 5.5, "coarse": 5.8},
    "M6": {"fine": 6.4, "medium": 6.6, "coarse": 7.0},
}
# ASME B18.2.8, normal fit for No. 6: drill #18, 0.170 in (package).
CLEARANCE_NO_6 = 4.32

# --- The trade's own: no standard fixes these; several public files and pages agree ---------------------------------
# Frame and pitch of the screw holes of axial fans. 180 mm is from memory and left out.
TRADE_FAN_PITCH = {
    40: 32.0,
    50: 40.0,
    60: 50.0,
    80: 71.5,
    92: 82.5,
    120: 105.0,
    140: 124.5,
    200: 154.0,
    220: 170.0,
}
# 3 x 120 in a row, from the first hole.
TRADE_ROW_3_120 = (0.0, 105.0, 120.0, 225.0, 240.0, 345.0)
# Outline of the two-row power plug at 4.2 pitch: 24 ways 51.6 (one public file).
TRADE_24_WAY = 51.6
