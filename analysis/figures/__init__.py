"""
Pictures: of a program before it is cut; of a run, what was heard over time and what became of the parts.

Values in, a ``matplotlib.figure.Figure`` out; saving or showing it is the caller's. Nothing is told by colour
alone: every state and verdict has a hatch and a word as well.
"""

from analysis.figures.orders import orders_picture
from analysis.figures.plan_view import plan_view
from analysis.figures.sheet import sheet
from analysis.figures.timeline import timeline

__all__ = ["orders_picture", "plan_view", "sheet", "timeline"]
