"""How much a file may hold: every limit by name, with its reason.

A file may come from a stranger. Each limit lies far above what an honest machine needs and
far below what would cost a second or half a gigabyte; each error names the limit it met.
"""

# A scene of 60 parts has about 15 kB. One scalar of 20 MB held a YAML reader for 7 s.
FILE_BYTES = 1 << 20
# 10,000 keys and values, each on a line, with as many comments.
LINES = 20_000
# A turned solid in a repeated assembly is 8 deep. Recursive code downstream stays shallow.
NESTING = 32
# Keys, values, lists and mappings together; a scene of 250 lines has about 1,300.
NODES = 10_000
# No size, position or index is longer; bounds the nested depth and the exponents too.
EXPRESSION_CHARACTERS = 200
# Brackets, calls, indices and signs inside each other: keeps the parser's recursion shallow.
EXPRESSION_DEPTH = 16
# Mistakes of one text that are said at once; after so many, reading ends.
MISTAKES = 100
# The longest number a plain YAML value may have; Python refuses thousands of digits late.
NUMBER_CHARACTERS = 40
# mm: 100 m. Beyond it a case is a typing mistake, and 0.001 mm is lost in single precision.
LENGTH = 100_000.0
# Degrees: 100 turns. Sine and cosine stay exact to the last digits up to there.
ANGLE = 36_000.0
# A count beyond this counts nothing in a machine; keeps whole numbers exact as floats.
COUNT = 1_000_000
# Entries that one `repeat` makes; a hole pattern of 30 by 30 is inside.
REPEAT = 1_000
# Placed parts of a scene, assemblies taken apart; the pair checks are quick to here.
PARTS = 2_000
# Models inside models inside models (`use`); a model that uses itself ends here at the latest.
ASSEMBLY_DEPTH = 16
# Combinations of a layouts file, excluded ones counted: hours of asking, and some 10 bytes for each.
LAYOUTS = 10_000_000
