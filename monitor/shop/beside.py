"""The announcing beside the listening."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from analysis.listener import Listener
from analysis.program import Program, find_parts
from monitor.kept.keeping import now
from monitor.screen.seen import Looking
from monitor.shop.address import Shop
from monitor.shop.announcer import Announcer, Machine
from monitor.watch import Ears

# s of sound from one look to the next, s from one state to the next, and s that events get at the end.
_EVERY, _BEAT, _AT_THE_END = 0.5, 5.0, 3.0


@contextmanager
def shop_ears(
    shop: Shop, machine: Machine, program: Program | None, show: Callable[[str], None]
) -> Iterator[Ears]:
    """
    Give ears that announce a machine.

    Parameters
    ----------
    shop
        Where it is announced.
    machine
        Which machine.
    program
        What it cuts.
    show
        Gets a line about trouble with the broker, on the thread that listens.
    """
    announcer = Announcer(shop, machine, now, beat=_BEAT)
    looking = Looking(find_parts(program) if program else ())
    due = 0.0

    def progress(listener: Listener) -> None:
        nonlocal due
        if listener.at >= due:
            due = listener.at + _EVERY
            announcer.see(looking.look(listener))

    def asked() -> tuple[()]:
        announcer.alive()
        for line in announcer.said():
            show(line)
        return ()

    try:
        yield Ears(at_once=announcer.alert, event=announcer.tell, progress=progress, asked=asked)
    finally:
        announcer.finish(_AT_THE_END)
        for line in announcer.said():
            show(line)
