"""Storage will reach its outlet within the time the owner wants to be warned ahead, or has.

What fails: more is drawn than comes in, by demand or by a leak; below the outlet the pump draws air,
loses its prime and runs dry.

Physics: what is above the outlet, usable = V(level) - V(outlet), goes down by the days' net draw.
How long it lasts is a distribution (see `analytics.outlooks.forecast`); rain is not counted on.

Sensors show: `storage_level`; the day's net draw is the sum of its falls outside rain and other
rises, brought to a whole day. So it needs no pump signal and counts a leak with the demand, as long as it
runs: once mended, its days are none of the owner's.

Mistaken for it: a level gauge that drops out or jumps (see `analytics.judging.balance`); one heavy
day (the forecast knows the days before it).

The cause is "leak" where the level surely falls through the pump's rests by MOST_SHARE of all that goes, or
by PART_SHARE and without that the water would last beyond the warning, or a burst line stands. Surely: by
more than SURE_ERRORS of what the level's scatter, and its last digit, make of so many rests. It is open
where a part is lost that does not decide it, or a leak of the pressurised side stands, whose part the
level does not tell, or no motor signal tells rests. Else "demand", as always of a header tank, which the
pump fills and a house draws from at any hour.

Parameters:
    warn_ahead  3 days    the plant file's
    RAISED      0.2       chance of being empty within warn_ahead: told by the median every second owner
                          would be told too late; EVEN_SHARE 0.5 while fewer than KNOWN_DAYS 4 tell how days
                          scatter; or HEAVY_SHARE 0.25 where the last 24 hours, gone on with, empty it in
                          that time, and took MORE 1.25 times what any of the days before took (two, at
                          least): guests and a new watering schedule are seen before their week
    YOUNG_SHARE 0.8       that chance, while no whole day has been seen: half a day may hold all of the
                          garden's water, or none of it; and while one alone has, of which HALF went in GO_H 3
                          hours: what is watered in one go may be so every second day
    LEAK_SHARE  0.5 %     of the volume a day: below it a loss at rest is evaporation and scatter
    SURE_ERRORS 3         standard errors above nothing: once in 700 by chance, and it is asked once an hour
                          for some days
    MOST_SHARE  0.5       of all that goes; PART_SHARE 0.25: the forecast's own scatter from day to day
    TAKEN_BACK  3         steps within which a gauge that moved and came back drew nothing
    CLEAR       1.5       times warn_ahead at the median, and no reason left to raise it: cleared (rain,
                          a refill, a repair)
    DAY_PART    12 h      of dry level needed to count a day; a young plant's first half day likewise
    FIRST_DAY   22 h      of the first: rain leaves out any hours, but who begins to record at noon leaves out
                          the same ones that a garden or a herd does not drink in, and half a day with all of
                          its water is none to be doubled
    AT_OUTLET   0.5 %     of the full level above the outlet counts as there

Source: forecast as in its module; the rest common practice, no source.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING, Literal

import msgspec

from analytics import words
from analytics.instants import HOUR_US
from analytics.judging.balance import FED, LevelStep, sigma_m3
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.outlooks.forecast import HORIZON_DAYS, RECORD_DAYS, days_to_empty
from analytics.plant.description import Measure
from analytics.records import Outlook

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.balance import Watched
    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant, Storage
    from analytics.seeing.beats import Beat
    from analytics.seeing.events import Day

HEAVY_SHARE, RAISED, EVEN_SHARE, YOUNG_SHARE = 0.25, 0.2, 0.5, 0.8
KNOWN_DAYS, FEWEST_DAYS, MORE = 4, 2, 1.25
HALF, GO_H = 0.5, 3
SURE_ERRORS = 3.0
LEAK_SHARE = 0.005
MOST_SHARE, PART_SHARE = 0.5, 0.25
TAKEN_BACK = 3
CLEAR = 1.5
DAY_PART_S = 12 * 3600.0
FIRST_DAY_S = 22 * 3600.0
AT_OUTLET = 0.005
OUTLET_BEATS = 2
DAY_S, DAY_HOURS = 86_400.0, 24
#: Hour by hour the tank's content changes by less than a forecast can tell.
LOOK_US = HOUR_US

OPEN = " Use and a leak both take their part, and which takes more is open."
OPEN_WITHOUT_MOTOR = " Whether use or a leak empties it is open: a motor signal would tell."
OPEN_BESIDE_LEAK = (
    " How much of it goes by use, and how much by the leak on the pressurised side, the level does not tell: "
    "mend that first."
)
SHUT_IT = " Shut its outlet for a night: what it still loses is the leak."


class Stock(msgspec.Struct):
    """Memory of one storage."""

    days_m3: list[float | None] = []
    lost: list[bool] = []  # of these days, whether a leak or a burst line took its part
    losing: bool = False  # today
    mended: bool = True  # none takes it now
    drawn_m3: float = 0.0  # today's net fall, dry
    dry_s: float = 0.0
    quiet_m3: float = 0.0  # what fell through rests, fading over two days
    quiet_s: float = 0.0
    rests: float = 0.0  # so many, fading likewise
    resting: bool = False
    unsure_m3: float = 0.0  # standard error of what one rest lost
    level_m: float | None = None  # believed
    at_outlet: int = 0
    standing: bool = False
    since_us: int = 0
    cause: str | None = None
    day_m3: list[float] = []  # dry net draw of the last 24 hours, an hour each
    hour_m3: float = 0.0
    due: bool = False  # an hour has ended since the last look
    lately_m3: list[float] = []  # the last steps' changes, for what is taken back
    risen_m3: float = 0.0  # the last rise
    risen_steps: int = 0  # since


class StockMemory(msgspec.Struct):
    storages: dict[str, Stock] = {}


class StorageDepletion(Detector):
    FAULT = "storage_depletion"
    Memory = StockMemory
    memory: StockMemory

    def beat(self, beat: Beat, known: Known) -> Sequence[Word]:
        found: list[Word] = []
        for watched in known.levels.watched:
            name = watched.storage.name
            stock = self.memory.storages.get(name)
            if stock is None:
                stock = self.memory.storages[name] = Stock()
            if not beat.to_us % LOOK_US:
                stock.due = True  # not only where the hour's last beat has a word: each 15 min it may never
                stock.day_m3, stock.hour_m3 = [*stock.day_m3[1 - DAY_HOURS :], stock.hour_m3], 0.0
            if not known.levels.spoke(name, beat):
                continue
            if known.is_open("sensor_fault", watched.level_name):
                _forget(stock)
                continue
            stock.level_m = known.levels.tracks[name].level_m
            self._note_loss(stock, watched.storage, known)
            step = known.levels.steps[name]
            if step is not None and step.seconds <= DAY_S:
                _count(stock, step, watched.storage)
            found += self._judge(stock, beat, watched, known)
        return found

    def day(self, day: Day, known: Known) -> Sequence[Word]:
        for stock in self.memory.storages.values():
            whole = stock.dry_s >= (DAY_PART_S if stock.days_m3 else FIRST_DAY_S)
            stock.days_m3 = [
                *stock.days_m3[-RECORD_DAYS + 1 :],
                max(stock.drawn_m3, 0.0) * DAY_S / stock.dry_s if whole else None,
            ]
            stock.lost, stock.losing = [*stock.lost[-RECORD_DAYS + 1 :], stock.losing], False
            stock.drawn_m3 = stock.dry_s = 0.0
        return ()

    def _note_loss(self, stock: Stock, storage: Storage, known: Known) -> None:
        loses = _loses(storage, known)
        if loses and stock.mended:  # a leak is told on its second day
            stock.lost[-1:] = [True] * len(stock.lost[-1:])
        if stock.losing and not loses and not stock.mended:
            stock.day_m3, stock.hour_m3 = [], 0.0  # the last hours' draw was the leak's
        stock.mended = not loses
        stock.losing |= loses

    def outlooks(self, day: Day, known: Known) -> Sequence[Outlook]:
        found = []
        for storage in self.plant.storages:
            stock = self.memory.storages.get(storage.name)
            bands = self._forecast(stock, storage, (0.1, 0.5, 0.9)) if stock else None
            p10, p50, p90 = bands if bands else (None, None, None)
            found.append(Outlook("days_to_empty", storage.name, day.at_us, p10, p50, p90))
        return found

    def _forecast(self, stock: Stock, storage: Storage, shares: Sequence[float]) -> tuple[float, ...] | None:
        if stock.level_m is None:
            return None
        days = list(stock.days_m3)
        if stock.mended:  # what was lost then is no demand
            days = [None if lost else day for day, lost in zip(days, stock.lost, strict=True)]
        if not any(day is not None for day in days) and not (stock.losing and stock.mended):
            if len(stock.day_m3) == DAY_HOURS:
                days = [max(sum(stock.day_m3), 0.0)]
            elif stock.dry_s >= DAY_PART_S:
                days = [max(stock.drawn_m3, 0.0) * DAY_S / stock.dry_s]
        return days_to_empty(_usable_m3(storage, stock.level_m), days, shares)

    def _judge(self, stock: Stock, beat: Beat, watched: Watched, known: Known) -> Sequence[Word]:
        storage = watched.storage
        assert stock.level_m is not None
        there = stock.level_m <= storage.outlet_level_m + AT_OUTLET * storage.full_level_m
        stock.at_outlet = stock.at_outlet + 1 if there else 0
        due, stock.due = stock.due, False
        if stock.at_outlet != OUTLET_BEATS and not (due and self._near(stock, storage)):
            return ()
        known_days = sum(
            day is not None and not (lost and stock.mended)
            for day, lost in zip(stock.days_m3, stock.lost, strict=True)
        )
        bands = self._forecast(stock, storage, (0.1, HEAVY_SHARE, RAISED, EVEN_SHARE, YOUNG_SHARE, 0.9))
        warn_days = storage.warn_ahead_s / DAY_S
        if stock.at_outlet >= OUTLET_BEATS:
            bands = (0.0,) * 6
        if bands is None:
            return ()
        if known.levels.tracks[storage.name].fed_1 > FED and not (there or stock.standing):
            return ()  # whoever fills it by a pump fills it again
        goes_on = _is_new(stock) and _usable_m3(storage, stock.level_m) <= warn_days * sum(stock.day_m3)
        _, heavy, raised, middle, late, _ = bands
        whole = known_days > 0 or len(stock.day_m3) == DAY_HOURS
        young = known_days < FEWEST_DAYS and (not whole or _in_one_go(stock))
        soon = (late if young else middle if known_days < KNOWN_DAYS else raised) <= warn_days
        if soon or (stock.standing and middle <= warn_days) or (heavy <= warn_days and goes_on):
            stock.since_us = stock.since_us if stock.standing else beat.from_us
            stock.standing = True
            return [self._claim(stock, watched, bands, known)]
        if stock.standing and middle > CLEAR * warn_days and heavy > warn_days and not goes_on:
            stock.standing, stock.cause = False, None
            lasts = words.days(middle)
            return [AllClear(self.FAULT, of=storage.name, summary=f"There is water for {lasts} again.")]
        return ()

    def _near(self, stock: Stock, storage: Storage) -> bool:
        """Cheap look before a forecast: could it last less than four times the warning?"""
        if stock.standing:
            return True
        days = [day for day in stock.days_m3 if day is not None]
        most = max(days, default=stock.drawn_m3 * DAY_S / stock.dry_s if stock.dry_s else 0.0)
        assert stock.level_m is not None
        return _usable_m3(storage, stock.level_m) <= 4.0 * most * storage.warn_ahead_s / DAY_S

    def _claim(self, stock: Stock, watched: Watched, bands: tuple[float, ...], known: Known) -> Claim:
        storage = watched.storage
        assert stock.level_m is not None
        first, _, _, middle, _, last = bands
        empty = stock.at_outlet >= OUTLET_BEATS
        if not empty or stock.cause is None:  # of an empty tank nothing can be drawn or lost
            stock.cause = "leak" if stock.cause == "leak" else self._cause(stock, watched, known)
        cause = stock.cause
        why = {"leak": " A leak takes its part of it.", "demand": "", None: self._open(watched, known)}[cause]
        lasts, band = words.days(middle), words.band(first, last)
        said = (
            f"The {storage.name} storage is down to its outlet: the pump would draw air."
            if empty
            else f"At the present use the {storage.name} storage is empty in {lasts}"
            f"{'' if band == lasts else f' (likely {band})'}, rain not counted."
        )
        priority: Literal["high", "medium"] = "high" if middle <= 1.0 else "medium"
        return Claim(
            self.FAULT,
            of=storage.name,
            onset_us=stock.since_us,
            priority=priority,
            confidence=0.99 if empty else 0.85,
            summary=said + why,
            cause=cause,
            evidence={
                "level_m": stock.level_m,
                "usable_m3": _usable_m3(storage, stock.level_m),
                "empty_p10_s": first * DAY_S,
                "empty_p50_s": middle * DAY_S,
                "empty_p90_s": min(last, HORIZON_DAYS) * DAY_S,
            },
        )

    def _open(self, watched: Watched, known: Known) -> str:
        """What is open between demand and leak, and what would tell."""
        if not watched.has_motor:
            return OPEN_WITHOUT_MOTOR + SHUT_IT
        return OPEN_BESIDE_LEAK if known.is_open("supply_leak") else OPEN + SHUT_IT

    def _cause(self, stock: Stock, watched: Watched, known: Known) -> str | None:
        if known.levels.tracks[watched.storage.name].fed_1 > FED:
            return "demand"  # drawn from below, whether the pump rests or runs
        if known.is_open("burst_line"):
            return "leak"
        days = [day for day in stock.days_m3[-3:] if day is not None]
        draw = sum(days) / len(days) if days else stock.drawn_m3 * DAY_S / max(stock.dry_s, 1.0)
        if stock.quiet_s < 3 * 3600.0 or draw <= 0.0:
            return "demand" if watched.has_motor else None
        sure = stock.quiet_m3 > SURE_ERRORS * stock.unsure_m3 * sqrt(stock.rests)
        loss_m3_day = stock.quiet_m3 / stock.quiet_s * DAY_S if sure else 0.0
        share = loss_m3_day / draw if loss_m3_day >= LEAK_SHARE * watched.storage.volume_m3 else 0.0
        left_m3 = _usable_m3(watched.storage, stock.level_m or 0.0)
        lasts = left_m3 > (draw - loss_m3_day) * watched.storage.warn_ahead_s / DAY_S
        if share >= MOST_SHARE or (share >= PART_SHARE and lasts):
            return "leak"
        return "demand" if share < PART_SHARE and not known.is_open("supply_leak") else None


def _in_one_go(stock: Stock) -> bool:
    """Whether most of what the last 24 hours took went within a few of them."""
    hours = stock.day_m3
    most = max((sum(hours[at : at + GO_H]) for at in range(len(hours))), default=0.0)
    return most > HALF * sum(hours)


def _is_new(stock: Stock) -> bool:
    """Whether the last 24 hours took more than any day before them: one as heavy that came and went, as a
    garden's, says that this one will, too."""
    before = [day for day in stock.days_m3[:-1] if day is not None]  # the newest is a part of them
    whole = len(stock.day_m3) == DAY_HOURS and len(before) >= FEWEST_DAYS
    return whole and sum(stock.day_m3) > MORE * max(before)


def _loses(storage: Storage, known: Known) -> bool:
    """Whether a finding stands of water that goes and nobody uses."""
    lines = known.is_open("burst_line") or known.is_open("supply_leak")
    return lines or known.is_open("storage_leak", storage.name)


def _usable_m3(storage: Storage, level_m: float) -> float:
    return max(storage.held_m3(level_m) - storage.held_m3(storage.outlet_level_m), 0.0)


def _forget(stock: Stock) -> None:
    """What a lying gauge said today, and the last hours' draw, are no record."""
    stock.day_m3, stock.hour_m3 = [], 0.0
    stock.drawn_m3 = stock.dry_s = stock.quiet_m3 = stock.quiet_s = stock.rests = 0.0
    stock.resting = False


def _count(stock: Stock, step: LevelStep, storage: Storage) -> None:
    """Today's net draw, and what falls through rests."""
    if not step.dry:
        stock.resting = False
        return
    change_m3 = step.change_m3
    back_m3 = max(-sum(stock.lately_m3), 0.0)  # lost within the last steps
    stock.lately_m3 = [*stock.lately_m3[-TAKEN_BACK + 1 :], change_m3]
    stock.risen_steps += 1
    # a gauge that dipped and came back, or rose and fell back, saw nothing drawn
    if step.rising and back_m3 < 0.5 * change_m3:
        stock.risen_m3, stock.risen_steps = change_m3, 0
        return  # water came in
    if step.rising:
        change_m3, stock.lately_m3 = min(change_m3, back_m3), []
    elif stock.risen_steps <= TAKEN_BACK and -change_m3 >= 0.5 * stock.risen_m3 > 0.0:
        change_m3, stock.risen_m3 = min(change_m3 + stock.risen_m3, 0.0), 0.0
    stock.drawn_m3 -= change_m3
    stock.hour_m3 -= change_m3
    stock.dry_s += step.seconds
    if step.quiet:
        fade = max(1.0 - step.seconds / (2 * DAY_S), 0.0)
        stock.quiet_m3 = stock.quiet_m3 * fade - change_m3
        stock.quiet_s = stock.quiet_s * fade + step.seconds
        stock.rests = stock.rests * fade + (not stock.resting)
        stock.unsure_m3 = sqrt(2.0) * sigma_m3(step, storage)
    stock.resting = step.quiet


def coverage(plant: Plant) -> Coverage:
    """Needs a level; a motor signal tells a leak from demand."""
    if not plant.measuring(Measure.STORAGE_LEVEL):
        return Coverage(False, "Needs a storage_level signal.")
    if plant.measuring(Measure.PUMP_RUNNING, Measure.PUMP_CURRENT, Measure.PUMP_POWER):
        return Coverage(True, "Told by the level and the days' own draw; leak and demand are told apart.")
    return Coverage(True, "Told by the level; a motor signal would tell a leak from demand.")


def detector(plant: Plant) -> StorageDepletion:
    return StorageDepletion(plant)
