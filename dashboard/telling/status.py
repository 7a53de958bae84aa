"""The whole answer in words: a verdict, how old it is, and the column beneath it. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from analytics.advice import advice
from analytics.advice import station as station_of
from analytics.alarms.rationale import URGENCY
from analytics.words import several
from dashboard.telling import display
from dashboard.telling.alarms import is_event, standing
from dashboard.telling.facts import SILENT_AFTER_S
from dashboard.telling.stations import Station, running, stations

if TYPE_CHECKING:
    from analytics.advice import Advice
    from analytics.alarms.records import Alarm
    from analytics.records import Finding
    from dashboard.telling.facts import Facts

Mood = Literal["well", "wrong", "blind"]
RANK = {"high": 0, "medium": 1, "low": 2}


#: While one of these stands, a motor that runs moves nothing.
NO_WATER_MOVES = frozenset({"lost_prime", "dry_supply", "blocked_discharge"})


@dataclass(frozen=True, slots=True)
class Told:
    """A finding ready to be read. `id` is its place in an address.

    `alarm` says where its alarm is; `aside` that somebody has put it aside, or that it has gone for now: it
    is shown, and is no news.
    """

    finding: Finding
    advice: Advice
    id: str
    since: str
    urgency: str
    alarm: str = ""
    aside: bool = False


@dataclass(frozen=True, slots=True)
class Band:
    """One station and what is found there."""

    station: Station
    found: tuple[Told, ...]

    @property
    def wrong(self) -> bool:
        """Whether something is found here that nobody has put aside."""
        return any(not one.aside for one in self.found)


@dataclass(frozen=True, slots=True)
class Status:
    mood: Mood
    verdict: str
    detail: str
    bands: tuple[Band, ...]
    flow: Literal["moving", "still", "unknown"]
    newest_us: int | None


def finding_id(finding: Finding) -> str:
    """fault, of and raised as one word of an address; read back by comparing, never by parsing."""
    return f"{finding.fault}.{finding.of or '-'}.{finding.raised_us}"


def told(finding: Finding, now_us: int, timezone: str, alarm: Alarm | None = None) -> Told:
    """A finding with its advice and its dates in words."""
    where = standing(finding, alarm, now_us, timezone)
    urgency = "Asks for nothing" if is_event(finding) else URGENCY[finding.priority]
    return Told(
        finding,
        advice(finding.fault, finding.cause),
        finding_id(finding),
        f"since {display.moment(finding.onset_us, now_us, timezone)}",
        urgency,
        where.words if where else "",
        finding.gone_for_now or (where is not None and where.silent),
    )


def status(facts: Facts) -> Status:
    """What the Water page says of these facts."""
    column = stations(facts)
    ordered = sorted(facts.findings, key=lambda f: (RANK[f.priority], f.raised_us))
    found = [
        told(finding, facts.now_us, facts.plant.timezone, facts.alarms.get((finding.fault, finding.of or "")))
        for finding in ordered
    ]
    placed = [(_place(facts, one, column), one) for one in found]
    bands = tuple(
        Band(station, tuple(one for key, one in placed if key == station.key)) for station in column
    )
    runs = running(facts)
    moves = runs and not any(one.fault in NO_WATER_MOVES and not one.gone_for_now for one in facts.findings)
    flow: Literal["moving", "still", "unknown"] = (
        "unknown" if runs is None else "moving" if moves else "still"
    )
    mood, verdict, detail = _verdict(facts, found, column)
    return Status(mood, verdict, detail, bands, flow, facts.newest_us)


def _place(facts: Facts, one: Told, column: tuple[Station, ...]) -> str:
    """The station a finding is shown in; the storage it names where there are several."""
    signal = next((s for s in facts.plant.signals if s.name == one.finding.of), None)
    symbol = station_of(one.finding.fault, one.finding.cause, signal.measures if signal else None)
    at = [station for station in column if station.symbol == symbol]
    of = signal.of if signal else one.finding.of
    named = [station for station in at if station.of == of]
    return (named or at or list(column))[0].key


def _verdict(facts: Facts, found: list[Told], column: tuple[Station, ...]) -> tuple[Mood, str, str]:
    # What cannot be kept looks like silence, and is none of the sensors'.
    silence = f"What comes in cannot be kept: {facts.trouble}." if facts.trouble else _silence(facts)
    aside = [one.advice.title for one in found if one.aside and not one.finding.gone_for_now]
    gone = [one.advice.title for one in found if one.finding.gone_for_now]
    found = [one for one in found if not one.aside]
    if found:
        verdict = found[0].advice.title.rstrip(".") + "."
        others = len(found) - 1
        detail = "Everything else that is seen is well."
        if others:
            detail = f"And {others} more: {_listed([one.advice.title for one in found[1:]])}."
        return "wrong", verdict, f"{silence} {detail}".strip() if silence else detail
    if facts.trouble:
        return "blind", "What comes in cannot be kept.", f"{facts.trouble}."
    if silence:
        if facts.newest_us is None:
            return "blind", silence, "Each sensor's first one shows here at once. Set-up lists who was heard."
        return "blind", silence, "What stands below is the last that was heard."
    if aside or gone:
        kept = [f"Put aside: {_listed(aside)}."] if aside else []
        kept += [f"Gone for now, as before: {_listed(gone)}."] if gone else []
        return "well", "Nothing new is wrong.", " ".join(kept)
    unseen = [station.name.lower() for station in column if not station.seen]
    if unseen:
        return "well", "Nothing is wrong that the sensors see.", f"Not seen: {_listed(unseen)}."
    return "well", "All is well.", "Nothing needs you."


def _silence(facts: Facts) -> str:
    """Why nothing can be said about now; empty when the plant is being heard."""
    newest = facts.newest_us
    if newest is None:
        return "No reading has come in yet."
    age = (facts.now_us - newest) / 1e6
    slowest = max((signal.every_s or 0.0 for signal in facts.plant.signals), default=0.0)
    if age <= max(SILENT_AFTER_S, 10.0 * slowest):
        return ""
    if facts.collector == "gone":
        return f"Holdwater's collector has stopped; nothing heard for {display.duration(age)}."
    if facts.collector == "cut off":
        return f"The broker cannot be reached; nothing heard for {display.duration(age)}."
    return f"Nothing heard from the sensors for {display.duration(age)}."


def _listed(words: list[str]) -> str:
    words = [word.rstrip(".") for word in words]
    return several([word[:1].lower() + word[1:] for word in words])
