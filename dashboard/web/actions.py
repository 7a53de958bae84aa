"""What people do about a finding: plain forms, posted below `/at/<plant>/do/`, each answered by 303.

The page does not write history: it puts a command where the collector takes it from, and waits a moment
for it to be carried out, so that the next page shows it. The guard has seen to it that the request comes
from a page of ours, the gate that a caretaker sends it.
"""

from __future__ import annotations

import re
import time
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import msgspec
from flask import Response, abort, redirect, request

from collector.commands import (
    KINDS,
    Acknowledge,
    Command,
    Commands,
    CommandsFull,
    HistoryError,
    InService,
    Log,
    OutOfService,
    Shelve,
    Unshelve,
)
from collector.store.response import MOST_WORDS
from dashboard.access.gate import who
from dashboard.pages import findings
from dashboard.site import now_us

if TYPE_CHECKING:
    from collections.abc import Callable

    from flask import Flask

    from analytics.records import Finding
    from dashboard.site import Site
    from dashboard.web.sites import Sites

#: The collector commits once a second.
WAIT_S = 2.5
_LOOK_S = 0.05
#: The last word of an address, and what it asks for.
WAYS: dict[str, Callable[..., Command]] = {
    "acknowledge": Acknowledge,
    "shelve": Shelve,
    "unshelve": Unshelve,
    "out-of-service": OutOfService,
    "in-service": InService,
}
_KEY = re.compile(r"[0-9a-f]{32}")
MOST_FIGURES = 40
MOST_REASON = 200


def mount(server: Flask, sites: Sites) -> None:
    @server.post("/at/<name>/do/<what>")
    def do(name: str, what: str) -> Response:
        site = sites[name]
        command = _log(site) if what == "log" else _of_alarm(what, _finding(site))
        return redirect(_back(name, carry(site, command)), 303)


def carry(site: Site, command: Command) -> str:
    """Keep a command for the collector, under the form's key, and wait a moment for it; its key."""
    key = request.form.get("key", "")
    try:
        key = Commands(site.data, site.plant.name).put(
            command, by=who().name, now_us=now_us(), key=key if _KEY.fullmatch(key) else None
        )
    except CommandsFull:
        abort(503, "The collector is not running, and no more can be kept for it.")
    except HistoryError as error:
        abort(503, f"This could not be kept: {error}")
    _wait(site, key)
    return key


def _of_alarm(what: str, finding: Finding | None) -> Command:
    """The command that an address names, to the alarm of a finding; 404 for another word."""
    if finding is None or what not in WAYS:
        abort(404)
    more: dict[str, object] = {}
    if what in ("shelve", "out-of-service"):
        more["reason"] = request.form.get("reason", "")[:MOST_REASON]
    if what == "shelve":
        more["hours"] = _hours()
    return WAYS[what](finding.fault, finding.of, **more)


def _hours() -> float:
    try:
        return float(request.form.get("hours", ""))
    except ValueError:
        abort(400, "For how long?")


def _log(site: Site) -> Log:
    """An entry as the form has it; 400 for what no form of ours sends."""
    kind, figures = request.form.get("kind", ""), request.form.get("figures") or "{}"
    if kind not in KINDS:
        abort(400, "A logbook entry is of a kind.")
    try:
        numbers = msgspec.json.decode(figures, type=dict[str, float | str])
    except msgspec.MsgspecError:
        abort(400, "Figures are names with a number or a text each.")
    if len(numbers) > MOST_FIGURES:
        abort(400, "So many figures are no entry.")
    finding = _finding(site)
    return Log(
        kind=kind,
        words=request.form.get("words", "")[:MOST_WORDS],
        station=request.form.get("station", "")[:20],
        figures=numbers,
        fault=finding.fault if finding else None,
        of=finding.of if finding else None,
        raised_us=finding.raised_us if finding else None,
    )


def _finding(site: Site) -> Finding | None:
    """The finding that the form names; None where it names none, 404 where there is no such."""
    identity = request.form.get("finding", "")
    if not identity:
        return None
    found = findings.find(site, identity)
    if found is None:
        abort(404)
    return found


def _wait(site: Site, key: str) -> None:
    """Until the collector has carried the command out, but not for long."""
    deadline = time.monotonic() + WAIT_S
    while time.monotonic() < deadline:
        try:
            if site.history.carried(key) is not None:
                return
        except HistoryError:
            return
        time.sleep(_LOOK_S)


def _back(name: str, key: str) -> str:
    """A page of this plant to go back to, which is told what was done."""
    back = request.form.get("back", "")
    if not re.fullmatch(rf"/at/{re.escape(name)}/[\w./ %-]*", back):
        back = f"/at/{name}/logbook"
    return f"{back}?{urlencode({'done': key})}"
