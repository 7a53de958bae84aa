"""Exported CSV is safe to open: no cell of it is a formula to a spreadsheet (ASVS 5, 1.2.10)."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

import pytest

from analytics.plant.mistakes import PlantErrors
from analytics.plant.parsing import parse_plant
from collector.verbs.export import rows
from dashboard.drawing.export import csv_of
from dashboard.site import Site
from tests.dashboard import made

if TYPE_CHECKING:
    from pathlib import Path

#: What makes a spreadsheet take a cell for a formula (OWASP, "CSV Injection").
FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")


def harmless(cell: str) -> bool:
    if not cell.startswith(FORMULA):
        return True
    try:
        float(cell)
    except ValueError:
        return False
    return True


@pytest.mark.parametrize("first", FORMULA)
def test_no_signal_can_be_named_like_a_formula(first: str) -> None:
    text = made.PLANT_FILE.read_text("utf-8")
    name = f"{first}HYPERLINK(A1)".replace("\t", "\\t").replace("\r", "\\r")
    assert 'name = "motor"' in text
    with pytest.raises(PlantErrors):
        parse_plant(text.replace('name = "motor"', f'name = "{name}"'), "juniper-bench")


def test_what_is_exported_holds_no_formula(folder: Path, at_us: int) -> None:
    site = Site(made.juniper(), folder)
    lines: list[str] = []
    for signal in site.plant.signals:
        lines += csv_of(site, signal, at_us - 600_000_000, at_us)
    for part in site.history.recording(
        [signal.name for signal in site.plant.signals], at_us - 60_000_000, at_us
    ):
        lines += rows(part, site.plant).splitlines(keepends=True)
    cells = [cell for row in csv.reader(lines) for cell in row]
    assert len(cells) > 1000
    assert [cell for cell in cells if not harmless(cell)] == []
