"""Where messages go, in the settings file's [notify] table.

    [notify]
    mqtt_prefix = "holdwater"           # topics of ours at the broker; "" for none
    quiet = ["21:30", "06:30"]          # low priority, and what is over, wait for the morning
    address = "http://shed.local:8050"  # of the dashboard, to be named in messages

    [notify.to.phone]                   # any number of these, each with a name of yours
    url_file = "/etc/holdwater/notify-phone"    # an Apprise URL, alone in a file that only its owner may read
    least = "medium"                    # the least priority that is told there; else "low": everything

An Apprise URL holds a password or a token as a rule: so it is never in the settings file itself, and
never in a log.
"""

from __future__ import annotations

import re
import stat
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from analytics.alarms.rationale import URGENCY
from collector.settings import SettingsError, settings_file, table_of

if TYPE_CHECKING:
    from analytics.records import Priority

MQTT = "mqtt"  # the name of the channel to our own topics
_KEYS = ("mqtt_prefix", "quiet", "address", "to")
_TO_KEYS = ("url_file", "least")


@dataclass(frozen=True, slots=True)
class To:
    """One place to which messages are brought."""

    name: str
    url_file: Path
    least: Priority = "low"

    def url(self) -> str:
        """The Apprise URL. OSError where the file cannot be read."""
        return self.url_file.read_text("utf-8").strip()

    def loose(self) -> str | None:
        """A warning where others may read the file."""
        if not self.url_file.exists() or not stat.S_IMODE(self.url_file.stat().st_mode) & 0o077:
            return None
        return f"{self.url_file}: others can read this address and what it holds; chmod 600 {self.url_file}"


@dataclass(frozen=True, slots=True)
class Notify:
    """Quiet hours are minutes after midnight, from and to; None for none."""

    mqtt_prefix: str = "holdwater"
    quiet: tuple[int, int] | None = None
    address: str = ""
    to: tuple[To, ...] = ()


def notify(file: str | Path | None = None) -> Notify:
    """The [notify] table. Raises SettingsError with every mistake at once."""
    mistakes: list[str] = []
    path = settings_file(file)
    table = table_of("notify", path, file is not None, mistakes)
    mistakes += _unknown(f"{path}, notify", table, _KEYS)
    prefix = _text(table, "mqtt_prefix", "holdwater", f"{path}, notify", mistakes).strip("/")
    if re.search(r"[+#\x00]", prefix):
        mistakes.append(f'{path}, notify.mqtt_prefix: found "{prefix}"; a topic without + and # is wanted')
    address = _text(table, "address", "", f"{path}, notify", mistakes).rstrip("/")
    if address and not re.match(r"https?://\S+$", address):
        mistakes.append(f'{path}, notify.address: found "{address}"; http://host:port is wanted')
    quiet = _quiet(table.get("quiet"), f"{path}, notify.quiet", mistakes)
    to = _to(table.get("to", {}), f"{path}, notify.to", mistakes)
    if mistakes:
        raise SettingsError("\n".join(mistakes))
    return Notify(prefix, quiet, address, to)


def _unknown(where: str, table: dict[str, Any], keys: tuple[str, ...]) -> list[str]:
    return [
        f"{where}.{key}: keep the URL in a file of its own and name that: url_file"
        if key == "url"
        else f"{where}.{key}: an unknown key; known here: {', '.join(keys)}"
        for key in table
        if key not in keys
    ]


def _text(table: dict[str, Any], key: str, default: str, where: str, mistakes: list[str]) -> str:
    value = table.get(key, default)
    if isinstance(value, str):
        return value
    mistakes.append(f"{where}.{key}: found {value!r}; a text is wanted")
    return default


def _quiet(value: Any, where: str, mistakes: list[str]) -> tuple[int, int] | None:
    if value is None:
        return None
    texts = value if isinstance(value, list) and len(value) == 2 else []
    found = [re.fullmatch(r"([01]?\d|2[0-3]):([0-5]\d)", text) for text in texts if isinstance(text, str)]
    if len(found) != 2 or None in found:
        mistakes.append(f'{where}: found {value!r}; two times of day are wanted, ["21:30", "06:30"]')
        return None
    first, last = (60 * int(one[1]) + int(one[2]) for one in found if one)
    return first, last


def _to(tables: Any, where: str, mistakes: list[str]) -> tuple[To, ...]:
    if not isinstance(tables, dict):
        mistakes.append(f"{where}: found {tables!r}; tables are wanted, [notify.to.NAME]")
        return ()
    found = []
    for name, table in tables.items():
        here = f"{where}.{name}"
        if not isinstance(table, dict) or name == MQTT:
            mistakes.append(f"{here}: a table of another name than {MQTT} is wanted, [notify.to.phone]")
            continue
        mistakes += _unknown(here, table, _TO_KEYS)
        file = Path(_text(table, "url_file", "", here, mistakes)).expanduser()
        if not file.is_file():
            mistakes.append(f'{here}.url_file: found "{file}"; a file that exists is wanted')
        least = _text(table, "least", "low", here, mistakes)
        if least not in URGENCY:
            mistakes.append(f'{here}.least: found "{least}"; one of {", ".join(URGENCY)} is wanted')
        found.append(To(name, file, cast("Priority", least)))
    return tuple(found)


def warnings(said: Notify) -> list[str]:
    """What is to be mended and does not keep the daemon from starting."""
    found = [warning for to in said.to if (warning := to.loose())]
    if said.to and find_spec("apprise") is None:
        found.append("messages wait: install holdwater[notify], which brings them to [notify.to] addresses")
    return found
