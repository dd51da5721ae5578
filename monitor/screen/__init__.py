"""
What the person at the machine sees.

A screen that is read at two metres, where there is a terminal for it; else plain lines, or JSON.
"""

from monitor.screen.json_lines import JsonLines
from monitor.screen.lines import Screen
from monitor.screen.shown import Shown

__all__ = ["JsonLines", "Screen", "Shown"]
