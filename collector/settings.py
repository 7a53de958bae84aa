"""Where things are and how they are reached, unless the owner says otherwise.

Each setting comes from the command line, else from the environment, else from the settings file,
else from its default. A password is never on the command line nor in a plant file: it stands alone
in a file that only its owner may read.

    # settings.toml
    [broker]
    url = "mqtts://shed.local:8883"
    user = "holdwater"
    password_file = "/etc/holdwater/broker-password"
    ca_file = "/etc/holdwater/ca.pem"       # else the system's
    protocol = "5"                          # "5" | "3.1.1"; else 5, and 3.1.1 where the broker is old
    client_id = "holdwater-juniper"         # else made once and kept in the data folder; each plant's
                                            # session at the broker bears this and the plant's name

    [history]
    keep_days = 1500    # older readings are given up but for minutes and hours; else all are kept
"""

from __future__ import annotations

import os
import secrets
import stat
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from platformdirs import user_config_path, user_data_path

LISTEN = "127.0.0.1:8050"
BROKER = "mqtt://127.0.0.1:1883"

#: Tables of the settings file; those that are not read here are read by whoever they are for.
TABLES = ("broker", "history", "notify")
_KEYS = ("url", "user", "password_file", "ca_file", "cert_file", "key_file", "protocol", "client_id")
#: A month at least: whoever looks for a fault wants to see how it began.
FEWEST_DAYS = 30
_PORTS = {"mqtt": 1883, "mqtts": 8883}


class SettingsError(ValueError):
    """Every mistake of the settings, a line each: where, what was found, what would do."""


@dataclass(frozen=True, slots=True)
class Broker:
    """How the broker is reached. Files are paths; what is in them is read when it is needed."""

    host: str
    port: int
    tls: bool
    user: str | None = None
    password_file: Path | None = None
    ca_file: Path | None = None
    cert_file: Path | None = None
    key_file: Path | None = None
    protocol: str = "auto"
    client_id: str | None = None  # None: `own_client_id` of the data folder

    def password(self) -> str | None:
        """The password, without the line's end. OSError where the file cannot be read."""
        return None if self.password_file is None else self.password_file.read_text("utf-8").rstrip("\r\n")

    def loose(self) -> str | None:
        """A warning where others may read the password's file."""
        file = self.password_file
        if file is None or not file.exists() or not stat.S_IMODE(file.stat().st_mode) & 0o077:
            return None
        return f"{file}: others can read this password; chmod 600 {file}"


def data_folder(option: str | Path | None) -> Path:
    """The folder that holds every plant's history: the option, else HOLDWATER_DATA, else the user's own."""
    given = option or os.environ.get("HOLDWATER_DATA")
    return Path(given).expanduser() if given else user_data_path("holdwater")


def own_client_id(data: Path) -> str:
    """The name of our session at the broker, made once and kept with what it brought.

    Two daemons of one name throw each other off the broker, and a session that outlives its history
    would keep from it what was acknowledged before: so the name goes where the data folder goes.
    """
    file = data / "client-id"
    if not file.exists():
        data.mkdir(parents=True, exist_ok=True)
        file.write_text(f"holdwater-{secrets.token_hex(6)}\n", encoding="utf-8")
    return file.read_text(encoding="utf-8").strip()


def settings_file(option: str | Path | None) -> Path:
    """The option, else HOLDWATER_SETTINGS, else settings.toml in the user's configuration folder."""
    given = option or os.environ.get("HOLDWATER_SETTINGS")
    return Path(given).expanduser() if given else user_config_path("holdwater") / "settings.toml"


def broker(url: str | None, file: str | Path | None = None) -> Broker:
    """How to reach the broker. Raises SettingsError with every mistake at once."""
    mistakes: list[str] = []
    path = settings_file(file)
    table = table_of("broker", path, file is not None, mistakes)
    mistakes += _unknown(path, "broker", table, _KEYS)
    said: dict[str, tuple[str, str]] = {}  # key -> (value, where it was said)
    for key in _KEYS:
        if key in table:
            if isinstance(table[key], str):
                said[key] = (table[key], f"{path}, broker.{key}")
            else:
                mistakes.append(f"{path}, broker.{key}: found {table[key]!r}; a text is wanted")
        variable = f"HOLDWATER_MQTT_{key.upper()}"
        if os.environ.get(variable):
            said[key] = (os.environ[variable], variable)
    if url:
        said["url"] = (url, "--broker")
    host, port, tls = _address(*said.get("url", (BROKER, "default")), mistakes)
    protocol, where = said.get("protocol", ("auto", ""))
    if protocol not in ("auto", "5", "3.1.1"):
        mistakes.append(f'{where}: found "{protocol}"; "5" or "3.1.1" is wanted')
    paths = {key: _file(*said[key], mistakes) for key in _KEYS if key.endswith("_file") and key in said}
    if mistakes:
        raise SettingsError("\n".join(mistakes))
    client_id = said["client_id"][0] if "client_id" in said else None
    user = said["user"][0] if "user" in said else None
    return Broker(host, port, tls, user, protocol=protocol, client_id=client_id, **paths)


def kept_days(file: str | Path | None = None) -> int | None:
    """Days for which every reading is kept; None: for good. Raises SettingsError."""
    mistakes: list[str] = []
    path = settings_file(file)
    table = table_of("history", path, file is not None, mistakes)
    mistakes += _unknown(path, "history", table, ("keep_days",))
    days = table.get("keep_days")
    if days is not None and (not isinstance(days, int) or isinstance(days, bool) or days < FEWEST_DAYS):
        mistakes.append(
            f"{path}, history.keep_days: found {days!r}; whole days, at least {FEWEST_DAYS}, are wanted"
        )
    if mistakes:
        raise SettingsError("\n".join(mistakes))
    return days


def table_of(name: str, path: Path, required: bool, mistakes: list[str]) -> dict[str, Any]:
    """One table of the settings file, empty where there is none; what is wrong goes to `mistakes`."""
    if not path.exists() and not required:
        return {}
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        mistakes.append(f"{path}: {error}; a settings file in TOML is wanted")
        return {}
    known = ", ".join(TABLES)
    mistakes += [f"{path}, {key}: an unknown key; known here: {known}" for key in data if key not in TABLES]
    table = data.get(name, {})
    if not isinstance(table, dict):
        mistakes.append(f"{path}, {name}: found {table!r}; a table is wanted, [{name}]")
        return {}
    return table


def _unknown(path: Path, name: str, table: dict[str, Any], keys: tuple[str, ...]) -> list[str]:
    """A line for each key of a table that nobody knows."""
    return [
        f"{path}, {name}.password: keep it in a file of its own and name that: password_file"
        if key == "password"
        else f"{path}, {name}.{key}: an unknown key; known here: " + ", ".join(keys)
        for key in table
        if key not in keys
    ]


def _address(url: str, where: str, mistakes: list[str]) -> tuple[str, int, bool]:
    wanted = "mqtt://host:port or mqtts://host:port is wanted"
    try:
        parts = urlsplit(url)
        port = parts.port or _PORTS.get(parts.scheme, 0)
    except ValueError:
        mistakes.append(f"{where}: found a URL that cannot be read; {wanted}")
        return "", 0, False
    if parts.password or parts.username:
        # the URL itself is not repeated: it holds a secret
        mistakes.append(f"{where}: found a user or password in the URL; set user and password_file instead")
    elif parts.scheme not in _PORTS or not parts.hostname or parts.path.strip("/"):
        mistakes.append(f'{where}: found "{url}"; {wanted}')
    return parts.hostname or "", port, parts.scheme == "mqtts"


def _file(name: str, where: str, mistakes: list[str]) -> Path:
    path = Path(name).expanduser()
    if not path.is_file():
        mistakes.append(f'{where}: found "{name}"; a file that exists is wanted')
    return path
