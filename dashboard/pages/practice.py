"""The Practice room's pages: choosing, waiting, playing, why. Everything here is marked as practice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics.advice import advice
from analytics.faults import coverage
from analytics.judging.cycling_cause import USUAL_STARTS_PER_HOUR
from dashboard.drawing import water
from dashboard.drawing.evidence import draw
from dashboard.drawing.traces import DAY_US
from dashboard.pages import cycles
from dashboard.practice import frames, strip
from dashboard.practice.lessons import LESSONS, WELL, Lesson, by_name
from dashboard.practice.record import Marks
from dashboard.practice.tape import PastSite
from dashboard.telling import display
from dashboard.telling.evidence import caption, evidence, evidence_words
from dashboard.telling.expected import expected
from dashboard.telling.status import finding_id
from dashboard.telling.status import told as told_finding
from dashboard.web import rooms
from simulator.works import faults

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from dashboard.drawing.figures import Look
    from dashboard.practice.session import Session
    from dashboard.site import Site
    from dashboard.telling.status import Status
    from dashboard.web.files import Files

#: An exercise that mends its fault opens so long before it does.
MEND_SHOWN_US = 5 * 60 * 1_000_000
LEVELS = ("slight", "plain", "bad")
#: Simulated seconds a second.
SPEEDS = ((1, "1 s/s"), (10, "10 s/s"), (60, "1 min/s"), (600, "10 min/s"), (3600, "1 h/s"))
_STATIONS = {
    "storage": "Storage",
    "pump": "Pump",
    "filter": "Filter",
    "tank": "Pressure tank",
    "line": "Line and garden",
    "sensors": "Sensors",
}


@dataclass(frozen=True, slots=True)
class Entry:
    """A lesson as the menu shows it."""

    lesson: Lesson
    seen: bool
    sentence: str  # why the fitted sensors cannot show it
    marks: Marks


#: Drawdowns over delivery that a cycle takes beside the slightest leak of that lesson, a quarter of the
#: delivery: 1 / 0.245 + 1 / 0.755. The fastest cycle there is takes four.
_LEAK_CYCLE = 5.4 / 4.0


def _never(lesson: Lesson, plant: Plant) -> bool:
    """Whether physics forbids it here: no leak starts a pump too often whose tank is large enough."""
    fastest_s = expected(plant).fastest_cycle_s
    if lesson.key != ("short_cycling", "leak") or fastest_s is None:
        return False
    return 3600.0 / (_LEAK_CYCLE * fastest_s) < (plant.pump.max_starts_per_hour or USUAL_STARTS_PER_HOUR)


def possible(plant: Plant) -> list[Lesson]:
    """The lessons that this plant can be taught: what it has of storage and filter, what its sensors see."""
    told = coverage(plant)
    return [
        lesson
        for lesson in LESSONS
        if not faults.lacking(faults.mechanism(*lesson.key), plant)
        and told[lesson.fault].can
        and not _never(lesson, plant)
    ]


def choosing(plant: Plant, marks: dict[str, Marks], files: Files, base: str) -> str:
    """The room itself: blind or by choice, and what has been mastered."""
    groups: dict[str, list[Entry]] = {name: [] for name in _STATIONS.values()}
    for lesson in possible(plant):
        station = "sensors" if lesson.fault == "sensor_fault" else advice(*lesson.key).station
        groups[_STATIONS[station]].append(Entry(lesson, True, "", marks.get(lesson.name, Marks())))
    lessons = [entry for group in groups.values() for entry in group]
    mastered = sum(entry.marks.mastered for entry in lessons)
    unseen = [lesson.title for lesson in LESSONS if lesson not in possible(plant)]
    asked = sum(entry.marks.asked for entry in lessons)
    return _page(
        plant,
        files,
        base,
        "practice-choose.html",
        heading="Practice",
        groups={name: group for name, group in groups.items() if group},
        levels=LEVELS,
        mastered=mastered,
        count=len(lessons),
        asked=asked,
        right=sum(entry.marks.right for entry in lessons),
        unseen=unseen,
    )


def waiting(session: Session, share: float, files: Files, base: str) -> str:
    """While the first moments are made: looks again by itself, without a script too."""
    return _page(
        session.plant, files, base, "practice-wait.html", heading="Practice", share=share, again=True
    )


def playing(session: Session, own: Status, files: Files, base: str) -> str:
    """An exercise, complete as text at its first moment before any script runs."""
    here = f"{base}/practice/{session.id}"
    first = frames.frame(session, session.begin_us, here, "", twin=False)
    said = frames.told(session, session.begin_us, twin=False)
    answered = session.choices and session.answer is not None
    return _page(
        session.plant,
        files,
        base,
        "practice-play.html",
        heading=heading(session),
        session=session,
        here=here,
        said=said,
        bands=[water.station(band, here) for band in said.bands],
        first=first,
        begin=session.begin_us // 1000,
        end=session.end_us // 1000,
        speeds=SPEEDS,
        speed=60 if session.days <= 0.5 else 600 if session.days <= 1 else 3600,
        looks=strip.looks(session.plant),
        look="pressure" if session.blind else session.lesson.look,
        spans=list(frames.SPANS),
        own=own,
        names=[(name, by_name(name).title) for name in session.choices],
        answered=answered,
        right=session.answer == session.lesson.name,
        given=by_name(session.answer).title if session.answer else "",
        how=LEVELS[session.level],
        mends=not session.blind and session.lesson is not WELL and session.mended_us is None,
        since_mended=session.mended_us and (session.mended_us - MEND_SHOWN_US) // 1000,
        script=True,
    )


def heading(session: Session) -> str:
    if session.blind:
        return "Which fault is this?"
    first, second = session.lesson.title, session.second
    return first if second is None else f"{first}, and {second.title[0].lower()}{second.title[1:]}"


def why(session: Session, which: str, files: Files, base: str) -> str | None:
    """One finding of an exercise: evidence on the trace, in words, and what one would do."""
    assert session.tape is not None
    at_us = session.until_us
    finding = next((one for one in session.tape.findings(at_us) if finding_id(one) == which), None)
    if finding is None or session.blind:
        return None
    shown = evidence(PastSite(session.tape, at_us), finding, at_us)  # type: ignore[arg-type]
    zone = session.plant.timezone
    return _page(
        session.plant,
        files,
        base,
        "practice-why.html",
        heading=advice(finding.fault, finding.cause).title,
        here=f"{base}/practice/{session.id}",
        one=told_finding(finding, at_us, zone),
        rows=evidence_words(finding, session.plant.display_units),
        drawing=draw(shown, zone) if shown else None,
        words=caption(finding, shown, at_us, zone),
    )


def runs(session: Session, at_us: int, look: Look, *, twin: bool) -> list[dict[str, Any]]:
    """What the Cycles page shows of a moment, the healthy twin's latest runs beneath where asked for."""
    assert session.tape is not None
    assert session.twin is not None
    site = PastSite(session.tape, at_us)
    known = site.history.cycles(at_us - 30 * DAY_US, at_us + 1)
    if not known:
        return []
    found = []
    for title, level, figure, words in cycles.drawn(site, known, look, zoom=False):  # type: ignore[arg-type]
        if figure is not None and level == 1 and twin:
            figure["data"] = _twin_runs(session, at_us, look) + figure["data"]
            words += " Grey dashes: the last runs of the healthy twin."
        found.append({"title": title, "level": level, "figure": figure, "words": words})
    return found


def _twin_runs(session: Session, at_us: int, look: Look) -> list[dict[str, Any]]:
    assert session.twin is not None
    site = PastSite(session.twin, at_us)
    latest = site.history.cycles(at_us - 30 * DAY_US, at_us + 1)[-3:]
    figure = cycles.overlaid(site, latest, look) if latest else None  # type: ignore[arg-type]
    if figure is None:
        return []
    lines: list[dict[str, Any]] = [line for line in figure["data"] if line.get("name") != "expected"]
    for line in lines:
        line |= {
            "line": {"color": look.quiet, "width": 1.6, "dash": "dot"},
            "opacity": 0.9,
            "name": "healthy",
        }
    return lines


def beside(session: Session, site: Site, at_us: int, live_us: int, look: strip.Look, span: str) -> str:
    """Practice and the owner's own plant, one under the other."""
    both = frames.beside(session, site, at_us, live_us, look, span)
    return water.partial(
        "practice-beside.html",
        **both,
        span=span,
        plant=session.plant,
        clock=frames.clock(session, at_us),
        live=display.clock(live_us, session.plant.timezone),
        what=strip.LOOKS[look][0],
        width=int(strip.WIDTH),
        height=int(strip.HEIGHT),
    )


def _page(plant: Plant, files: Files, base: str, template: str, **told: Any) -> str:
    return water.partial(
        template,
        plant=plant,
        kept=files.url,
        base=base,
        room="Practice",
        rooms=[one for one in rooms.ROOMS if one.shown(plant)],
        width=int(strip.WIDTH),
        height=int(strip.HEIGHT),
        **told,
    )
