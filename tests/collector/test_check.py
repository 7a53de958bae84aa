"""`holdwater check`, as a person or a script calls it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from analytics.faults import FAULTS
from collector.cli import main

JUNIPER = (Path(__file__).parents[1] / "analytics" / "plant" / "juniper.toml").read_text()


def check(text: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    path = folder / "juniper-bench.toml"
    path.write_text(text)
    status = main(["check", str(path)])
    out, err = capsys.readouterr()
    return status, out, err


@pytest.mark.parametrize("system", ["us", "metric"])
def test_a_sound_file(system: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = check(JUNIPER.replace('"us"', f'"{system}"'), tmp_path, capsys)
    assert (status, err) == (0, "")
    assert "Juniper Bench" in out
    assert all(len(line) <= 80 and line == line.rstrip() for line in out.splitlines())
    assert "\x1b" not in out
    for fault in FAULTS:
        assert fault in out
    assert ("13.4 gal" if system == "us" else "50.9 L") in out
    for heading in ("understood", "Signals", "follows", "show", "cannot", "one more sensor"):
        assert heading in out


def test_a_bad_file_says_every_mistake_on_standard_error(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = JUNIPER.replace('"30 psi"', '"30 gal"').replace("precharge", "pre_charge").replace('"A"', '"V"')
    status, out, err = check(bad, tmp_path, capsys)
    assert (status, out) == (2, "")
    lines = err.splitlines()
    assert len(lines) == 4  # pre_charge is both an unknown key and an absent one
    assert all(
        re.match(r".*juniper-bench\.toml: line \d+: [a-z_]+(\[\d\])?\.[a-z_]+: ", line) for line in lines
    )


def test_no_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(tmp_path / "none.toml")]) == 2
    assert "No such file" in capsys.readouterr().err


def test_remarks_are_printed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = check(JUNIPER.replace('"28 psi"', '"35 psi"'), tmp_path, capsys)
    assert "Note: The air charge (precharge) is above cut-in" in out


def test_square_brackets_in_names_are_no_markup(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = check(JUNIPER.replace("Juniper Bench", "[red]Bench[/red] :pump:"), tmp_path, capsys)
    assert "[red]Bench[/red] :pump:" in out
