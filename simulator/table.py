"""One TOML table being read: typed access, every mistake noted with its key path."""

from __future__ import annotations

from typing import Any

from analytics.plant.dimensions import EXAMPLE, Dimension
from analytics.plant.units import UnitError, quantity


class Table:
    """A table, where it stands in the file, and the list that mistakes go to."""

    def __init__(self, data: Any, path: str, mistakes: list[str]) -> None:
        self.path, self._mistakes = path, mistakes
        self.data: dict[str, Any] = data if isinstance(data, dict) else {}
        if not isinstance(data, dict):
            mistakes.append(f"{path}: expected a table, found {data!r}")

    def wrong(self, key: str, why: str) -> None:
        """Note a mistake at a key."""
        where = f"{self.path}.{key}" if self.path else key
        found = f"found {self.data[key]!r}; " if key in self.data else ""
        self._mistakes.append(f"{where}: {found}{why}")

    def only(self, *keys: str) -> None:
        """Note every key that is not one of these."""
        for key in self.data:
            if key not in keys:
                self.wrong(key, "not a key here; accepted: " + ", ".join(keys))

    def needs(self, *keys: str) -> None:
        for key in keys:
            if key not in self.data:
                self.wrong(key, "missing")

    def table(self, key: str) -> Table:
        """A table below this one; empty where there is none."""
        return Table(self.data.get(key, {}), f"{self.path}.{key}".strip("."), self._mistakes)

    def tables(self, key: str) -> list[Table]:
        """An array of tables below this one."""
        found = self.data.get(key, [])
        if not isinstance(found, list):
            self.wrong(key, f"write [[{key}]], with double brackets")
            return []
        return [Table(one, f"{key}[{i}]", self._mistakes) for i, one in enumerate(found)]

    def word(self, key: str, default: str) -> str:
        value = self.data.get(key, default)
        if not isinstance(value, str):
            self.wrong(key, "expected text in quotation marks")
            return default
        return value

    def yes(self, key: str, default: bool) -> bool:
        value = self.data.get(key, default)
        if not isinstance(value, bool):
            self.wrong(key, "expected true or false")
            return default
        return value

    def number(
        self, key: str, default: float, least: float = float("-inf"), most: float = float("inf")
    ) -> float:
        value = self.data.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
            self.wrong(key, f"expected a number from {least:g} to {most:g}")
            return default
        return float(value)

    def choice(self, key: str, accepted: tuple[str, ...], default: str | None) -> Any:
        value = self.data.get(key, default)
        if value not in accepted:
            self.wrong(key, "expected one of: " + (", ".join(accepted) or "nothing, leave it out"))
            return default
        return value

    def quantity(self, key: str, dimension: Dimension, default: float) -> float:
        """SI value of a quantity with its unit."""
        return default if key not in self.data else self._quantity(key, dimension, default)

    def difference(self, key: str, dimension: Dimension) -> float:
        """SI value of a difference: of temperatures, a step of so many degrees."""
        value = self._quantity(key, dimension, 0.0)
        if dimension is Dimension.TEMPERATURE and "F" in str(self.data[key]):
            return value + 32.0 / 1.8
        return value

    def _quantity(self, key: str, dimension: Dimension, default: float) -> float:
        written = self.data[key]
        try:
            if not isinstance(written, str):
                raise UnitError("a quantity is text with a unit")
            value, unit = quantity(written)
        except UnitError as error:
            self.wrong(key, f"{error}; write for instance {EXAMPLE[dimension]}")
            return default
        if unit.dimension is not dimension:
            self.wrong(key, f"expected a {dimension}, for instance {EXAMPLE[dimension]}")
            return default
        return value
