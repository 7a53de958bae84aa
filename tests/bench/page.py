"""The pages on a phone, in Debian's Chromium at 390 x 844 with the CPU throttled four times.

Cold profiles, a real server in its own process over a made-up year, a writer that commits once a
second. Slow 4G is the browser's own throttle at 150 ms and 1.6 Mbit/s. Blocking time is the sum of
what long tasks took beyond 50 ms. Value to pixel: from the moment a reading is committed to the
frame after the page's text changed, both by this machine's clock. Server CPU: /proc of the server
while phones watch. On a machine that does other work all of these are upper bounds: see the load.
"""

from __future__ import annotations

import http.client
import os
import statistics
import tempfile
import threading
import time
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from playwright.sync_api import expect, sync_playwright
from rich.console import Console
from rich.table import Table

from collector.store import Batch, Writer
from tests.browser.conftest import CHROMIUM, FLAGS, PHONE, Server, free_port
from tests.dashboard import made
from tests.dashboard.paired import cookie_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from playwright.sync_api import BrowserType, CDPSession, Page

THROTTLE = 4
ROUNDS = 5
#: Chromium's own words; bytes a second and milliseconds.
NETS = {"LAN": (2, 12_500_000), "slow 4G": (150, 200_000)}
STREAMS, WATCHED_S = 16, 20.0
#: What the page itself counts, from its first moment.
OBSERVE = """
window.seen = {lcp: 0, blocked: 0};
new PerformanceObserver(l => l.getEntries().forEach(e => window.seen.lcp = e.startTime))
  .observe({type: 'largest-contentful-paint', buffered: true});
new PerformanceObserver(l => l.getEntries().forEach(e => window.seen.blocked += Math.max(0, e.duration - 50)))
  .observe({type: 'longtask', buffered: true});
"""


#: A chart whose trace is drawn.
CHART = ".chart svg path.in-water"
#: Resolved when the frame after the next has begun: what stood in the page by now is painted.
PAINTED = "new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))"


class Load:
    """One cold load: what came over the wire, when the largest paint was, how long the page was blocked."""

    def __init__(self) -> None:
        self.bytes, self.requests, self.lcp_ms, self.blocked_ms = 0, 0, 0.0, 0.0


@contextmanager
def phone(chromium: BrowserType, server: Server, net: str = "LAN") -> Iterator[tuple[Page, CDPSession]]:
    """A phone with an empty profile, signed in, its CPU and network throttled."""
    with tempfile.TemporaryDirectory() as profile:
        context = chromium.launch_persistent_context(
            profile, executable_path=CHROMIUM, headless=True, args=list(FLAGS), **PHONE
        )
        context.add_cookies([cookie_of(server.data, server.port)])  # type: ignore[list-item]
        context.add_init_script(OBSERVE)
        page = context.new_page()
        wire = context.new_cdp_session(page)
        wire.send("Network.enable")
        latency, rate = NETS[net]
        wire.send(
            "Network.emulateNetworkConditions",
            {"offline": False, "latency": latency, "downloadThroughput": rate, "uploadThroughput": rate},
        )
        wire.send("Emulation.setCPUThrottlingRate", {"rate": THROTTLE})
        yield page, wire
        context.close()


def loaded(chromium: BrowserType, server: Server, net: str) -> Load:
    """The Water page, cold."""
    one = Load()
    with phone(chromium, server, net) as (page, wire):

        def count(event: dict[str, float]) -> None:
            one.bytes += int(event["encodedDataLength"])
            one.requests += 1

        wire.on("Network.loadingFinished", count)
        page.goto(server.url, wait_until="load")
        page.wait_for_timeout(2500)
        found = page.evaluate("window.seen")
        one.lcp_ms, one.blocked_ms = found["lcp"], found["blocked"]
    return one


def history_ms(chromium: BrowserType, server: Server) -> tuple[float, float, float]:
    """[ms]: from the tap on History to its chart painted; from the tap on its "year" to the year's
    painted; from a touch of that chart until it answers with the value there, Plotly fetched and begun."""
    with phone(chromium, server) as (page, _):
        page.goto(server.url, wait_until="load")
        page.wait_for_timeout(1000)
        begin = time.monotonic()
        page.get_by_role("link", name="History", exact=True).click()
        page.wait_for_selector(".chart svg path.in-water", state="attached", timeout=30_000)
        page.evaluate(PAINTED)
        opened = time.monotonic()
        page.get_by_role("link", name="year").click()
        expect(page.locator("#history-chart-words")).to_contain_text("of each 3 days", timeout=30_000)
        page.wait_for_selector(".chart svg path.in-water", state="attached")
        page.evaluate(PAINTED)
        year = time.monotonic()
        page.locator("#history-chart").tap()
        page.wait_for_selector(".chart .hoverlayer text", timeout=30_000)
        page.evaluate(PAINTED)
        return (opened - begin) * 1e3, (year - opened) * 1e3, (time.monotonic() - year) * 1e3


def room_ms(chromium: BrowserType, server: Server, room: str, wanted: str) -> float:
    """From the tap on a room until what is wanted of it (a CSS selector) is painted, cold [ms]."""
    with phone(chromium, server) as (page, _):
        page.goto(server.url, wait_until="load")
        page.wait_for_timeout(1000)
        link = page.locator("nav.rooms").get_by_role("link", name=room, exact=True)
        if not link.is_visible():
            page.locator("nav.rooms summary").click()
        begin = time.monotonic()
        link.click()
        page.wait_for_selector(wanted, state="attached", timeout=60_000)
        page.evaluate(PAINTED)
        return (time.monotonic() - begin) * 1e3


def to_pixel_ms(chromium: BrowserType, server: Server, samples: int = 30) -> list[float]:
    """From a commit of a new pressure to the frame after it stood on the page."""
    plant, took = made.juniper(), []
    with phone(chromium, server) as (page, _), Writer(server.data, plant) as writer:
        page.goto(server.url, wait_until="load")
        page.wait_for_selector("body[data-link=live]")
        page.evaluate(
            """() => { window.shown = [];
            new MutationObserver(() => requestAnimationFrame(() => window.shown.push(
                [document.querySelector('[data-slot="tank.text"]').textContent, Date.now()])))
              .observe(document.querySelector('main'),
                       {characterData: true, childList: true, subtree: true}); }"""
        )
        for k in range(samples):
            psi = 31 + k % 18
            fresh = made.readings(plant, int(time.time()), int(time.time()) + 1)
            fresh.value[fresh.signal == plant.index("pressure")] = psi
            at = time.time()
            writer.commit(Batch(writer.admit(fresh)))
            time.sleep(1.05)
            shown = page.evaluate("window.shown")
            mine = [ms for text, ms in shown if text == str(psi) and ms >= at * 1e3]
            if mine:
                took.append(mine[0] - at * 1e3)
    return took


def cpu_s(pid: int) -> float:
    """CPU that a process and its children have used."""
    total, pids = 0.0, [pid]
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    for one in pids + [int(child) for child in children]:
        fields = Path(f"/proc/{one}/stat").read_text().rsplit(")", 1)[1].split()
        total += (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return total


@contextmanager
def writing(data: Path) -> Iterator[None]:
    """A commit of one second's readings, every second."""
    plant, stop = made.juniper(), threading.Event()

    def write() -> None:
        with Writer(data, plant) as writer:
            while not stop.wait(1.0):
                now = int(time.time())
                writer.commit(Batch(writer.admit(made.readings(plant, now - 1, now))))

    thread = threading.Thread(target=write, daemon=True)
    thread.start()
    yield
    stop.set()
    thread.join()


def phone_second_ms(server: Server) -> tuple[float, float]:
    """Server CPU a second [ms]: a phone's share when STREAMS watch, and of one phone that watches alone."""
    assert server.process is not None
    cookie = cookie_of(server.data, server.port)
    header = {"Cookie": f"{cookie['name']}={cookie['value']}"}

    def watched(streams: int) -> float:
        open_ones = []
        for _ in range(streams):
            connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=60)
            connection.request("GET", "/at/juniper-bench/live", headers=header)
            answer = connection.getresponse()
            assert answer.status == 200, answer.status
            threading.Thread(target=_drain, args=(answer,), daemon=True).start()
            open_ones.append(connection)
        time.sleep(2.0)
        before = cpu_s(server.process.pid)
        time.sleep(WATCHED_S)
        used = cpu_s(server.process.pid) - before
        for connection in open_ones:
            if connection.sock is not None:
                connection.sock.close()
        time.sleep(1.0)
        return used / WATCHED_S

    with writing(server.data):
        one, many = watched(1), watched(STREAMS)
    return many / STREAMS * 1e3, one * 1e3


def _drain(answer: http.client.HTTPResponse) -> None:
    try:
        while answer.read1(65_536):
            pass
    except (OSError, ValueError, AttributeError, http.client.HTTPException):
        return  # closed from the other end of this test


def _seen(took_ms: Sequence[float]) -> str:
    """The median, and the best: what the machine does when other work lets it."""
    return f"{statistics.median(took_ms):.0f} ms, best {min(took_ms):.0f}"


def measured(data: Path) -> list[tuple[str, str, str]]:
    """(what, seen, budget)."""
    server = Server(data, free_port())
    server.start()
    rows = []
    try:
        with sync_playwright() as started:
            chromium = started.chromium
            for net, budget in (("LAN", 700), ("slow 4G", 1500)):
                loads = [loaded(chromium, server, net) for _ in range(ROUNDS)]
                painted, blocked = [one.lcp_ms for one in loads], [one.blocked_ms for one in loads]
                rows.append((f"largest paint, {net}", _seen(painted), f"under {budget} ms"))
                rows.append((f"blocking time, {net}", _seen(blocked), "under 400 ms"))
            rows.append(("first load", f"{loads[0].bytes / 1e3:.0f} kB", "at most 250 kB"))
            rows.append(("first load", f"{loads[0].requests} requests", "at most 16"))
            opened = [history_ms(chromium, server) for _ in range(ROUNDS)]
            first, _, read = zip(*opened, strict=True)
            both = [one + year for one, year, _ in opened]
            rows.append(("History, from the tap to its chart", _seen(first), ""))
            rows.append(("a year's history: the same, and the tap on year", _seen(both), "under 2000 ms"))
            rows.append(("from a first touch of the chart to its value read off", _seen(read), ""))
            for room, wanted in (("Storage", CHART), ("Cycles", CHART), ("Set-up", "main dl.pairs")):
                took = [room_ms(chromium, server, room, wanted) for _ in range(ROUNDS)]
                what = "charts" if wanted == CHART else "figures"
                rows.append((f"{room}, from the tap to its {what}", _seen(took), ""))
            pixels = to_pixel_ms(chromium, server)
            rows.append(
                (
                    f"live value to pixel, median of {len(pixels)}",
                    f"{statistics.median(pixels):.0f} ms" if pixels else "not seen",
                    "under 100 ms",
                )
            )
        each, base = phone_second_ms(server)
        rows.append((f"server CPU a phone and second, {STREAMS} phones", f"{each:.2f} ms", "at most 0.3 ms"))
        rows.append(("the same, one phone alone", f"{base:.1f} ms", ""))
    finally:
        server.kill()
    return rows


def run() -> None:
    """For `python -m tests.bench`."""
    with tempfile.TemporaryDirectory() as name:
        data = Path(name)
        made.fill(data, int(time.time()), days=365, coarse_s=10_800)
        table = Table(
            title=f"CPU throttled {THROTTLE} times, median of {ROUNDS}; load {os.getloadavg()[0]:.1f}"
        )
        for column in ("what", "seen", "budget"):
            table.add_column(column)
        for row in measured(data):
            table.add_row(*row)
        Console(width=100).print(table)
