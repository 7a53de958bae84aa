"""The demo's stage: history written, broker up, daemon started, simulator publishing, until Ctrl-C."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import ExitStack
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from analytics.readings import Readings
from collector.backfill import backfill
from collector.live.broker import embedded_broker
from collector.plantfile import load_plant
from collector.store import Writer
from dashboard.access import codes, invite
from dashboard.access.book import Book
from dashboard.access.opening import address
from dashboard.web.address import listening, loopback
from simulator.library import load_scenario
from simulator.publish import connected, send
from simulator.sensing.messages import messages
from simulator.simulation import Simulation

if TYPE_CHECKING:
    from collections.abc import Iterator

    from analytics.plant.description import Plant
    from collector.backfill import Backfilled

_DAY_US = 86_400_000_000
_STEP_US = _DAY_US // 4
_SEED = 7
_UP_WITHIN_S = 60.0


def perform(data: Path, listen: str, days: int) -> int:
    """Everything from the empty data folder to a clean stop. Returns the exit status."""
    console = Console()
    if _taken(listen):
        console.print(f"Something else listens at {listen} already. Name another: --listen 127.0.0.1:8051")
        return 2
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # a stop is a stop, whoever asks
    path = _plant_file()
    plant = load_plant(path)
    now_us = time.time_ns() // 1_000_000 * 1_000
    world = _new_world(plant, now_us - days * _DAY_US)
    try:
        with ExitStack() as stack:
            _write_history(console, plant, path.read_text("utf-8"), world, data, now_us)
            url = stack.enter_context(embedded_broker())
            console.print(f"A broker of its own listens at {url}.")
            link = _invitation(data, listen)
            daemon = _started(path, url, data, listen)
            stack.callback(_stopped, daemon)
            stop = threading.Event()
            publisher = threading.Thread(target=_publish, args=(world, url, stop), daemon=True)
            publisher.start()
            stack.callback(publisher.join, 10.0)
            stack.callback(stop.set)
            if not _up(daemon, listen):
                console.print("The dashboard did not come up; its words stand above.")
                return 1
            _announce(console, data, listen, link)
            return daemon.wait()
    except KeyboardInterrupt:
        console.print("\nStopped. Nothing of the demo runs any more.")
        return 0


def _write_history(
    console: Console, plant: Plant, text: str, world: Simulation, data: Path, until_us: int
) -> None:
    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    begin_us = world.now_us
    with Progress(*columns, console=console) as progress, Writer(data, plant) as kept:
        days = round((until_us - begin_us) / _DAY_US)
        task = progress.add_task(f"Simulating {days} days of {plant.title}", total=until_us - begin_us)

        def say(done: Backfilled) -> None:
            progress.update(task, completed=(done.newest_us or begin_us) - begin_us)

        kept.keep_plant_file(text)
        done = backfill(kept, _history(world, until_us), say)
        progress.update(task, completed=until_us - begin_us)
    console.print(f"{done.stored:,} readings kept, {len(done.findings)} findings among them.")


def _started(plant: Path, url: str, data: Path, listen: str) -> subprocess.Popen[bytes]:
    """The daemon, in a session of its own: Ctrl-C reaches us alone, and we stop it in order."""
    words = [sys.executable, "-m", "collector.cli", "run", str(plant), "--broker", url]
    words += ["--data", str(data), "--listen", listen, "--plain"]  # the water is made up: nothing to hide
    environment = os.environ | {"HOLDWATER_MQTT_PROTOCOL": "3.1.1"}  # all that the demo's broker speaks
    return subprocess.Popen(words, start_new_session=True, env=environment)


def _stopped(daemon: subprocess.Popen[bytes]) -> None:
    if daemon.poll() is None:
        daemon.send_signal(signal.SIGTERM)
        try:
            daemon.wait(20.0)
        except subprocess.TimeoutExpired:
            daemon.kill()


def _publish(world: Simulation, url: str, stop: threading.Event) -> None:
    """The simulated sensors speak at the pace of the clock, beginning where history ends."""
    client = connected(url)
    if client is None:
        return
    while not stop.wait(1.0 - time.time() % 1.0):
        batch = world.advance(time.time_ns() // 1_000)
        send(client, messages(world.plant, batch, world.decimals()))
    client.disconnect()


def _taken(listen: str) -> bool:
    """Whether somebody answers at the address."""
    host, port = listening(listen)
    try:
        with socket.create_connection(("127.0.0.1" if host == "0.0.0.0" else host, port), timeout=1.0):
            return True
    except OSError:
        return False


def _up(daemon: subprocess.Popen[bytes], listen: str) -> bool:
    """Whether the dashboard answers within a minute."""
    deadline = time.monotonic() + _UP_WITHIN_S
    while time.monotonic() < deadline and daemon.poll() is None:
        if _taken(listen):
            return True
        time.sleep(0.2)
    return False


def _invitation(data: Path, listen: str) -> str:
    """A link that lets one phone in, for as long as a demo is likely to run."""
    book = Book(data)
    try:
        code = codes.new_code(book, invite.FIRST, "caretaker", time.time(), minutes=24 * 60)
    finally:
        book.close()
    return invite.link(address(*listening(listen), secure=False), code)


def _announce(console: Console, data: Path, listen: str, link: str) -> None:
    console.print()
    console.print(invite.terminal(link), highlight=False)
    console.print(f"Juniper Bench is at [bold]{link}[/bold]   (Ctrl-C stops it)", soft_wrap=True)
    console.print(f"The link lets one browser in. For another: holdwater pair --data {data}", soft_wrap=True)
    if loopback(listening(listen)[0]):
        console.print(
            "Only this machine can open it. For a phone on the same network: make demo LISTEN=0.0.0.0:8050",
            soft_wrap=True,
        )


def _history(world: Simulation, until_us: int) -> Iterator[Readings]:
    """What the world's sensors say up to `until_us`, in stored units and time order, by steps."""
    while world.now_us < until_us:
        batch = world.advance(min(world.now_us + _STEP_US, until_us))
        yield Readings.of(batch.signal, batch.time_us, batch.value).in_time_order()


def _plant_file() -> Path:
    """Juniper Bench's plant file, as it is installed."""
    return Path(str(files("simulator") / "plants" / "juniper-bench.toml"))


def _new_world(plant: Plant, start_us: int) -> Simulation:
    """Juniper Bench under the demo's scenario."""
    return Simulation(plant, load_scenario("demo", plant), _SEED, start_us)
