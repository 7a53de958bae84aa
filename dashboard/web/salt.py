"""The Salt room's addresses: the page, its live half for the script, and the plan as a sheet and as CSV."""

from __future__ import annotations

import csv
import io
import math
import re
from datetime import date, datetime
from typing import TYPE_CHECKING

from flask import Response, abort, redirect, request

from collector.commands import Log, new_key
from collector.store.response import MOST_WORDS
from dashboard.access.gate import who
from dashboard.drawing import water
from dashboard.site import now_us
from dashboard.telling import display, salt
from dashboard.telling.garden_plan import held_m3, house_m3_day, planned
from dashboard.telling.gauge import gauge
from dashboard.telling.soil_tests import FIGURE, course, latest
from dashboard.telling.waters import pair, salty
from dashboard.web.actions import carry
from dashboard.web.shell import shell

if TYPE_CHECKING:
    from flask import Flask

    from analytics.garden.plan import Plan
    from dashboard.site import Site
    from dashboard.telling.facts import Facts
    from dashboard.web.files import Files
    from dashboard.web.sites import Sites

_LARGEST_DS_M = 100.0

STYLES = ("findings.css", "salt.css")


def mount(server: Flask, sites: Sites, files: Files) -> None:
    @server.get("/at/<name>/salt")
    def salt_page(name: str) -> str:
        site, asked = _site(sites, name), _asked()
        facts = site.facts()
        found = salt.live(facts, asked)
        if request.args.get("part"):
            return water.partial("salt-mix.html", mix=found)
        told = planned(facts, asked, gauge(site, facts.now_us))
        content = water.partial("salt.html", base=sites.base(name), **shown(site, facts, found, told))
        return shell(sites, files, name, "Salt", content, ("salt.js",), STYLES, facts)

    @server.post("/at/<name>/salt/test")
    def salt_test(name: str) -> Response:
        site = _site(sites, name)
        carry(site, _soil_test(site))
        return redirect(f"{sites.base(name)}/salt#tests", 303)

    @server.get("/at/<name>/salt/plan")
    def salt_plan(name: str) -> str:
        site = _site(sites, name)
        facts = site.facts()
        told = planned(facts, _asked(), gauge(site, facts.now_us))
        content = water.partial(
            "salt-plan.html",
            base=sites.base(name),
            plant=site.plant,
            plan=told,
            rows=lines(told, facts) if told else [],
            units=_units(facts),
            house=house_m3_day(facts)[1],
            cautions=(salt.CROSSING, salt.LABORATORY),
            asked=request.args.get("target", ""),
        )
        return shell(sites, files, name, "Salt", content, ("salt.js",), STYLES, facts)

    @server.get("/at/<name>/salt/plan.csv")
    def salt_csv(name: str) -> Response:
        site = _site(sites, name)
        facts = site.facts()
        told = planned(facts, _asked(), gauge(site, facts.now_us))
        if told is None:
            abort(404)
        file = re.sub(r"[^A-Za-z0-9._-]", "_", f"{site.plant.name}-plan.csv")
        headers = {"Content-Disposition": f'attachment; filename="{file}"'}
        return Response(_csv(told), mimetype="text/csv", headers=headers)


def _soil_test(site: Site) -> Log:
    """An entry as the form has it; 400 where there is no number in it."""
    value = _number(request.form.get("ece", ""))
    if value is None:
        abort(400, "An ECe in dS/m is wanted, such as 1.8.")
    return Log(
        kind="soil test",
        station="garden",
        words=request.form.get("words", "")[:MOST_WORDS],
        figures={FIGURE: value / 10},
        time_us=_noon_us(request.form.get("day", ""), site.plant.timezone),
    )


def _noon_us(day: str, timezone: str) -> int | None:
    """Noon of a day as the form has it; None where it has none: the moment of writing then."""
    try:
        on = date.fromisoformat(day)
    except ValueError:
        return None
    noon_us = int(datetime(on.year, on.month, on.day, 12, tzinfo=display.zone(timezone)).timestamp() * 1e6)
    return min(noon_us, now_us())


def _site(sites: Sites, name: str) -> Site:
    site = sites[name]
    if not salty(site.plant):
        abort(404)
    return site


def _asked() -> float | None:
    """The target in dS/m from the address; 400 for what is no such number."""
    text = request.args.get("target", "")
    value = _number(text)
    if text.strip() and value is None:
        abort(400, "A target in dS/m is wanted, such as 1.4.")
    return value


def _number(text: str) -> float | None:
    """A conductivity in dS/m; None for what is none."""
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) and 0 < value <= _LARGEST_DS_M else None


def shown(site: Site, facts: Facts, found: salt.Mix, told: Plan | None) -> dict[str, object]:
    """Everything the page's template asks for."""
    tests = latest(site)
    held = held_m3(facts)
    week = told.lines[0] if told is not None else None
    heard = not house_m3_day(facts)[1].startswith("not known")
    rain_day = week.rain_m3 / 7 if week is not None and heard else None
    units = facts.plant.display_units
    flushing = salt.flush(facts, tests[0].soil_s_m, tests[0].when, rain_day, held) if tests else None
    return {
        "mix": found,
        "rain_a_day": str(display.volume(rain_day, units)) if rain_day is not None else "",
        "rain_name": _rain_name(facts),
        "parts": [part for part in (salt.grades(facts), salt.crop(facts), flushing) if part],
        "tests": course(site, facts, tests),
        "garden": facts.plant.garden,
        "plan": told,
        "dry": salt.percent(told.course.dry_share) if told else "",
        "changes": [
            (one.title, salt.percent(one.dry_share), str(display.volume(one.short_m3, units)))
            for one in (told.changes if told else ())
        ],
        "crossing": salt.CROSSING,
        "key": new_key(),
        "may_act": who().may_act,
    }


def _rain_name(facts: Facts) -> str:
    two = pair(facts)
    return two[0].name if two is not None else "rain"


def _units(facts: Facts) -> tuple[str, str]:
    units = facts.plant.display_units
    return display.unit_of("rain", units)[0], display.unit_of("volume", units)[0]


def lines(told: Plan, facts: Facts) -> list[tuple[str, ...]]:
    """The plan's weeks as a table's cells, in the owner's units."""
    units = facts.plant.display_units

    def litres(m3: float) -> str:
        return display.show(m3, "volume", units).text

    return [
        (
            f"{one.first.day} {one.first:%b}",
            display.show(one.reference_m, "rain", units).text,
            f"{one.kc:.2f}",
            litres(one.garden_m3),
            litres(one.house_m3),
            litres(one.rain_m3),
            litres(one.well_m3),
            " / ".join(litres(m3) for m3 in one.held_m3),
        )
        for one in told.lines
    ]


def _csv(told: Plan) -> str:
    """The plan in SI units; no cell begins with what a spreadsheet would take for a formula."""
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\r\n")
    heads = "week,reference_m,crop_coefficient,garden_m3,house_m3,rain_m3,well_m3,held_10_m3,held_50_m3"
    write.writerow([*heads.split(","), "held_90_m3"])
    for one in told.lines:
        figures = (
            one.reference_m,
            one.kc,
            one.garden_m3,
            one.house_m3,
            one.rain_m3,
            one.well_m3,
            *one.held_m3,
        )
        write.writerow([one.first.isoformat(), *(f"{abs(value):.4f}" for value in figures)])
    return out.getvalue()
