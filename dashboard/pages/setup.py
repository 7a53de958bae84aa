"""Set-up: what should it be? Expected figures, what the fitted sensors can and cannot see, who can look."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from dash import html

from analytics.appraisal import foretells
from analytics.trials.course import TRIALS
from collector.live.clock import AHEAD_US
from dashboard.pages import otherwise
from dashboard.pages.common import pairs
from dashboard.site import now_us
from dashboard.telling import display, kept
from dashboard.telling.coverage import seen_and_unseen
from dashboard.telling.expected import expected
from dashboard.telling.trials import FIGURES, UNTOLD, figure_words
from dashboard.web.address import listening, reach

if TYPE_CHECKING:
    from dash.development.base_component import Component

    from analytics.plant.description import Plant
    from dashboard.site import Site

LIGHTS = [("auto", "As the phone"), ("day", "Day"), ("sun", "Full sun"), ("dark", "Dark")]


def layout(site: Site, rest: str, screen: dict[str, bool], listen: str) -> list[Component]:
    plant = site.plant
    return [
        html.H1("What it should be"),
        pairs(figures_expected(plant)),
        *otherwise.closed(plant),
        *_when_well(site),
        html.H2("Guided tests", id="tests"),
        html.P("Timed and judged from the readings while you open and shut what they ask for."),
        _tests(site),
        html.H2("Light"),
        _light(),
        html.H2("Sensors"),
        _sensors(site),
        html.H2("What they can and cannot show"),
        *_coverage(plant),
        html.H2("Messages set aside"),
        *_set_aside(site),
        html.H2("Who can look"),
        html.P(unbroken(_who(listen))),
        html.P(html.A("Phones and people", href="/people", className="button")),
        html.P("Holdwater watches and advises. It is no safety device.", className="quiet"),
    ]


def unbroken(words: str) -> list[Component | str]:
    """What is to be typed, such as an option, in one piece: at its dashes a line would break."""
    return [
        html.Code(part, className="short") if part.startswith("--") else part
        for part in re.split(r"(--\w+ [^ )]+)", words)
        if part
    ]


def _light() -> Component:
    """Chosen in the browser alone (setup.js), which also knows what was chosen before."""
    buttons = [
        html.Button(words, className="pick", **{"data-light": key, "aria-pressed": "false"})
        for key, words in LIGHTS
    ]
    label = html.Span("How this phone shows it", className="label", id="light-label")
    group = html.Div(buttons, className="picks", role="group", **{"aria-labelledby": "light-label"})
    return html.Div([label, group], className="choose")


def _who(listen: str) -> str:
    try:
        host, _ = listening(listen)
    except ValueError:
        return "Where these pages are served is not known here."
    return f"Served at {listen}: {reach(host)}"


def figures_expected(plant: Plant) -> list[tuple[str, str]]:
    """Names and values in the owner's units; what cannot be known is said so."""
    units, told = plant.display_units, expected(plant)
    rows = []
    if plant.switch is not None:
        rows += [
            ("Pump starts at", str(display.show(plant.switch.cut_in_pa, "pressure", units))),
            ("Pump stops at", str(display.show(plant.switch.cut_out_pa, "pressure", units))),
        ]
    if plant.pressure_tank is not None:
        rows.append(("Pressure tank", str(display.volume(plant.pressure_tank.volume_m3, units))))
        rows.append(
            ("Its air charge", str(display.show(plant.pressure_tank.precharge_pa, "pressure", units)))
        )
    rows += [
        ("Water it gives a cycle", str(display.volume(told.drawdown_m3, units))),
        ("Run with nothing drawn", display.duration(told.run_time_s)),
        ("Fastest it can cycle", display.duration(told.fastest_cycle_s)),
        ("Delivery when new", str(display.show(told.delivery_m3_s, "flow", units))),
        ("Shortest harmless run", display.duration(plant.pump.min_run_time_s)),
    ]
    for storage in plant.storages:
        full, level = (
            display.volume(storage.volume_m3, units),
            display.show(storage.full_level_m, "level", units),
        )
        which = "Storage" if len(plant.storages) == 1 else f"Storage: {storage.name}"
        rows.append((which, f"{full} at {level}"))
    return rows


def _tests(site: Site) -> Component:
    """A way to each guided test, with when it was last done and what it said."""
    done = {
        entry.words.split(" test.")[0]: entry for entry in reversed(site.history.logbook(kind="test result"))
    }
    at, zone, base = now_us(), site.plant.timezone, f"/at/{site.plant.name}/test"
    items = []
    for trial in TRIALS.values():
        last = done.get(trial.title)
        when = f" Last done {display.day(last.time_us, at, zone)}." if last else ""
        items.append(
            html.Li(html.A([html.Strong(trial.title), f"{trial.question}{when}"], href=f"{base}/{trial.key}"))
        )
    return html.Ul(items, className="entries")


def _when_well(site: Site) -> list[Component]:
    """What the owner kept as this plant's own figures, and what was found since; nothing before the first."""
    results = site.history.logbook(kind="test result")
    own = kept.signature(results)
    if not own:
        return []
    at, zone, units = now_us(), site.plant.timezone, site.plant.display_units
    rows = [
        (
            f"{FIGURES[name][0]}, {display.day(one.time_us, at, zone)}",
            figure_words(name, one.estimate.value, units),
        )
        for name, one in own.items()
    ]
    since = [
        (FIGURES[name][0], kept.told(site.plant, name, own[name], one, at))
        for found in (kept.later(results, own), kept.learned(site.facts(), own))
        for name, one in found.items()
        if name not in UNTOLD
    ]
    page: list[Component] = [html.H2("As measured when well"), pairs(rows)]
    return [*page, html.H3("Found since"), pairs(since, "told")] if since else page


def _sensors(site: Site) -> Component:
    at, units = now_us(), site.plant.display_units
    latest = site.history.latest(at + AHEAD_US)
    body = []
    for signal in site.plant.signals:
        kind = display.KIND[signal.measures]
        sample = latest.get(signal.name)
        if sample is None:
            value, age = "not heard yet", ""
        else:
            value = str(display.show(float(signal.to_si(sample.value)), kind, units, 1))
            age = display.ago((at - sample.time_us) / 1e6)
        body.append(
            html.Tr(
                [
                    html.Td(display.MEASURE_NAME[signal.measures]),
                    html.Td(value, className="short"),
                    html.Td(age, className="short"),
                ]
            )
        )
    head = html.Tr(
        [html.Th("Sensor", scope="col"), html.Th("Says", scope="col"), html.Th("Heard", scope="col")]
    )
    # wider than a phone in large text: then it is pushed sideways, also by keyboard
    named = {"role": "region", "aria-label": "Sensors", "tabIndex": "0"}
    return html.Div(html.Table([html.Thead(head), html.Tbody(body)]), className="sheet", **named)


def _coverage(plant: Plant) -> list[Component]:
    seen, unseen = seen_and_unseen(plant)
    page: list[Component] = []
    for title, rows in (("Can", seen), ("Cannot", unseen)):
        if rows:
            page += [html.H3(title), pairs(rows, "told")]
    ahead = [(one.label[:1].upper() + one.label[1:], one.words) for one in foretells(plant)]
    if ahead:
        page += [html.H3("What they foretell"), pairs(ahead, "told")]
    return page or [html.P("Not known.")]


def _set_aside(site: Site) -> list[Component]:
    held = site.history.set_aside(20)
    if not held:
        return [html.P("None: every message could be read.")]
    zone, at = site.plant.timezone, now_us()
    rows = [
        html.Tr(
            [
                html.Td(display.moment(one.time_us, at, zone)),
                html.Td([one.topic, html.Br(), html.Span(one.reason, className="quiet")]),
                html.Td(html.Code(one.payload[:40].decode("utf-8", "replace"))),
            ]
        )
        for one in held
    ]
    total = site.history.counts().get("set_aside", len(held))
    head = html.Tr(
        [
            html.Th("When", scope="col"),
            html.Th("Topic and reason", scope="col"),
            html.Th("It began", scope="col"),
        ]
    )
    return [
        html.P(f"{total:,} could not be read; the newest:"),
        html.Table([html.Thead(head), html.Tbody(rows)]),
    ]
