"""The pages of this folder, in the look of the others."""

from __future__ import annotations

from typing import TYPE_CHECKING

import jinja2

if TYPE_CHECKING:
    from dashboard.web.files import Files

_templates = jinja2.Environment(
    loader=jinja2.PackageLoader("dashboard"), autoescape=True, trim_blocks=True, lstrip_blocks=True
)


def leaf(template: str, files: Files, **said: object) -> str:
    """One page as HTML."""
    return _templates.get_template(template).render(kept=files.url, **said)
