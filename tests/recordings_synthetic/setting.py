"""What faults are given in their tests: a machine that cuts a straight slot at 40 mm/s."""

import numpy as np

from recordings_synthetic.faults import Fault, Setting, Spell, Trouble

STEP = 0.001


def setting(spell=None, *, count=9000, depth=4.0, seed=1, towards=(40.0, 0.0, 0.0)) -> Setting:
    """Return a setting of ``count`` ticks; the bit moves by ``towards`` mm/s all the time."""
    return Setting(
        spell=Spell(1000, 5000) if spell is None else spell,
        step=STEP,
        seed=seed,
        position=np.outer(np.arange(count) * STEP, towards),
        cutting=np.ones(count, np.bool_),
        depth=np.broadcast_to(np.asarray(depth, dtype=np.float64), (count,)),
        speed=np.full(count, 300.0),
        flutes=np.full(count, 2.0),
        diameter=np.full(count, 6.0),
        steps=(20.0, 20.0, 40.0),
    )


def unfolded(fault: Fault, **how) -> Trouble:
    """Return what a fault does in such a setting."""
    return fault.unfold(setting(**how))
