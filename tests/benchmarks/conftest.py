"""Lets the checks of the benchmarks import what the benchmarks are made of, as the commands themselves do."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
