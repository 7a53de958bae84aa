"""Where things are and how they are reached, unless the owner says otherwise."""

from __future__ import annotations

import os
from pathlib import Path

from platformdirs import user_data_path


def data_folder(option: str | Path | None) -> Path:
    """The folder that holds every plant's history: the option, else HOLDWATER_DATA, else the user's own."""
    given = option or os.environ.get("HOLDWATER_DATA")
    return Path(given).expanduser() if given else user_data_path("holdwater")
