"""One moment of an exercise as the page shows it: the same column as live, and the marks on time."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from dashboard.drawing import traces, water
from dashboard.practice import strip
from dashboard.practice.lessons import WELL
from dashboard.practice.session import DAY_US, Session
from dashboard.practice.tape import Past, Tape
from dashboard.telling import display
from dashboard.telling.status import Band, Status, status

if TYPE_CHECKING:
    from analytics.records import Finding
    from dashboard.practice.lessons import Lesson, Look
    from dashboard.site import Site
    from dashboard.telling.facts import Facts

#: Spans over which practice and the owner's own readings are held side by side.
SPANS = {"half an hour": DAY_US // 48, "six hours": DAY_US // 4, "two days": 2 * DAY_US}


def told(session: Session, at_us: int, *, twin: bool) -> Status:
    """What the Water page would say at a moment; while played blind, without what was found."""
    assert session.tape is not None
    facts = session.tape.facts(at_us)
    hidden = session.blind
    if hidden:
        facts = replace(facts, findings=())
    said = status(facts)
    if hidden:
        verdict, detail = "What Holdwater found is hidden.", "A fault, or nothing at all: watch, then say."
        said = replace(said, mood="well", verdict=verdict, detail=detail)
    if twin:
        said = replace(said, bands=tuple(_with_twin(session, facts, band) for band in said.bands))
    return said


def _with_twin(session: Session, facts: Facts, band: Band) -> Band:
    """The tank's live trace with the healthy twin's beneath it, on the same scale."""
    small = band.station.trace
    signal = next(iter(facts.recent), None)
    if session.twin is None or small is None or not small.live or signal is None:
        return band
    found = session.twin.series(signal, facts.now_us - traces.LIVE_US, facts.now_us + 1)
    one = facts.plant.signals[facts.plant.index(signal)]
    value = one.to_si(found.value)
    low, high = small.span
    shown = np.array([display.in_unit(float(v), "pressure", facts.plant.display_units) for v in value])
    kept = traces.thin(found.time_us, shown, traces.POINTS) if len(shown) else np.empty(0, np.intp)
    x = traces.WIDTH * (1 - (facts.now_us - found.time_us[kept]) / traces.LIVE_US)
    y = np.clip(
        traces.HEIGHT - 2 - (shown[kept] - low) / ((high - low) or 1) * (traces.HEIGHT - 4), 0, traces.HEIGHT
    )
    ghost = ("ghost", strip._line(x, y))
    marks = tuple(path for path in small.paths if path[0] != "trace live")
    trace = tuple(path for path in small.paths if path[0] == "trace live")
    return replace(band, station=replace(band.station, trace=replace(small, paths=(*marks, ghost, *trace))))


def frame(session: Session, at_us: int, base: str, seen: str, *, twin: bool) -> dict[str, Any]:
    """A moment for the page's script: texts and traces always, whole bands where their shape changed."""
    said = told(session, at_us, twin=twin)
    shapes = water.seen(said)
    message: dict[str, Any] = {
        "at": at_us // 1000,
        "clock": clock(session, at_us),
        "until": session.until_us // 1000,
        "flow": said.flow,
        "mood": said.mood,
        "slots": water.slots(said),
        "fill": {b.station.key: round(b.station.fill, 3) for b in said.bands if b.station.fill is not None},
        "traces": {b.station.key: list(b.station.trace.paths) for b in said.bands if b.station.trace},
        "seen": shapes,
    }
    if seen != shapes:
        message["html"] = {band.station.key: water.station(band, base) for band in said.bands}
    return message


def clock(session: Session, at_us: int) -> str:
    """ "Day 2, 13:05": days are counted, since no date is meant."""
    zone = session.plant.timezone
    first = display.local(session.begin_us, zone).date()
    then = display.local(at_us, zone)
    return f"Day {(then.date() - first).days + 1}, {then:%H:%M:%S}"


def since(session: Session, at_us: int, lesson: Lesson | None = None) -> str:
    """How long after the fault's true beginning; the first one's unless told of which."""
    gone_s = (at_us - (session.onset_us if lesson is None else session.began_us(lesson))) / 1e6
    return f"{display.duration(abs(gone_s))} {'after' if gone_s >= 0 else 'before'} it began"


def marks(session: Session) -> list[dict[str, Any]]:
    """The instants to mark: the true beginning, when it could first be seen, and every finding as it
    was raised. None while blind."""
    if session.blind or session.lesson is WELL:
        return []
    there = [mark for lesson in session.lessons for mark in _truth(session, lesson)]
    right = {one.key: lesson for lesson in session.lessons if (one := session.detection(lesson)) is not None}
    for finding in session.found():
        lesson = right.get(finding.key)
        says = "Holdwater also said"
        if lesson is not None:
            says = f"Holdwater called it, {since(session, finding.raised_us, lesson)}"
        there.append(
            {
                "at": finding.raised_us // 1000,
                "word": "called" if lesson else "said",
                "kind": "called" if lesson else "other",
                "says": f"{says}: {session.first_words(finding)}",
            }
        )
    return sorted(there, key=lambda mark: mark["at"]) + _repair(session)


def _truth(session: Session, lesson: Lesson) -> list[dict[str, Any]]:
    """When a fault began, and when it could first be seen."""
    began_us = session.began_us(lesson)
    which = "second" if lesson is session.second else "began"
    says = f"{'The second fault' if lesson is session.second else 'The fault'} truly began: {_inner(lesson)}."
    found = [{"at": began_us // 1000, "word": which, "kind": "onset", "says": says}]
    shows_us, called = session.shows_us.get(lesson.name), session.detection(lesson)
    # what was called before showed before: the reckoning of what noise hides is a cautious one
    if shows_us is not None and (called is None or called.raised_us >= shows_us):
        says = f"From here on the sensors could show it, {since(session, shows_us, lesson)}."
        found.append({"at": shows_us // 1000, "word": "shows", "kind": "shows", "says": says})
    return found


def _inner(lesson: Lesson) -> str:
    """Its title within a sentence."""
    return lesson.title[0].lower() + lesson.title[1:]


def _repair(session: Session) -> list[dict[str, Any]]:
    """When it was mended, and when each finding was taken back; nothing where nobody mended it."""
    mended_us = session.mended_us
    if mended_us is None:
        return []
    says = f"You mended it, {since(session, mended_us)}."
    found = [{"at": mended_us // 1000, "word": "mended", "kind": "mended", "says": says}]
    for lesson in session.lessons:
        detection = session.detection(lesson)
        if detection is None or detection.cleared_us is None or detection.cleared_us < mended_us:
            continue
        gone = display.duration((detection.cleared_us - mended_us) / 1e6)
        what = "it is over" if session.second is None else f"this is over: {_inner(lesson)}"
        says = f"Holdwater saw that {what}, {gone} after you mended it."
        found.append({"at": detection.cleared_us // 1000, "word": "over", "kind": "cleared", "says": says})
    return found


def overview(session: Session, look: Look, *, twin: bool) -> dict[str, Any]:
    """The strip under the scrub bar, as far as it has been simulated."""
    assert session.tape is not None
    assert session.twin is not None
    span = session.begin_us, session.end_us
    mine = _drawn(session, session.tape, look, span)
    other = _drawn(session, session.twin, look, span) if twin else None
    ends = strip.scale(session.plant, look, mine, *([other] if other else []))
    one = strip.strip(session.plant, look, span, ends, mine, other)
    return {
        "paths": list(one.paths),
        "low": one.low,
        "high": one.high,
        "words": one.words,
        "marks": marks(session),
        "until": session.until_us // 1000,
        "done": session.done,
        "summary": summary(session),
    }


def _drawn(session: Session, tape: Tape, look: Look, span: tuple[int, int]) -> strip.Drawn:
    past = Past(tape, session.until_us)
    if look not in ("run", "delivery"):
        signal = strip.signal_of(session.plant, look)
        if signal is None or not tape.holds(signal.name):
            return strip.Drawn(np.empty(0, np.int64), np.empty(0), np.empty(0))
    return strip.drawn(session.plant, look, span, past.bands, past.cycles)


def summary(session: Session) -> str:
    """In words: when it truly began, when it was called and why, or that it was not."""
    if session.blind:
        return ""
    if session.second is not None:
        return " ".join(f"{lesson.title}: {_one(session, lesson)}" for lesson in session.lessons)
    return _one(session, session.lesson)


def _one(session: Session, lesson: Lesson) -> str:
    """What became of one fault."""
    detection = session.detection(lesson)
    if lesson is WELL:
        others = session.found()
        return "Nothing was wrong." + (f" Holdwater cried wolf: {others[0].summary}" if others else "")
    if detection is not None:
        return f"Called {since(session, detection.raised_us, lesson)}.{_mending(session, detection)}"
    if not session.done:
        return "Not called so far; the rest is still being simulated."
    watched = display.duration((session.end_us - session.began_us(lesson)) / 1e6)
    return f"Holdwater did not call it within {watched}. Your own eye is what is left: see the tell-tale."


def _mending(session: Session, detection: Finding) -> str:
    """Whether the repair showed, as far as it has been played out."""
    if session.mended_us is None or session.until_us < session.mended_us:
        return ""
    if detection.cleared_us is not None:
        if detection.cleared_us < session.mended_us:
            return " It cleared before it was mended."
        gone = display.duration((detection.cleared_us - session.mended_us) / 1e6)
        return f" Mended; {gone} later the readings were back to what they were, and the finding cleared."
    if not session.done:
        return " Mended; whether it shows is still being simulated."
    watched = display.duration((session.end_us - session.mended_us) / 1e6)
    return f" Mended, and the finding still stood {watched} later."


def beside(session: Session, site: Site, at_us: int, live_us: int, look: Look, span: str) -> dict[str, Any]:
    """Practice and the owner's own readings over spans of the same length, on one scale."""
    assert session.tape is not None
    length, plant = SPANS[span], session.plant
    mine_span, own_span = (at_us - length, at_us), (live_us - length, live_us)
    past = Past(session.tape, at_us)
    mine = strip.drawn(plant, look, mine_span, past.bands, past.cycles)
    own = strip.drawn(plant, look, own_span, site.history.bands, site.history.cycles)
    ends = strip.scale(plant, look, mine, own)
    one, other = (strip.strip(plant, look, s, ends, d, None) for s, d in ((mine_span, mine), (own_span, own)))
    return {"mine": one, "own": other, "low": one.low or other.low, "high": one.high or other.high}
