"""How one value of a plant file is read: each reader checks, converts to SI, or says the mistake."""

from __future__ import annotations

import re
from collections.abc import Callable
from math import isfinite
from typing import Any

from analytics.plant.dimensions import EXAMPLE, Dimension
from analytics.plant.mistakes import Mistakes, Path
from analytics.plant.trade_units import FACTORS, TEMPERATURES
from analytics.plant.units import UnitError, quantity, split_quantity

#: A reader takes a value, its path and where to say mistakes; None after a mistake.
Reader = Callable[[Any, Path, Mistakes], Any]

_LONGEST_TEXT = 200


def quantity_of(
    *dimensions: Dimension, above: float | None = None, least: float | None = None, most: float | None = None
) -> Reader:
    """A quantity of one of `dimensions`, in SI, within bounds [SI] where given."""
    example = " or ".join(EXAMPLE[dimension] for dimension in dimensions)
    accepted = f"a {' or a '.join(dimensions)} such as {example}"

    def read(value: Any, path: Path, mistakes: Mistakes) -> float | None:
        if not isinstance(value, str):
            numeric = isinstance(value, (int, float)) and not isinstance(value, bool)
            wrong = "a bare number has no unit" if numeric else "not a quantity"
            mistakes.add(path, wrong, value=value, accepted=accepted)
            return None
        try:
            si, unit = quantity(value)
        except UnitError as error:
            mistakes.add(path, f"{error}{_nearest_unit(value, dimensions)}", value=value, accepted=accepted)
            return None
        if unit.dimension not in dimensions:
            kind = f"this is a {unit.dimension}" if unit.dimension else "this is another kind of quantity"
            mistakes.add(path, kind, value=value, accepted=accepted)
            return None
        if bound := _out_of_bounds(si, above, least, most):
            mistakes.add(path, bound, value=value, accepted=accepted)
            return None
        return si

    return read


def _nearest_unit(value: str, dimensions: tuple[Dimension, ...]) -> str:
    """What the misspelled unit may have meant, as the end of a sentence."""
    try:
        _, spelled = split_quantity(value)
    except UnitError:
        return ""
    return did_you_mean(spelled, spellings(*dimensions))


def spellings(*dimensions: Dimension) -> list[str]:
    """The trade's spellings of units of these kinds."""
    known = [name for dimension in dimensions for name in FACTORS.get(dimension, ())]
    return known + (list(TEMPERATURES) if Dimension.TEMPERATURE in dimensions else [])


def did_you_mean(wrong: str, known: list[str]) -> str:
    """'; did you mean "bar"?' or nothing."""
    from difflib import get_close_matches  # for a mistake only

    # Case is the commonest slip, and `get_close_matches` gives it no credit.
    by_case = {name.casefold(): name for name in known}
    near = by_case.get(wrong.casefold()) or next(iter(get_close_matches(wrong[:100], known, n=1)), None)
    return f'; did you mean "{near}"?' if near else ""


def _out_of_bounds(value: float, above: float | None, least: float | None, most: float | None) -> str:
    if not isfinite(value):
        return "too large"
    if above is not None and value <= above:
        return "must be more than nothing" if above == 0 else "too small"
    if least is not None and value < least:
        return "cannot be less than nothing" if least == 0 else "too small"
    return "too large" if most is not None and value > most else ""


def number(accepted: str, *, above: float | None = None, most: float | None = None) -> Reader:
    """A bare number within bounds."""

    def read(value: Any, path: Path, mistakes: Mistakes) -> float | None:
        found = plain_number(value)
        if found is None or _out_of_bounds(found, above, None, most):
            mistakes.add(path, "not such a number", value=value, accepted=accepted)
            return None
        return found

    return read


def plain_number(value: Any) -> float | None:
    """A TOML integer or float as a finite float, else None. true and false are no numbers."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    try:
        found = float(value)
    except OverflowError:
        return None
    return found if isfinite(found) else None


def text(accepted: str = "a short text", pattern: str = r"\S(.*\S)?", longest: int = _LONGEST_TEXT) -> Reader:
    """A printable string that matches `pattern` from end to end."""
    matches = re.compile(pattern).fullmatch

    def read(value: Any, path: Path, mistakes: Mistakes) -> str | None:
        if isinstance(value, str) and len(value) <= longest and value.isprintable() and matches(value):
            return value
        mistakes.add(path, "not accepted", value=value, accepted=accepted)
        return None

    return read


def choice(*values: str) -> Reader:
    """One of a few words."""
    accepted = ", ".join(f'"{value}"' for value in values)

    def read(value: Any, path: Path, mistakes: Mistakes) -> str | None:
        if isinstance(value, str) and value in values:
            return value
        near = did_you_mean(value, list(values)) if isinstance(value, str) else ""
        mistakes.add(path, f"not one of the words known here{near}", value=value, accepted=accepted)
        return None

    return read


def rows_of(first: Reader, second: Reader, accepted: str) -> Reader:
    """An array of two or more pairs, as a tuple of tuples."""

    def read(value: Any, path: Path, mistakes: Mistakes) -> tuple[tuple[Any, Any], ...] | None:
        pairs = isinstance(value, list) and all(isinstance(row, list) and len(row) == 2 for row in value)
        if not pairs or len(value) < 2:
            wrong = "fewer than two points" if pairs else "not an array of pairs"
            mistakes.add(path, wrong, value=value, accepted=accepted)
            return None
        rows = [
            (first(a, (*path, at, 0), mistakes), second(b, (*path, at, 1), mistakes))
            for at, (a, b) in enumerate(value)
        ]
        return None if any(None in row for row in rows) else tuple(rows)

    return read
