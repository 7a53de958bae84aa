"""Plant files on disk."""

from __future__ import annotations

from pathlib import Path

import pytest

from analytics.plant.mistakes import PlantErrors
from collector.plantfile import load_plant

SMALL = 'version = 1\ntimezone = "UTC"\n[[signal]]\nname = "t"\nmeasures = "pump_running"\ntopic = "a"\n'


def refused(path: Path) -> str:
    with pytest.raises(PlantErrors) as caught:
        load_plant(path)
    told = str(caught.value)
    assert told.startswith(str(path))
    return told


def test_the_stem_is_the_plants_name(tmp_path: Path) -> None:
    path = tmp_path / "hill-house.toml"
    path.write_text(SMALL)
    assert load_plant(path).name == "hill-house"
    assert load_plant(str(path)) == load_plant(path)


def test_windows_line_ends_and_byte_order_mark(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode())
    assert load_plant(path).timezone == "UTC"


def test_lines_are_right_with_windows_line_ends(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    path.write_bytes(SMALL.replace("UTC", "Nowhere").replace("\n", "\r\n").encode())
    assert "line 2: timezone" in refused(path)


def test_what_cannot_be_read(tmp_path: Path) -> None:
    assert "No such file" in refused(tmp_path / "none.toml")
    assert "directory" in refused(tmp_path)


def test_what_is_not_utf_8(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    path.write_bytes(SMALL.encode() + "# Überlauf".encode("latin-1"))
    told = refused(path)
    assert "line 7" in told
    assert "UTF-8" in told
    path.write_bytes(SMALL.encode("utf-16"))
    assert "UTF-8" in refused(path)


def test_every_mistake_names_the_file(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    path.write_text(SMALL.replace("UTC", "Nowhere").replace("pump_running", "pump_walking"))
    told = refused(path).splitlines()
    assert len(told) == 2
    assert all(line.startswith(f"{path}: line ") for line in told)
