"""The figures that the owner kept as the plant's own when it was well, and what was found since.

A guided test that went well may be kept. From then on every later test, and what the pump's own runs
have taught, is told beside it: "24.0 psi on 9 June, was 28.2: low on air ...".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.trials.shapes import Estimate
from analytics.trials.since import since
from dashboard.telling import display
from dashboard.telling.trials import FIGURES, figure_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from analytics.plant.description import Plant
    from analytics.records import Outlook
    from analytics.trials.since import Since
    from collector.store.response import Entry
    from dashboard.telling.facts import Facts

#: A figure's band stands in the logbook beside it, under these names.
LOW, HIGH = "low_", "high_"
#: What a change means, and what comes first. A figure that is not here is told without advice.
MEANS: dict[tuple[str, Since], str] = {
    ("air_charge_pa", "less"): "The tank has lost air since: with its water side drained, top it up to what "
    "it was. A tank much colder than then reads lower without a loss.",
    ("air_charge_pa", "more"): "The tank has more air than then. Was it topped up, or is it much warmer?",
    ("delivery_cut_in_m3_s", "less"): "The pump gives less than then: flush the filter and test again; still "
    "low, look at the suction side, then at the pump.",
    ("delivery_cut_in_m3_s", "more"): "More than then: was the filter cleaned or the pump renewed? A tank "
    "that has lost air looks the same, and the air-charge test tells.",
    ("leak_m3_s", "more"): "More is lost than then: the leak-down and check-valve tests tell where.",
    ("pipe_fall_pa_s", "more"): "The pipe keeps its pressure less well than then: look along it.",
}
SAME = "As then, as near as this can tell."
NO_BAND = "It was written without its uncertainty, so no more can be said."
#: A standard error's multiples: from a tenth and ninetieth percentile to 19 times in 20 (normal).
WIDER = 1.96 / 1.2816
#: What runs teach of the same figure; the air charge that they tell starts from the plant file's, not
#: from the kept one, so it is not held against it.
LEARNED = "delivery_cut_in_m3_s"


@dataclass(frozen=True, slots=True)
class Found:
    """One figure, when it was found, and whence: a test, or the pump's own runs."""

    estimate: Estimate
    time_us: int
    learned: bool = False


def logged(figures: Mapping[str, Estimate]) -> dict[str, float]:
    """A test's figures as the logbook keeps them: each with its band, where it has one."""
    rows: dict[str, float] = {}
    for name, one in figures.items():
        rows[name] = one.value
        if one.known and one.high > one.low:
            rows |= {LOW + name: one.low, HIGH + name: one.high}
    return rows


def estimates(entry: Entry) -> dict[str, Estimate]:
    """The figures of a logged test that stand there with their bands."""
    return {name: one for name, one in _figures(entry) if one.known}


def bare(name: str) -> str:
    """The figure of which a logged name tells the value or an end of the band."""
    return name.removeprefix(LOW).removeprefix(HIGH)


def signature(results: Sequence[Entry]) -> dict[str, Found]:
    """The newest of each figure that was kept. `results`: the logbook's test results, newest first."""
    return _newest(entry for entry in results if entry.figures.get("commissioning"))


def later(results: Sequence[Entry], kept: Mapping[str, Found]) -> dict[str, Found]:
    """The newest test result of each kept figure that is younger than the kept one."""
    return {
        name: one
        for name, one in _newest(results).items()
        if name in kept and one.time_us > kept[name].time_us
    }


def learned(facts: Facts, kept: Mapping[str, Found]) -> dict[str, Found]:
    """What the pump's own runs say of a kept figure by now."""
    outlook = facts.outlook(LEARNED)
    if outlook is None or LEARNED not in kept or outlook.time_us <= kept[LEARNED].time_us:
        return {}
    return {LEARNED: Found(_wider(outlook), outlook.time_us, learned=True)}


def told(plant: Plant, name: str, kept: Found, now: Found, at_us: int) -> str:
    """What a figure of today means beside the kept one, in a sentence or two."""
    units, zone = plant.display_units, plant.timezone
    whence = "by its runs" if now.learned else display.day(now.time_us, at_us, zone)
    value, was = (figure_words(name, one.estimate.value, units) for one in (now, kept))
    how = since(plant, name, kept.estimate, now.estimate)
    means = NO_BAND if how is None else SAME if how == "same" else MEANS.get((name, how), "")
    if not means:
        means = "Less than then." if how == "less" else "More than then."
    return f"{value} {whence}; was {was} when kept {display.day(kept.time_us, at_us, zone)}. {means}"


def _newest(entries: Iterable[Entry]) -> dict[str, Found]:
    found: dict[str, Found] = {}
    for entry in entries:
        for name, one in _figures(entry):
            found.setdefault(name, Found(one, entry.time_us))
    return found


def _figures(entry: Entry) -> Iterator[tuple[str, Estimate]]:
    """A logged test's figures; without a band the ends are NaN."""
    for name, value in entry.figures.items():
        if name in FIGURES and isinstance(value, int | float):
            low, high = (entry.figures.get(end + name) for end in (LOW, HIGH))
            ends = [float(end) if isinstance(end, int | float) else float("nan") for end in (low, high)]
            yield name, Estimate(float(value), *ends)


def _wider(outlook: Outlook) -> Estimate:
    """An outlook's band, widened to 19 times in 20."""
    assert outlook.p50 is not None
    ends = [outlook.p50 if end is None else end for end in (outlook.p10, outlook.p90)]
    low, high = (outlook.p50 + WIDER * (end - outlook.p50) for end in ends)
    return Estimate(outlook.p50, low, high)
