"""Status to HTML: the page as text, complete before any script runs."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

import jinja2
from markupsafe import Markup

from dashboard.telling import display

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.plant.description import Plant
    from dashboard.telling.status import Band, Status
    from dashboard.web.files import Files
    from dashboard.web.rooms import Room

_templates = jinja2.Environment(
    loader=jinja2.PackageLoader("dashboard"), autoescape=True, trim_blocks=True, lstrip_blocks=True
)


def station(band: Band, base: str) -> str:
    """One band of the column."""
    for one in band.found:
        assert one.advice.steps, one.finding.fault
    return _templates.get_template("station.html").render(band=band, base=base)


def first(status: Status, base: str) -> str:
    """The way from the verdict straight to what to do about it; nothing when all is well."""
    for band in status.bands:
        for one in band.found:
            if status.verdict.startswith(one.advice.title.rstrip(".")):
                link = '<a class="way-to" href="{}/findings/{}#do">What to do</a>'
                return str(Markup(link).format(base, one.id))
    return ""


def partial(name: str, **told: object) -> str:
    """A room's own content from its template."""
    return _templates.get_template(name).render(**told)


def slots(status: Status) -> dict[str, str]:
    """Every text that changes by the second, by its place in the page."""
    found = {"verdict": status.verdict, "detail": status.detail}
    for band in status.bands:
        one = band.station
        found[f"{one.key}.text"] = one.figure.text
        found[f"{one.key}.note"] = one.figure.note
        found[f"{one.key}.stale"] = f"last heard {one.figure.stale}" if one.figure.stale else ""
        found[f"{one.key}.sentence"] = one.sentence
    return found


def shape(band: Band, flow: str) -> str:
    """Changes whenever a band must be drawn anew, not merely its texts put right."""
    one = band.station
    moves = one.trace is not None and one.trace.kind == "saw"
    traced = one.trace.words if one.trace and not moves else ""
    parts = (
        one.seen,
        one.figure.unit,
        bool(one.figure.stale),
        one.figure.text == "unknown",
        one.more,
        traced,
        flow if moves else "",
        [(told.id, told.finding.summary, told.finding.cause, told.alarm) for told in band.found],
    )
    return hashlib.blake2s(repr(parts).encode(), digest_size=6).hexdigest()


def shapes(status: Status) -> dict[str, str]:
    return {band.station.key: shape(band, status.flow) for band in status.bands} | {"": first(status, "")}


def seen(status: Status) -> str:
    """One word for the whole page's shape, so that a phone that has it is not sent it again."""
    return hashlib.blake2s(repr(sorted(shapes(status).items())).encode(), digest_size=6).hexdigest()


def page(
    plant: Plant,
    status: Status,
    files: Files,
    at_us: int,
    *,
    base: str,
    rooms: Sequence[Room] = (),
    room: str = "Water",
    many: bool = False,
    content: str = "",
    scripts: Sequence[str] = (),
    styles: Sequence[str] = (),
) -> str:
    """A whole page: the Water page, or a room whose `content` is ready, with the kept files that it needs
    besides."""
    age = "no reading yet"
    if status.newest_us is not None:
        age = f"heard {display.ago((at_us - status.newest_us) / 1e6)}"
    return _templates.get_template("page.html").render(
        plant=plant,
        status=status,
        title=f"{status.verdict} {plant.title}" if room == "Water" else f"{room}, {plant.title}",
        kept=files.url,
        base=base,
        room=room,
        rooms=[one for one in rooms if one.shown(plant)],
        many=many,
        now_us=at_us,
        age=age,
        seen=seen(status),
        first=first(status, base),
        inner=bool(content),
        content=content,
        scripts=scripts,
        styles=styles,
    )


def chooser(entries: list[tuple[Plant, Status, str]], files: Files) -> str:
    """Several plants: each with its verdict."""
    return _templates.get_template("chooser.html").render(entries=entries, kept=files.url)
