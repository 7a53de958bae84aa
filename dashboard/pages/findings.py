"""Findings and the logbook: what happened, why we think so, what to do, what was done, did it help.

Drawn by the server as text and one picture, so that they stand without any script; `dashboard.web.findings`
has the addresses, and what is done about a finding is in `dashboard.web.actions`.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from analytics.advice import advice
from analytics.alarms.states import SILENT
from collector.commands import Commands, Log, new_key
from collector.store import HistoryError
from dashboard.drawing import water
from dashboard.drawing.evidence import draw
from dashboard.pages.history import SHORTEST_US
from dashboard.telling import display
from dashboard.telling.alarms import (
    STATIONS,
    WRITABLE,
    ahead,
    is_event,
    logbook,
    standing,
    story,
)
from dashboard.telling.evidence import caption, evidence, evidence_words
from dashboard.telling.status import RANK, finding_id, told

if TYPE_CHECKING:
    from analytics.alarms.records import Alarm
    from analytics.records import Finding
    from collector.commands import Asked
    from collector.store.response import Entry
    from dashboard.site import Site
    from dashboard.telling.evidence import Evidence

#: As many closed findings as one page lists; the rest are in `holdwater findings`.
PAST = 60
ENTRIES = 200
CHANGES = 500
#: Hours for which an alarm is put aside, and the word for it.
HOURS = ((8, "8 hours"), (24, "a day"), (72, "3 days"), (168, "a week"))


def by_finding(site: Site) -> dict[tuple[str, str], Alarm]:
    return {alarm.place: alarm for alarm in site.history.alarms()}


def find(site: Site, identity: str) -> Finding | None:
    return next((one for one in site.history.findings() if finding_id(one) == identity), None)


def version(site: Site) -> str:
    """Changes whenever a page here must be drawn anew."""
    history = site.history
    open_now = [(f.key, f.confidence, f.summary) for f in history.findings(open_only=True)]
    parts = (open_now, history.alarms(), history.last_id("logbook"), [one.key for one in waiting(site)])
    return hashlib.blake2s(repr(parts).encode(), digest_size=6).hexdigest()


def waiting(site: Site) -> list[Asked]:
    """Commands that the collector has not carried out yet."""
    try:
        return Commands(site.data, site.plant.name).waiting()
    except HistoryError:
        return []


def _base(site: Site) -> str:
    return f"/at/{site.plant.name}"


def listed(site: Site, at: int, may_act: bool) -> str:
    """All findings: what stands, what is put aside, what is past."""
    alarms, every = by_finding(site), site.history.findings()
    standing_now = sorted(
        (f for f in every if f.cleared_us is None), key=lambda f: (RANK[f.priority], f.raised_us)
    )
    past = sorted((f for f in every if f.cleared_us is not None), key=lambda f: -f.raised_us)
    rows = [_row(site, finding, alarms, at) for finding in standing_now]
    out = [
        (_silent_title(alarm), standing_words)
        for alarm in alarms.values()
        if alarm.state in SILENT and not alarm.standing
        for standing_words in [_silence(alarm, at, site.plant.timezone)]
    ]
    return water.partial(
        "findings.html",
        base=_base(site),
        calling=[row for row in rows if not row["silent"]],
        aside=[row for row in rows if row["silent"]],
        out=out,
        past=[_row(site, finding, alarms, at) for finding in past[:PAST]],
        older=max(0, len(past) - PAST),
        version=version(site),
        may_act=may_act,
    )


def _row(site: Site, finding: Finding, alarms: dict[tuple[str, str], Alarm], at: int) -> dict[str, object]:
    one = told(finding, at, site.plant.timezone)
    where = standing(finding, alarms.get((finding.fault, finding.of or "")), at, site.plant.timezone)
    when = f"{one.urgency}, {one.since}" if not is_event(finding) else f"Asks for nothing; {one.since}"
    if finding.cleared_us is not None:
        lasted = display.duration((finding.cleared_us - finding.onset_us) / 1e6)
        when = f"{display.moment(finding.onset_us, at, site.plant.timezone)}, over after {lasted}"
    return {
        "id": one.id,
        "title": one.advice.title,
        "when": when,
        "open": finding.cleared_us is None,
        "silent": where is not None and where.silent and finding.cleared_us is None,
        "state": where.words if where and (where.silent or where.acknowledge) else "",
        "event": is_event(finding),
    }


def _silent_title(alarm: Alarm) -> str:
    return advice(alarm.fault, alarm.cause).title


def _silence(alarm: Alarm, at: int, timezone: str) -> str:
    until = f" until {ahead(alarm.until_us, at, timezone)}" if alarm.until_us else ""
    why = f": {alarm.reason}" if alarm.reason else ""
    return f"{alarm.state.value.capitalize()}{until}{why}"


def one(site: Site, finding: Finding, at: int, may_act: bool, done: str = "") -> str:
    """One finding: its evidence, what to do, and its story. `done` is the key of a command just given."""
    zone, units = site.plant.timezone, site.plant.display_units
    said = told(finding, at, zone)
    shown = evidence(site, finding, at)
    alarm = by_finding(site).get((finding.fault, finding.of or ""))
    changes = site.history.alarm_changes(CHANGES, finding.fault)
    refused, kept = _became(site, done)
    entries = site.history.logbook(ENTRIES)
    return water.partial(
        "finding-page.html",
        base=_base(site),
        here=f"{_base(site)}/findings/{said.id}",
        one=said,
        finding=finding,
        state=_state(finding, at, zone),
        event=is_event(finding),
        where=standing(finding, alarm, at, zone),
        drawing=draw(shown, zone) if shown is not None else None,
        words=caption(finding, shown, at, zone),
        study=_study(shown) if shown is not None else "",
        evidence=evidence_words(finding, units),
        story=story(finding, changes, entries, at, zone),
        watching=_watching(finding, entries, at, zone),
        hours=HOURS,
        keys=[new_key() for _ in range(6)],
        version=version(site),
        refused=refused,
        kept=kept or _kept(site, finding),
        may_act=may_act,
    )


def _watching(finding: Finding, entries: list[Entry], at: int, zone: str) -> str:
    """When the newest repair was logged of which it is still open whether it helped; "" where none is."""
    if finding.cleared_us is not None:
        return ""
    place = (finding.fault, finding.of, finding.raised_us)
    mine = [one.time_us for one in entries if one.watching and (one.fault, one.of, one.raised_us) == place]
    return display.moment(max(mine), at, zone) if mine else ""


def _study(shown: Evidence) -> str:
    """The query of History's address for the same stretch; "" where the evidence is no one signal."""
    first, last = int(shown.time_us[0]), int(shown.time_us[-1])
    if not shown.signal or last - first < SHORTEST_US:
        return ""
    return urlencode({"signal": shown.signal, "from": first, "to": last})


def _state(finding: Finding, at: int, zone: str) -> str:
    onset, raised = (display.moment(t, at, zone) for t in (finding.onset_us, finding.raised_us))
    began, sure = f"Began {onset}, called {raised}", f"{100 * finding.confidence:.0f} % sure"
    if finding.cleared_us is None:
        return f"{began}; {sure}."
    return f"{began}, over {display.moment(finding.cleared_us, at, zone)}; {sure}."


def _became(site: Site, key: str) -> tuple[str, bool]:
    """What became of a command: why it was refused, and whether it still waits."""
    if not key:
        return "", False
    carried = site.history.carried(key)
    if carried is not None:
        return carried.answer, False
    return "", any(asked.key == key for asked in waiting(site))


def _kept(site: Site, finding: Finding) -> bool:
    """Whether a command about this finding waits for the collector."""
    place = (finding.fault, finding.of)
    return any(
        (getattr(asked.command, "fault", None), getattr(asked.command, "of", None)) == place
        for asked in waiting(site)
    )


def book(site: Site, at: int, may_act: bool, done: str = "") -> str:
    """The logbook, and a form to write in it."""
    refused, _ = _became(site, done)
    waits = [asked for asked in waiting(site) if isinstance(asked.command, Log)]
    return water.partial(
        "logbook.html",
        base=_base(site),
        here=f"{_base(site)}/logbook",
        days=logbook(site.history.logbook(ENTRIES), at, site.plant.timezone, site.plant.display_units),
        kinds=WRITABLE,
        stations=STATIONS,
        key=new_key(),
        version=version(site),
        refused=refused,
        kept=waits,
        may_act=may_act,
    )
