"""
Simulated machines on one broker that is killed and started again twice: what arrives of what they told.

    python tests/benchmarks/bench_shop.py [--minutes 10] [--machines 20]

Each machine is an announcer as `chipsong watch --shop` has one, told of events at random times, about two
seconds apart, also while there is no broker. One hears them as `chipsong shop` does. Two other machines are
not simulated well: their processes are killed on the way, and the last will must tell of it.
"""

import argparse
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from itertools import pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "monitor"))
sys.path.insert(0, str(Path(__file__).parents[1] / "monitor" / "shop"))

from hearing_all import HearingAll
from receivers import HERE, Broker

from analysis.events import Alarm, Event, Heard, StateChange
from monitor.kept.keeping import now
from monitor.shop.address import Shop
from monitor.shop.announcer import Announcer, Machine

CHILD = """
import sys, time
from pathlib import Path
from monitor.kept.keeping import now
from monitor.shop.address import shop_of
from monitor.shop.announcer import Announcer, Machine
machine = Machine(sys.argv[2], "run", "", None, Path("/nowhere"), None)
announcer = Announcer(shop_of(sys.argv[1]), machine, now)
while True:
    announcer.alive()
    time.sleep(0.1)
"""
AWAY = 8.0  # s without a broker
APART = 2.0  # s between two events of a machine, in the mean


def main() -> None:
    """Print the table."""
    reading = argparse.ArgumentParser()
    reading.add_argument("--minutes", type=float, default=2.0)
    reading.add_argument("--machines", type=int, default=20)
    asked = reading.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        measure(Path(folder), asked.minutes, asked.machines)


def measure(folder: Path, minutes: float, count: int) -> None:
    """Let machines tell for some minutes, and print what came of it."""
    broker = Broker(folder)
    broker.start()
    shop = Shop(HERE, "shop", broker.port)
    machines = [
        Announcer(shop, Machine(f"machine-{number}", "run", "trays", None, folder, None), now)
        for number in range(count)
    ]
    killed = [
        subprocess.Popen([sys.executable, "-c", CHILD, f"mqtt://{HERE}:{broker.port}/shop", name])
        for name in ("killed-1", "killed-2")
    ]
    chance, sent = random.Random(1), Counter[str]()  # noqa: S311 - no secret
    took, begun = [], time.monotonic()
    end = begun + 60 * minutes
    kills = [begun + 60 * minutes * part for part in (0.3, 0.6)]
    deeds = [deed for at in kills for deed in ((at, broker.kill), (at + AWAY, broker.start))]
    due = [begun + chance.expovariate(1 / APART) for _ in machines]
    with HearingAll(shop) as hearing:
        while (moment := time.monotonic()) < end:
            for number, machine in enumerate(machines):
                machine.alive()
                if moment >= due[number]:
                    due[number] += chance.expovariate(1 / APART)
                    since = time.monotonic()
                    tell(machine, chance, moment - begun)
                    took.append(time.monotonic() - since)
                    sent[f"machine-{number}"] += 1
            if deeds and moment >= deeds[0][0]:
                deeds.pop(0)[1]()
            hearing.until(lambda: False, 0.02)
        complete = hearing.until(lambda: alive(machines) and len(hearing.events()) >= sent.total(), 30.0)
        for child in killed:
            child.kill()
        gone = hearing.until(lambda: words(hearing).count("gone") == len(killed), 5.0)
        report(hearing, sent, minutes, took)
    for machine in machines:
        machine.finish(0.5)
    broker.stop()
    print(
        f"machines killed and told to be gone: {len(killed) if gone else words(hearing).count('gone')} of 2"
    )
    sys.exit(0 if complete and gone else 1)


def tell(machine: Announcer, chance: random.Random, at: float) -> None:
    """Tell of an event; now and then it is an alarm."""
    event: Event = Heard(at, "a made-up event")
    if chance.random() < 0.1:
        event = Alarm(at, at - 1.0, "loose", 0.7, ("a made-up alarm",), 2.0, 1.0)
    machine.tell(StateChange(at, "alarm" if isinstance(event, Alarm) else "listen", "made up"))
    machine.tell(event)


def alive(machines: list[Announcer]) -> bool:
    """Let all machines give a sign of life."""
    for machine in machines:
        machine.alive()
    return True


def words(hearing: HearingAll) -> list[str]:
    """Return how all machines are."""
    return [row.word for row in hearing.machines.rows(time.monotonic())]


def report(hearing: HearingAll, sent: Counter[str], minutes: float, took: list[float]) -> None:
    """Print what became of the events."""
    events = hearing.events()
    came = Counter((event["machine"], event["seq"]) for event in events)
    wanted = {(name, seq) for name, many in sent.items() for seq in range(1, many + 1)}
    orders = [[event["seq"] for event in events if event["machine"] == name] for name in sent]
    print(
        f"{len(sent)} machines, {minutes:g} min, the broker killed twice and away for {AWAY:g} s each time\n"
    )
    print(
        "| told | arrived | doubled | lost | late | out of order | repeats dropped | telling took at most |"
    )
    print("|---|---|---|---|---|---|---|---|")
    row = (
        sent.total(),
        len(came),
        sum(many - 1 for many in came.values()),
        len(wanted - came.keys()),
        sum(event["late"] for event in events),
        sum(one > other for order in orders for one, other in pairwise(order)),
        hearing.machines.repeated,
        f"{1000 * max(took):.1f} ms",
    )
    print("| " + " | ".join(map(str, row)) + " |\n")


if __name__ == "__main__":
    main()
