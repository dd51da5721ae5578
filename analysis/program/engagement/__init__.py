"""
How deep and how wide each move cuts.

`pieces` turns moves into straight pieces and into the steps over which the cut is measured, `sheet` takes
the material away piece by piece, `measure` turns what each step took away into depth, width and rate.
`besides` says what would be cut of another sheet.
"""

from analysis.program.engagement.besides import besides
from analysis.program.engagement.measure import Engagement, engagement

__all__ = ["Engagement", "besides", "engagement"]
