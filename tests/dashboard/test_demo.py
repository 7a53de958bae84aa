"""`holdwater demo` as a person runs it: it comes up, shows live water, and leaves nothing behind."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path

from dashboard.demo import cleared


def test_it_empties_its_own_folder_and_no_other(tmp_path: Path) -> None:
    ours, theirs = tmp_path / "ours", tmp_path / "theirs"
    assert cleared(ours)
    (ours / "old").touch()
    assert cleared(ours)
    assert not (ours / "old").exists()
    theirs.mkdir()
    (theirs / "letter").touch()
    assert not cleared(theirs)
    assert (theirs / "letter").exists()


def page(port: int, by: urllib.request.OpenerDirector) -> str | None:
    try:
        with by.open(f"http://127.0.0.1:{port}/", timeout=5) as answer:
            return str(answer.read().decode())
    except OSError:
        return None


def let_in(said: str, port: int) -> urllib.request.OpenerDirector:
    """A browser without script that opened the printed link and pressed its one button."""
    link = re.search(r"http://\S+/pair\?code=([0-9A-Z-]+)", said)
    assert link is not None, said
    by = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
    with by.open(link[0], timeout=5) as answer:
        assert "Pair this phone" in answer.read().decode()
    form = urllib.request.Request(
        f"http://127.0.0.1:{port}/pair", f"code={link[1]}".encode(), {"Origin": f"http://127.0.0.1:{port}"}
    )
    with by.open(form, timeout=5) as answer:
        assert answer.url == f"http://127.0.0.1:{port}/"
    return by


def age_s(shown: str) -> float:
    """Age of the newest reading when the page was made."""
    newest, now = (re.search(rf'data-{word}="(\d+)"', shown) for word in ("newest", "now"))
    assert newest is not None
    assert now is not None
    return (int(now[1]) - int(newest[1])) / 1e3


def test_from_the_command_to_live_water_and_a_clean_stop(tmp_path: Path) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    words = [sys.executable, "-m", "collector.cli", "demo", "--days", "2", "--data", str(tmp_path / "data")]
    log = tmp_path / "demo.log"
    with log.open("wb") as out:
        demo = subprocess.Popen([*words, "--listen", f"127.0.0.1:{port}"], stdout=out, stderr=out)
    try:
        deadline = time.monotonic() + 120
        while "Ctrl-C stops it" not in log.read_text():
            assert demo.poll() is None, log.read_text()
            assert time.monotonic() < deadline, log.read_text()
            time.sleep(0.2)
        time.sleep(6.0)  # several seconds of live readings, beyond what history held
        by = let_in(log.read_text(), port)
        shown = page(port, by)
        assert shown is not None
        assert "Juniper Bench" in shown
        assert age_s(shown) < 5.0
    finally:
        demo.send_signal(signal.SIGINT)
        status = demo.wait(40)
    assert status == 0, log.read_text()
    assert page(port, by) is None
    left = subprocess.run(["pgrep", "-f", str(tmp_path / "data")], capture_output=True, text=True)
    assert left.stdout == ""


def test_a_folder_of_somebody_else_is_refused(tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "letter").touch()
    words = [sys.executable, "-m", "collector.cli", "demo", "--data", str(tmp_path / "full")]
    shown = subprocess.run(words, capture_output=True, text=True, timeout=60)
    assert shown.returncode == 2
    assert "--data" in shown.stderr
