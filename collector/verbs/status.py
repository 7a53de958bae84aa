"""`holdwater status`: how the daemon is, and how old the newest word of each sensor is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from collector.verbs import one_plant

if TYPE_CHECKING:
    import argparse
    from pathlib import Path

    from analytics.plant.description import Plant

HELP = "how the daemon is: broker, newest reading of each signal, what was set aside"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plants", nargs="*", metavar="PLANT", help="plant file")
    parser.add_argument("--data", metavar="FOLDER", help="where the histories are kept")


@one_plant.told
def run(options: argparse.Namespace) -> int:
    from collector.live.clock import now_us
    from collector.live.pulse import read_pulse
    from collector.plantfile import load_plant
    from collector.settings import data_folder

    data = data_folder(options.data)
    plants = [load_plant(path) for path in options.plants] or stored_plants(data)
    print("\n".join(daemon_lines(read_pulse(data), now_us(), data)))
    for plant in plants:
        print("\n".join(plant_lines(plant, data, now_us())))
    return 0


def stored_plants(data: Path) -> list[Plant]:
    """The plants that the data folder holds, by the copies of their files."""
    from analytics.plant.parsing import parse_plant

    files = sorted(data.glob("*/plant.toml"))
    return [parse_plant(file.read_text("utf-8"), file.parent.name) for file in files]


def age(seconds: float) -> str:
    """How long ago, in the largest unit that fits: "12 s", "5 min", "3.2 h", "4.0 days"."""
    if seconds < 120:
        return f"{max(seconds, 0):.0f} s"
    if seconds < 7_200:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h" if seconds < 172_800 else f"{seconds / 86_400:.1f} days"


def daemon_lines(pulse: object, now_us: int, data: Path) -> list[str]:
    """The daemon's sign of life in words."""
    from collector.live.pulse import SILENT_US, Pulse, cannot_be_written

    if not isinstance(pulse, Pulse):
        return [f"No daemon has run on {data}."]
    since = age((now_us - pulse.time_us) / 1e6)
    if not pulse.running:
        return [f"The daemon was stopped {since} ago."]
    if now_us - pulse.time_us > SILENT_US:
        why = cannot_be_written(data) or "it was ended or hangs"
        return [f"The daemon gave its last sign of life {since} ago: {why}."]
    link = "connected to" if pulse.connected else "NOT connected to"
    runs = f"The daemon runs since {age((now_us - pulse.began_us) / 1e6)}, {link} {pulse.broker}"
    heard = f"({pulse.connections} connections, {pulse.messages:,} messages)."
    return [
        f"{runs} {heard}",
        *(f"{name}: nothing is being stored: {why}" for name, why in pulse.trouble.items()),
    ]


def plant_lines(plant: Plant, data: Path, now_us: int) -> list[str]:
    """One plant's signals with the age of their newest reading, its tallies and open findings."""
    from collector.live.clock import AHEAD_US
    from collector.store import History

    with History(data, plant) as history:
        latest, counts = history.latest(now_us + AHEAD_US), history.counts()
        standing, aside = history.findings(open_only=True), history.set_aside(3)
        states = {alarm.place: alarm.state.value for alarm in history.alarms()}
        untold = len(history.due())
    lines = ["", f"{plant.title} ({plant.name})"]
    width = max(len(signal.name) for signal in plant.signals)
    for signal in plant.signals:
        sample = latest.get(signal.name)
        words = (
            "nothing yet"
            if sample is None
            else f"{sample.value:g} {signal.unit or ''}".rstrip()
            + f", {age((now_us - sample.time_us) / 1e6)} ago"
        )
        lines.append(f"  {signal.name:<{width}}  {words}")
    lines.append("  " + ", ".join(f"{number:,} {name}" for name, number in sorted(counts.items())))
    for finding in standing:
        state = states.get((finding.fault, finding.of or ""), "asks for nothing")
        lines.append(f"  open ({state}): {finding.summary}")
    if untold:
        lines.append(f"  {untold} messages are not delivered yet")
    return [*lines, *(f"  set aside: {one.topic}: {one.reason}: {one.excerpt}" for one in aside)]
