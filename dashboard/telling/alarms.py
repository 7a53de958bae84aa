"""Alarms and the logbook in words: where an alarm is in its life, and the story of a finding. Pure."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from analytics.alarms.rationale import ALARMS
from analytics.alarms.states import Event, State
from dashboard.telling import display, kept, trials
from dashboard.telling.evidence import worded

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from analytics.alarms.records import Alarm, Change
    from analytics.records import Finding
    from collector.store import Entry

_DONE: dict[Event, str] = {
    Event.ACKNOWLEDGE: "Acknowledged",
    Event.SHELVE: "Shelved",
    Event.UNSHELVE: "Unshelved",
    Event.SHELVING_RUNS_OUT: "Its shelving time ran out",
    Event.SUPPRESS: "Suppressed by design",
    Event.UNSUPPRESS: "No longer suppressed",
    Event.REMOVE: "Taken out of service",
    Event.RETURN: "Back in service",
    Event.WORSENED: "It asks for a faster answer than before",
}
KIND_WORDS = {
    "repair": "Repair",
    "observation": "Seen",
    "soil test": "Soil test",
    "test result": "Test result",
    "confirmation": "Holdwater watched",
}
#: What a person may write, as the form offers it.
WRITABLE = (("observation", "What I saw"), ("repair", "A repair"))
STATIONS = (
    ("", "Nowhere in particular"),
    ("storage", "Sky and storage"),
    ("pump", "Suction and pump"),
    ("filter", "Filter"),
    ("tank", "Pressure tank and switch"),
    ("line", "Line and garden"),
    ("garden", "Garden"),
)


@dataclass(frozen=True, slots=True)
class Joint:
    """One moment on the pipe of a story. `broken`: the pipe below it, until the next."""

    time_us: int
    mark: str  # "fault", "hand", "mended", "doubt", "over", "note": a shape, and a class
    title: str
    words: str = ""
    when: str = ""
    broken: bool = False
    finding: str | None = None
    figures: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Standing:
    """Where an alarm is, and what can be done about it."""

    state: str
    words: str
    silent: bool
    acknowledge: bool
    shelve: bool
    unshelve: bool
    remove: bool
    put_back: bool


def standing(finding: Finding, alarm: Alarm | None, now_us: int, timezone: str) -> Standing | None:
    """Of the alarm that this finding is; None where it is an event, or an alarm's earlier finding."""
    if alarm is None or alarm.raised_us != finding.raised_us:
        return None
    state = alarm.state
    gone = not alarm.active and state in (State.NORMAL, State.RETURNED)
    return Standing(
        state.value,
        _where(alarm, now_us, timezone),
        state in (State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE),
        state in (State.UNACKNOWLEDGED, State.RETURNED),
        state not in (State.SHELVED, State.OUT_OF_SERVICE) and not gone,
        state is State.SHELVED,
        state is not State.OUT_OF_SERVICE and not gone,
        state is State.OUT_OF_SERVICE,
    )


def _where(alarm: Alarm, now_us: int, timezone: str) -> str:
    since = display.moment(alarm.since_us, now_us, timezone)
    why = f": {alarm.reason}" if alarm.reason else ""
    by = f" by {alarm.by}" if alarm.by else ""
    if alarm.state is State.SHELVED and alarm.until_us is not None:
        return f"Shelved until {ahead(alarm.until_us, now_us, timezone)}{by}{why}."
    if alarm.state is State.OUT_OF_SERVICE:
        return f"Out of service since {since}{by}{why}."
    if alarm.state is State.SUPPRESSED:
        return f"Suppressed by design{why}."
    comes = " It comes and goes, and is told once until it keeps away." if alarm.chattering else ""
    if alarm.active and not alarm.standing:
        comes = " The readings are well again; it counts as over when that has lasted." + comes
    words = {
        State.UNACKNOWLEDGED: f"Unacknowledged since {since}: nobody has said that they have seen it.",
        State.ACKNOWLEDGED: f"Acknowledged {since}.",
        State.RETURNED: "Over, and not acknowledged yet.",
        State.NORMAL: "Over.",
    }
    return words[alarm.state] + comes


def ahead(time_us: int, now_us: int, timezone: str) -> str:
    """A moment to come: "today 14:05", "tomorrow 07:00", "Friday 07:00", "12 May 07:00"."""
    then, now = display.local(time_us, timezone), display.local(now_us, timezone)
    days = (then.date() - now.date()).days
    day = {0: "today", 1: "tomorrow"}.get(days) or (f"{then:%A}" if 1 < days < 7 else f"{then.day} {then:%B}")
    return f"{day} {then:%H:%M}"


def is_event(finding: Finding) -> bool:
    """Whether a finding asks for nothing."""
    return finding.fault not in ALARMS


def story(
    finding: Finding, changes: Iterable[Change], entries: Iterable[Entry], now_us: int, timezone: str
) -> list[Joint]:
    """A finding from its beginning to its end, with what people did about it, in order."""
    mine = (finding.fault, finding.of, finding.raised_us)
    joints = [
        Joint(finding.onset_us, "fault", "It began"),
        Joint(finding.raised_us, "fault", "Holdwater called it"),
        *(
            of_change(one)
            for one in changes
            if (one.fault, one.of, one.raised_us) == mine and one.event in _DONE
        ),
        *(of_entry(one) for one in entries if (one.fault, one.of, one.raised_us) == mine),
    ]
    if finding.cleared_us is not None:
        joints.append(Joint(finding.cleared_us, "over", "It was over"))
    joints.sort(key=lambda joint: joint.time_us)
    over_us = finding.cleared_us
    return [_placed(joint, now_us, timezone, over_us is None or joint.time_us < over_us) for joint in joints]


def _key(one: Change | Entry) -> tuple[str | None, str | None, int | None]:
    return (one.fault, one.of, one.raised_us)


def of_change(change: Change) -> Joint:
    """An alarm's change as a moment."""
    by = f" by {change.by}" if change.by else ""
    return Joint(change.time_us, "hand" if change.by else "note", f"{_DONE[change.event]}{by}", change.reason)


def of_entry(entry: Entry, units: display.Units | None = None) -> Joint:
    """A logbook entry as a moment; its figures in the owner's units, if those are named."""
    if entry.kind == "confirmation":
        mark = {"proved": "mended", "held": "mended"}.get(str(entry.figures.get("outcome")), "doubt")
        title = "Holdwater watched"
    else:
        mark = "hand"
        title = f"{KIND_WORDS.get(entry.kind, entry.kind)}, {entry.author}"
    figures = () if units is None else tuple(figure_words(entry, units))
    return Joint(entry.time_us, mark, title, entry.words, finding=entry.finding, figures=figures)


def figure_words(entry: Entry, units: display.Units) -> list[tuple[str, str]]:
    """An entry's figures, each with its name in words and its unit, a test's with their bands."""
    tested = kept.estimates(entry)
    return trials.figures_words(tested, units) + [
        worded(name, value, units) if isinstance(value, int | float) else (_label(name), value)
        for name, value in entry.figures.items()
        if name not in ("outcome", "commissioning") and kept.bare(name) not in tested
    ]


def _label(name: str) -> str:
    return name.replace("_", " ").capitalize()


def _placed(joint: Joint, now_us: int, timezone: str, broken: bool) -> Joint:
    return replace(joint, when=display.moment(joint.time_us, now_us, timezone), broken=broken)


def logbook(
    entries: Sequence[Entry], now_us: int, timezone: str, units: display.Units
) -> list[tuple[str, list[Joint]]]:
    """The logbook by days, the newest first; within a day in order of time."""
    days: dict[str, list[Joint]] = {}
    for entry in entries:
        joint = of_entry(entry, units)
        word = display.day(joint.time_us, now_us, timezone)
        days.setdefault(word[:1].upper() + word[1:], []).append(
            Joint(
                joint.time_us, joint.mark, joint.title, joint.words, display.clock(joint.time_us, timezone),
                False, joint.finding, joint.figures,
            )
        )  # fmt: skip
    return list(days.items())
