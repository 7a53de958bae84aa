"""A real server in its own process, a real Chromium, a phone's screen. Missing Chromium is a failure."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect, sync_playwright

from collector.store.shapes import Batch
from collector.store.writing import Writer
from tests.dashboard import made
from tests.dashboard.paired import cookie_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from playwright.sync_api import BrowserContext, Page, Playwright

    from analytics.records import Finding

CHROMIUM = "/usr/bin/chromium"
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
#: What a phone paired with each server carries, by the server's port.
COOKIES: dict[int, dict[str, str]] = {}
DESK = {"viewport": {"width": 1280, "height": 900}}
#: A machine that is busy with other things is slow, not wrong.
expect.set_options(timeout=20_000)
#: Screenshots are kept here for whoever looks at a run's artefacts.
SHOTS = Path(os.environ.get("HOLDWATER_SHOTS") or Path(__file__).parents[2] / "artefacts" / "screens")


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


class Server:
    """`holdwater dashboard` in its own process, to be killed and started again."""

    def __init__(self, data: Path, port: int, plant_file: Path = made.PLANT_FILE) -> None:
        self.data, self.port, self.plant_file, self.process = data, port, plant_file, None

    process: subprocess.Popen[bytes] | None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self, paired: bool = True) -> None:
        if paired and self.port not in COOKIES:
            COOKIES[self.port] = cookie_of(self.data, self.port)
        words = [sys.executable, "-m", "collector.cli", "dashboard", str(self.plant_file)]
        words += ["--data", str(self.data), "--listen", f"127.0.0.1:{self.port}"]
        self.process = subprocess.Popen(words, start_new_session=True)
        until = time.monotonic() + 30
        while time.monotonic() < until:
            try:
                urllib.request.urlopen(f"{self.url}/health", timeout=1).close()
                return
            except urllib.error.HTTPError:  # no daemon runs here, and health says so: it is up
                return
            except OSError:
                assert self.process.poll() is None, "the server ended"
                time.sleep(0.1)
        raise AssertionError("the server did not answer within 30 s")

    def kill(self, how: int = signal.SIGKILL) -> None:
        if self.process is not None and self.process.poll() is None:
            os.killpg(self.process.pid, how)
            self.process.wait(20)


class Feed:
    """A writer that commits a second of made-up readings every second."""

    def __init__(self, data: Path, from_s: int) -> None:
        self._data, self._last = data, from_s
        self._stop = threading.Event()
        self._told: list[Finding] = []
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Feed:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join(5)

    def tell(self, finding: Finding) -> None:
        """Commit this finding with the next readings."""
        self._told.append(finding)

    def _run(self) -> None:
        plant = made.juniper()
        with Writer(self._data, plant) as writer:
            while not self._stop.wait(0.1):
                now = int(time.time())
                if now <= self._last:
                    continue
                told, self._told = self._told, []
                fresh = writer.admit(made.readings(plant, self._last, now))
                runs = [run for run in made.cycles(self._last - 100, now) if run.stop_us > self._last * 1e6]
                writer.commit(Batch(fresh, cycles=runs, findings=told))
                self._last = now


def go(page: Page, room: str) -> None:
    """To a room by its link, unfolding "More" where it stands there."""
    link = page.locator("nav.rooms").get_by_role("link", name=room, exact=True)
    if not link.is_visible():
        page.locator("nav.rooms summary").click()
    link.click()


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    if shutil.which(CHROMIUM) is None:
        pytest.fail(f"{CHROMIUM} is missing: apt-get install chromium", pytrace=False)
    with sync_playwright() as started:
        yield started


@pytest.fixture
def browser(
    playwright: Playwright, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Callable[..., BrowserContext]]:
    """Opens a Chromium for a screen, paired with every server so far unless told otherwise."""
    opened: list[BrowserContext] = []

    def launch(*, paired: bool = True, **screen: object) -> BrowserContext:
        profile = tmp_path_factory.mktemp("profile")
        context = playwright.chromium.launch_persistent_context(
            profile, executable_path=CHROMIUM, headless=True, args=list(FLAGS), **screen
        )
        opened.append(context)
        if paired:
            context.add_cookies(list(COOKIES.values()))
        return context

    yield launch
    for context in opened:
        context.close()


@pytest.fixture(scope="session")
def now_s() -> int:
    return int(time.time())


@pytest.fixture(scope="session")
def well_server(tmp_path_factory: pytest.TempPathFactory, now_s: int) -> Iterator[Server]:
    """A healthy fortnight with one past finding, served."""
    data = tmp_path_factory.mktemp("well")
    past = made.clogged((now_s - 5 * 86_400) * 1_000_000, cleared_us=(now_s - 4 * 86_400) * 1_000_000)
    made.fill(data, now_s, findings=(past,))
    yield from _served(data)


@pytest.fixture(scope="session")
def year_server(tmp_path_factory: pytest.TempPathFactory, now_s: int) -> Iterator[Server]:
    """A year of history, served."""
    data = tmp_path_factory.mktemp("year")
    made.fill(data, now_s, days=365, coarse_s=10_800)
    yield from _served(data)


@pytest.fixture(scope="session")
def wrong_server(tmp_path_factory: pytest.TempPathFactory, now_s: int) -> Iterator[Server]:
    """A plant with a clogged filter, served."""
    data = tmp_path_factory.mktemp("wrong")
    made.fill(data, now_s, days=5, findings=(made.clogged(now_s * 1_000_000),))
    yield from _served(data)


@pytest.fixture
def own_server(tmp_path: Path) -> Iterator[tuple[Server, Feed]]:
    """A plant of this test's own, fed every second."""
    now = int(time.time())
    made.fill(tmp_path, now, days=1)
    with Feed(tmp_path, now) as feed:
        for server in _served(tmp_path):
            yield server, feed


def _served(data: Path) -> Iterator[Server]:
    server = Server(data, free_port())
    server.start()
    yield server
    server.kill(signal.SIGTERM)


@pytest.fixture
def shot() -> Callable[[Page, str], None]:
    """Keeps a picture among the run's artefacts."""

    def keep(page: Page, name: str) -> None:
        SHOTS.mkdir(parents=True, exist_ok=True)
        page.screenshot(path=SHOTS / f"{name}.png", full_page=True)

    return keep
