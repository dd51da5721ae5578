"""
Other sounds of a shop: none of them is the cut, and none may raise an alarm.

All are invented: computed from a seed, after what such machines are known to do.
"""

from recordings_synthetic.shop.sound import KINDS, MAKERS, Kind, ShopSound, active, add, amplitude

__all__ = ["KINDS", "MAKERS", "Kind", "ShopSound", "active", "add", "amplitude"]
