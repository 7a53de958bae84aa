"""Findings: what happened, why we think so, what to do, what would prove it mended."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dash import html

from dashboard.drawing.figures import look_of
from dashboard.pages.common import chart, pairs
from dashboard.site import now_us
from dashboard.telling import display
from dashboard.telling.evidence import drawn, evidence_words
from dashboard.telling.status import RANK, Told, finding_id, told

if TYPE_CHECKING:
    import dash
    from dash.development.base_component import Component

    from analytics.records import Finding
    from dashboard.site import Site

#: As many closed findings as one page lists; the rest are in `holdwater findings`.
PAST = 60


def layout(site: Site, rest: str, screen: dict[str, bool], listen: str) -> list[Component]:
    """All findings, or one (`rest` is its id)."""
    every = site.history.findings()
    at = now_us()
    if not rest:
        return _all(site, every, at)
    for finding in every:
        if finding_id(finding) == rest:
            return _one(site, finding, at, screen)
    return [html.H1("No such finding", className="first"), html.P(html.A("All findings", href=_base(site)))]


def register(app: dash.Dash, sites: dict[str, Site]) -> None:
    """Nothing here calls back yet."""


def _base(site: Site) -> str:
    return f"/at/{site.plant.name}/findings"


def _all(site: Site, every: list[Finding], at: int) -> list[Component]:
    standing = sorted(
        (f for f in every if f.cleared_us is None), key=lambda f: (RANK[f.priority], f.raised_us)
    )
    past = sorted((f for f in every if f.cleared_us is not None), key=lambda f: -f.raised_us)
    page: list[Component] = [html.H1("Standing now")]
    if standing:
        page.append(html.Ul([_entry(site, finding, at) for finding in standing], className="entries"))
    else:
        page.append(html.P("Nothing. What the sensors see is as it should be."))
    page.append(html.H2("Past"))
    if past:
        page.append(html.Ul([_entry(site, finding, at) for finding in past[:PAST]], className="entries"))
        if len(past) > PAST:
            page.append(html.P(f"And {len(past) - PAST} older ones.", className="quiet"))
    else:
        page.append(html.P("None yet."))
    return page


def _entry(site: Site, finding: Finding, at: int) -> Component:
    one = told(finding, at, site.plant.timezone)
    zone = site.plant.timezone
    when = f"{one.urgency}, {one.since}"
    if finding.cleared_us is not None:
        lasted = display.duration((finding.cleared_us - finding.onset_us) / 1e6)
        when = f"{display.moment(finding.onset_us, at, zone)}, over after {lasted}"
    mark = [html.Span("Open. ", className="unseen-text")] if finding.cleared_us is None else []
    return html.Li(
        html.A([html.Strong([*mark, one.advice.title]), when], href=f"{_base(site)}/{one.id}"),
        className="open" if finding.cleared_us is None else "past",
    )


def _one(site: Site, finding: Finding, at: int, screen: dict[str, bool]) -> list[Component]:
    one = told(finding, at, site.plant.timezone)
    figure, words = drawn(site, finding, at, look_of(screen), zoom=bool(screen.get("fine")))
    page: list[Component] = [
        html.P(html.A("All findings", href=_base(site))),
        html.H1(one.advice.title),
        html.P(_state(site, one, at), className="quiet"),
        html.P(finding.summary),
        html.P(one.advice.meaning),
        html.H2("Why we think so"),
    ]
    page.append(chart(figure, words) if figure else html.P("The readings of that time are no longer kept."))
    if finding.evidence:
        page.append(pairs(evidence_words(finding, site.plant.display_units)))
    page += [
        html.H2("What to do", id="do"),
        _steps(one),
        html.H2("What would prove it mended"),
        html.P(one.advice.proof),
    ]
    if one.advice.isolating:
        page += [html.H2("What would tell it for sure"), html.P(one.advice.isolating)]
    return page


def _state(site: Site, one: Told, at: int) -> str:
    finding, zone = one.finding, site.plant.timezone
    onset, raised = (display.moment(t, at, zone) for t in (finding.onset_us, finding.raised_us))
    began = f"Began {onset}, called {raised}"
    sure = f"{finding.confidence:.0%} sure"
    if finding.cleared_us is None:
        return f"{one.urgency}. {began}; {sure}."
    return f"{began}, over {display.moment(finding.cleared_us, at, zone)}; {sure}."


def _steps(one: Told) -> Component:
    items = []
    for step in one.advice.steps:
        caution = [html.P([html.B("Caution. "), step.caution], className="caution")] if step.caution else []
        items.append(html.Li([step.do, *caution]))
    return html.Ol(items, className="steps")
