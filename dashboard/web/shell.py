"""The shell that all rooms share: verdict, age, the bar of rooms. Whole pages come from here alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboard.drawing import water
from dashboard.telling.status import status
from dashboard.web import rooms

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dashboard.telling.facts import Facts
    from dashboard.web.files import Files
    from dashboard.web.sites import Sites


def shell(
    sites: Sites,
    files: Files,
    name: str,
    room: str = "Water",
    content: str = "",
    scripts: Sequence[str] = (),
    styles: Sequence[str] = (),
    facts: Facts | None = None,
) -> str:
    """The whole page: the Water page, or a room whose `content` is ready, with the kept files that it needs
    besides."""
    facts = sites[name].facts() if facts is None else facts
    return water.page(
        facts.plant,
        status(facts),
        files,
        facts.now_us,
        base=sites.base(name),
        rooms=rooms.ROOMS,
        room=room,
        many=sites.many,
        content=content,
        scripts=scripts,
        styles=styles,
    )
