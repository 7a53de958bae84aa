"""Salt in words: what is in the mix, where to turn the valve, what beds and soil stand. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.garden import crop_salt, flushing, leaching, mix, water_grades
from analytics.garden.limits import water_limit
from analytics.plant.crops import CROPS
from dashboard.telling import display
from dashboard.telling.waters import Water, pair, supply

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from dashboard.telling.facts import Facts

CROSSING = (
    "Rain and well water joined by one valve may be a cross-connection: with a supply that anyone drinks "
    "from, local code asks for backflow protection, and outlets that are not for drinking must be marked. "
    "Ask whoever is licensed for it where you are."
)
LABORATORY = (
    "Reckoned figures are no substitute for a soil laboratory: before a crop depends on it, have soil and "
    "water tested."
)


_TWO_GRADES = (
    "By FAO 29, table 1. Rain is the best water for roots and among the worst for the surface of the soil: "
    "it carries off the salts that keep clay in crumbs. Mulch, compost or gypsum keep it open."
)
_DISAGREE = (
    "The methods disagree, and nobody can say which is right for your bed: begin with the least, and let a "
    "soil test tell."
)
_DRAINING = "Water must be able to drain away below: on a tight or waterlogged bed flushing does harm."


@dataclass(frozen=True, slots=True)
class Mix:
    """The live half of the page. Texts are whole sentences; `reading` is the supply's large figure."""

    reading: display.Quantity
    age: str
    share: str
    steer: str
    asked: str  # the target as typed, dS/m
    why: str  # who says so
    fit: str  # "well", "poor", "unknown"


@dataclass(frozen=True, slots=True)
class Pairs:
    title: str
    rows: tuple[tuple[str, str], ...]
    words: tuple[str, ...] = ()


def ec(s_m: float | None) -> str:
    return str(display.show(s_m, "conductivity", "metric"))


def percent(share: float) -> str:
    """Never torn from its sign, and never nothing where it is something."""
    return "under 1\u00a0%" if 0 < share < 0.005 else f"{100 * share:.0f}\u00a0%"


def target_s_m(plant: Plant, asked_ds_m: float | None) -> tuple[float, str]:
    """What the valve is steered to: as asked for on the page, else the garden's limit, and who says so."""
    if asked_ds_m is not None:
        return asked_ds_m / 10, "as you asked"
    limit = water_limit(plant)
    return limit.water_s_m, limit.why


def live(facts: Facts, asked_ds_m: float | None = None) -> Mix:
    now, two = supply(facts), pair(facts)
    target, why = target_s_m(facts.plant, asked_ds_m)
    age = "" if now is None or now.age_s is None else f"heard {display.ago(now.age_s)}"
    measured = None if now is None or now.salt is None else now.salt
    fit = "unknown" if measured is None else "well" if measured.conductivity_s_m <= target else "poor"
    return Mix(
        display.show(measured.conductivity_s_m if measured else None, "conductivity", "metric"),
        age if measured or now is None else "; ".join(filter(None, (age, now.told_by))),
        _share(measured, two),
        _steer(target, two),
        f"{10 * target:.2f}".rstrip("0").rstrip("."),
        why,
        fit,
    )


def _share(measured: mix.Salt | None, two: tuple[Water, Water] | None) -> str:
    if two is None:
        return "What each water brings is not told: name both under [sources] in the plant file."
    rain, well = two
    if rain.salt is None or well.salt is None:
        lost = rain if rain.salt is None else well
        return f"How much of each cannot be told: {lost.name} is unknown ({lost.told_by})."
    if measured is None:
        return "How much of each cannot be told without a fresh reading of the supply."
    found = mix.share_of_first(measured, rain.salt, well.salt)
    if found is None:
        return (
            f"How much of each cannot be told: {rain.name} at {ec(rain.salt.conductivity_s_m)} and "
            f"{well.name} at {ec(well.salt.conductivity_s_m)} are too close for these probes."
        )
    if not found.fits:
        return (
            f"The supply is not between {rain.name} and {well.name}: a third water comes in, or a probe is "
            "wrong. Wipe the probes, and read each water by hand."
        )
    doubt = percent(2 * found.deviation)
    for share, name in ((found.share, rain.name), (1 - found.share, well.name)):
        if share + found.deviation >= 1:
            return f"All {name}, as far as the probes can tell (give or take {doubt})."
    return f"{percent(found.share)} {rain.name}, give or take {doubt}; the rest {well.name}."


def _steer(target: float, two: tuple[Water, Water] | None) -> str:
    if two is None or two[0].salt is None or two[1].salt is None:
        return f"Turn towards rain until the supply reads {ec(target)} or less."
    rain, well = two[0].salt.conductivity_s_m, two[1].salt.conductivity_s_m
    share = mix.share_for(target, rain, well)
    if share is not None:
        return f"Turn until the supply reads {ec(target)}: that is {percent(share)} {two[0].name}."
    if target > max(rain, well):
        return f"Nothing to mix: {ec(target)} or less is met by {two[1].name} alone."
    return f"No mix of these two comes down to {ec(target)}: {two[0].name} itself holds {ec(rain)}."


def share_now(facts: Facts, asked_ds_m: float | None) -> float:
    """The share of rain that is reckoned with: what the target wants; all where nothing tells."""
    two = pair(facts)
    target, _ = target_s_m(facts.plant, asked_ds_m)
    if two is None or two[0].salt is None or two[1].salt is None:
        return 1.0
    share = mix.share_for(target, two[0].salt.conductivity_s_m, two[1].salt.conductivity_s_m)
    if share is not None:
        return share
    return 0.0 if target > two[1].salt.conductivity_s_m else 1.0


def grades(facts: Facts) -> Pairs | None:
    """Two statements, never one: for the plants, and for the soil's surface."""
    now, two = supply(facts), pair(facts)
    waters = [water for water in (now, *(two or ())) if water is not None and water.salt is not None]
    if not waters:
        return None
    rows = []
    for water in waters:
        assert water.salt is not None
        value = water.salt.conductivity_s_m
        plants, soil = (
            water_grades.for_plants(value),
            water_grades.for_soil(value, water.sodium_adsorption_ratio),
        )
        rows.append(
            (
                f"{water.name}, {ec(value)}",
                f"{_HARM[plants]} for plants; {_SEALS[soil]} for the soil's surface",
            )
        )
    return Pairs("What each water does", tuple(rows), (_TWO_GRADES,))


_HARM = {"none": "no limit", "slight to moderate": "some limits", "severe": "severe limits"}
_SEALS = {"none": "harmless", "slight to moderate": "may close it", "severe": "closes it"}


def crop(facts: Facts) -> Pairs | None:
    """What the crop stands, what this water costs it, and how much must drain: each method by its name."""
    garden = facts.plant.garden
    if garden is None:
        return None
    limit = water_limit(facts.plant)
    rows = [("The limit for water", f"{ec(limit.water_s_m)}: {limit.why}")]
    now = supply(facts)
    value = now.salt.conductivity_s_m if now is not None and now.salt is not None else None
    if garden.crop is not None:
        told = CROPS[garden.crop]
        rows.append(("Soil that costs it nothing", f"ECe up to {ec(told.threshold_s_m)}"))
        if value is not None:
            soil = value * crop_salt.USUAL_CONCENTRATION
            loss = 1 - crop_salt.yield_share(soil, told.threshold_s_m, told.slope)
            rows.append(("Yield lost in the long run with this water", f"{percent(loss)} (Maas and Hoffman)"))
        if value is not None and value > 0:
            for method in leaching.methods(value, told.threshold_s_m):
                share = "no amount is enough" if method.share is None else percent(method.share)
                rows.append((f"Must drain through, by {method.name}", share))
    words = (_DISAGREE,) if value is not None else ()
    return Pairs(f"What the {garden.crop or 'garden'} stands", tuple(rows), words)


def flush(
    facts: Facts, soil_s_m: float, when: str, rain_m3_day: float | None, held_m3: float | None
) -> Pairs | None:
    """How deep to flush to bring the soil back to what the crop stands, in litres and days of rain."""
    garden, plant = facts.plant.garden, facts.plant
    if garden is None:
        return None
    limit = water_limit(plant)
    goal = limit.soil_s_m if limit.soil_s_m is not None else limit.water_s_m * crop_salt.USUAL_CONCENTRATION
    two = pair(facts)
    water = two[0].salt.conductivity_s_m if two is not None and two[0].salt is not None else 0.0
    name = two[0].name if two is not None else "rain"
    soil = garden.soil or "loam"
    rows = [(f"Soil, {when}", f"ECe {ec(soil_s_m)}"), ("To be brought down to", f"ECe {ec(goal)}")]
    for title, k in (
        ("Given in turns with pauses", flushing.IN_TURNS[soil]),
        ("Standing on the bed", flushing.STANDING[soil]),
    ):
        depth = flushing.depth_m(soil_s_m, goal, water, garden.root_depth_m, k)
        if depth is None:
            rows.append((title, f"{name} is too salty for that"))
            continue
        m3 = depth * garden.area_m2
        text = (
            f"{display.show(depth, 'rain', plant.display_units)}, {display.volume(m3, plant.display_units)}"
        )
        if held_m3 is not None and m3 > 0:
            text += f", {percent(m3 / held_m3)} of the rain in store" if held_m3 > 0 else ""
        if rain_m3_day and m3 > 0:
            text += f", as much as {m3 / rain_m3_day:.0f} days' use of rain"
        rows.append((title, text))
    deep = display.show(garden.root_depth_m, "level", plant.display_units)
    ground = f"{soil}{'' if garden.soil else ' (the plant file names no soil)'}"
    words = f"With {name} through {deep} of {ground}, by Hoffman's law. {_DRAINING}", LABORATORY
    return Pairs("Flushing the salt out", tuple(rows), words)
