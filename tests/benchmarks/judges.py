"""
Which seeds each benchmark judges by.

What one of them has shown must judge no other, and nothing may be chosen by it: so no two share a seed, and a
range that has judged a state is spent once something was changed after it was seen. Seeds below 100000 are to
work by (``hearing.seeds`` shares them out).
"""

DEVELOPMENT = range(100_000)

HEARING = range(1_900_000, 1_930_000)
PLACE = range(950_000, 954_000)
LINES = range(974_000, 978_000)
BITS = range(980_000, 983_000)
"""First seconds with and without a reference."""
TUNING = range(985_000, 985_200)
TIGHTENED = range(991_000, 991_400)
GAIN = range(800_000, 800_200)

SPENT = (
    range(500_000, 680_000),
    range(700_000, 754_000),
    range(850_000, 930_000),
    range(960_000, 968_000),
    range(970_000, 974_000),
    range(990_000, 990_400),
    range(1_000_000, 1_830_000),
)
"""
By the hearing 500000 to 600000, 900000 to 930000 and those from 1000000 on; by the place 600000, 650000,
850000, 960000, 964000, and 900000, most of which the hearing had spent; by the lines 740000, some of which
had tuned limits, and 970000; by bits and tuning those from 700000 on; by what was tightened 990000.
"""
