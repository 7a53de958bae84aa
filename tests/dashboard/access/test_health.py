"""`/health`: right by its status code, and without a word that helps a stranger."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import pytest

from collector.live.pulse import Pulse, write_pulse
from dashboard.web.app import make_app
from tests.dashboard import made

if TYPE_CHECKING:
    from pathlib import Path


def asked(data: Path) -> tuple[int, dict[str, object]]:
    answer = make_app([made.juniper()], data).test_client().get("/health")
    assert answer.json is not None
    return answer.status_code, answer.json


def pulse(data: Path, **said: object) -> None:
    now_us = time.time_ns() // 1000
    usual = {
        "time_us": now_us,
        "began_us": now_us,
        "running": True,
        "broker": "shed.local:8883",
        "connected": True,
        "connections": 1,
        "messages": 1,
        "trouble": {},
    }
    write_pulse(data, Pulse(**(usual | said)))  # type: ignore[arg-type]


@pytest.fixture
def heard(tmp_path: Path) -> Path:
    made.fill(tmp_path, int(time.time()), days=0.05)
    return tmp_path


def test_well(heard: Path) -> None:
    pulse(heard)
    status, told = asked(heard)
    assert status == 200
    assert told["ok"] is True
    assert 0 <= float(str(told["newest_reading_age_s"])) < 60
    assert 0 <= float(str(told["pulse_age_s"])) < 60


@pytest.mark.parametrize(
    ("said", "daemon"),
    [
        ({"connected": False}, "cut off"),
        ({"running": False}, "gone"),
        ({"time_us": 0}, "gone"),
        ({"trouble": {"juniper-bench": "the disk is full"}}, "alive"),
    ],
)
def test_what_is_wrong_with_the_daemon(heard: Path, said: dict[str, object], daemon: str) -> None:
    pulse(heard, **said)
    status, told = asked(heard)
    assert (status, told["ok"], told["daemon"]) == (503, False, daemon)


def test_silent_sensors(tmp_path: Path) -> None:
    made.fill(tmp_path, int(time.time()) - 1000, days=0.05)
    pulse(tmp_path)
    assert asked(tmp_path)[0] == 503


def test_nobody_ever_ran(heard: Path) -> None:
    status, told = asked(heard)
    assert (status, told["daemon"], told["pulse_age_s"]) == (503, "unknown", None)


def test_it_names_neither_plant_nor_broker(heard: Path) -> None:
    pulse(heard, trouble={"juniper-bench": "secret words"})
    text = str(asked(heard)[1]).lower()
    assert not {word for word in ("juniper", "shed", "secret", "psi") if word in text}
