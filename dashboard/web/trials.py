"""Guided tests: the pages of a trial. Where it stands is in the address, so nothing can lose it.

`/at/<plant>/test/<key>` tells what is asked; POST `…/begin` holds back the alarms that the test
itself would raise and sends the phone to `…/now?t=<begun>&m=<ends of steps>`. The same address after
a night, a restart or on another phone shows the same trial, judged from stored readings alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlencode

import msgspec
from flask import Response, abort, redirect, request

from analytics.plant.description import Measure
from analytics.readings import Readings
from analytics.trials.course import TRIALS, Mark, course
from collector.commands import Commands, Hold, new_key
from dashboard.access.gate import who
from dashboard.drawing import water
from dashboard.site import now_us
from dashboard.telling import display, kept
from dashboard.telling.trials import FIGURES, STATION, UNTOLD, figures_words, seen_words
from dashboard.web.shell import shell

if TYPE_CHECKING:
    from collections.abc import Mapping

    from flask import Flask

    from analytics.trials.course import Course
    from analytics.trials.shapes import Estimate, Trial
    from dashboard.site import Site
    from dashboard.web.files import Files
    from dashboard.web.sites import Sites

#: What a test does to the plant, on purpose.
HELD = (
    "supply_leak",
    "burst_line",
    "lost_prime",
    "dry_supply",
    "short_cycling",
    "switch_drift",
    "blocked_discharge",
    "sensor_fault",
)
HOLD_MINUTES = 60
MOST_STEPS = 20
LONGEST_US = 3 * 86_400_000_000


def mount(server: Flask, sites: Sites, files: Files) -> None:
    @server.get("/at/<name>/test/<key>")
    def test_about(name: str, key: str) -> str:
        return _page(
            sites, files, name, water.partial("trial-about.html", trial=_trial(key), base=sites.base(name))
        )

    @server.post("/at/<name>/test/<key>/begin")
    def test_begin(name: str, key: str) -> Response:
        site, trial, at = sites[name], _trial(key), now_us()
        hold = Hold(HELD, HOLD_MINUTES, f"guided test: {trial.title.lower()}")
        Commands(site.data, site.plant.name).put(hold, by=who().name, now_us=at)
        return redirect(f"{sites.base(name)}/test/{key}/now?{urlencode({'t': at // 1000})}", 303)

    @server.get("/at/<name>/test/<key>/next")
    def test_next(name: str, key: str) -> Response:
        begun, marks = _asked()
        mark = f"{now_us() // 1000 - begun // 1000}{'x' if request.args.get('out') else ''}"
        ends = [*_spoken(begun, marks), mark]
        asked = urlencode({"t": begun // 1000, "m": ".".join(ends)})
        return redirect(f"{sites.base(name)}/test/{_trial(key).key}/now?{asked}", 303)

    @server.get("/at/<name>/test/<key>/now")
    def test_now(name: str, key: str) -> str | Response:
        site, (begun, marks) = sites[name], _asked()
        found, pressure = judged(site, _trial(key), begun, marks)
        asked = urlencode({"t": begun // 1000, "m": ".".join(_spoken(begun, marks))})
        here = f"{sites.base(name)}/test/{key}"
        content = water.partial(
            "trial-now.html", **shown(site, found, pressure), asked=asked, here=here, base=sites.base(name)
        )
        return content if request.args.get("part") else _page(sites, files, name, content)


def _page(sites: Sites, files: Files, name: str, content: str) -> str:
    return shell(sites, files, name, "Set-up", content, ("trial.js",))


def _trial(key: str) -> Trial:
    if key not in TRIALS:
        abort(404)
    return TRIALS[key]


def _asked() -> tuple[int, list[Mark]]:
    """When it was begun, and each step's end, from the address; 400 for what we did not write."""
    try:
        begun = int(request.args["t"]) * 1000
        words = [word for word in request.args.get("m", "").split(".") if word]
        marks = [Mark(begun + int(word.rstrip("x")) * 1000, word.endswith("x")) for word in words]
    except (KeyError, ValueError):
        abort(400)
    times = [begun, *(mark.time_us for mark in marks)]
    if len(marks) > MOST_STEPS or times != sorted(times) or not 0 < begun <= now_us():
        abort(400)
    return begun, marks


def _spoken(begun: int, marks: list[Mark]) -> list[str]:
    return [f"{(mark.time_us - begun) // 1000}{'x' if mark.left_out else ''}" for mark in marks]


def judged(site: Site, trial: Trial, begun: int, marks: list[Mark]) -> tuple[Course, float | None]:
    """The trial as of now, and the newest line pressure in it [Pa]."""
    until = min(now_us(), begun + LONGEST_US)
    parts = []
    for position, signal in enumerate(site.plant.signals):
        series = site.history.readings(signal.name, begun, until)
        if len(series):
            value = signal.to_si(series.value)
            parts.append(Readings.of([position] * len(series), series.time_us, value))
    heard = Readings.concatenate(parts)
    found = course(site.plant, trial, begun, marks, heard, until)
    line = site.plant.measuring(Measure.LINE_PRESSURE)
    mine = heard.value[heard.signal == line[0]] if line else heard.value[:0]
    return found, float(mine[-1]) if len(mine) else None


def shown(site: Site, found: Course, pressure: float | None) -> dict[str, object]:
    """What the page says of a course."""
    units, trial = site.plant.display_units, found.trial
    told = found.conclusion
    words = trial.words(told.said) if told else ""
    figures = kept.logged(told.figures) if told else {}
    return {
        "trial": trial,
        "found": found,
        "seen": seen_words(found.sighting) if found.sighting else "",
        "watched": figures_words(found.sighting.figures, units) if found.sighting else [],
        "pressure": str(display.show(pressure, "pressure", units, 1)) if pressure is not None else "",
        "told": told,
        "words": words,
        "figures": figures_words(told.figures, units) if told else [],
        "since": _since(site, told.figures, found.begun_us) if told else [],
        "log": {
            "station": STATION[trial.key],
            "words": f"{trial.title} test. {words}",
            "figures": msgspec.json.encode(figures).decode(),
            "signature": msgspec.json.encode(figures | {"commissioning": 1}).decode(),
            "key": new_key(),
        },
        "step_number": min(found.position + 1, len(trial.steps)),
    }


def _since(site: Site, figures: Mapping[str, Estimate], begun_us: int) -> list[tuple[str, str]]:
    """Each figure beside the one kept when the plant was well, in words."""
    known = kept.signature(site.history.logbook(kind="test result"))
    return [
        (FIGURES[name][0], kept.told(site.plant, name, known[name], kept.Found(one, begun_us), now_us()))
        for name, one in figures.items()
        if name in known and name not in UNTOLD and known[name].time_us < begun_us
    ]
