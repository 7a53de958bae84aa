"""How the examiner's sensors speak, and the lines that are written of it."""

from __future__ import annotations

import numpy as np
import pytest

from tests.examiner.recording import rows
from tests.examiner.sensors import Sensor, Trouble


def gauge(**other: object) -> Sensor:
    """A gauge in bar without noise, a word a second."""
    plain: dict[str, object] = {
        "name": "p", "measures": "line_pressure", "unit": "bar", "every_s": 1.0, "on_change": False,
        "deadband": 2e3, "heartbeat_s": 60.0, "noise": 0.0, "quantum": 100.0, "offset": 0.0, "scale": 1.0,
    }  # fmt: skip
    return Sensor(**(plain | other))  # type: ignore[arg-type]


def read(sensor: Sensor, true: list[float]) -> tuple[list[float], list[float]]:
    times, values, _ = sensor.read(np.random.default_rng(1), np.array(true), 0.0, 1.0)
    return times.tolist(), values.tolist()


def test_unit_and_offset() -> None:
    assert read(gauge(unit="psi", offset=6894.757), [0.0, 6894.757])[1] == pytest.approx([1.0, 2.0], abs=0.02)


def test_slow_sensor_takes_every_so_many() -> None:
    assert read(gauge(every_s=3.0), [1e5 * i for i in range(7)]) == ([0.0, 3.0, 6.0], [0.0, 3.0, 6.0])


def test_on_change_speaks_beyond_its_deadband_and_at_its_heartbeat() -> None:
    true = [1e5] * 100
    true[20:] = [1.01e5] * 80  # less than the deadband
    true[40:] = [1.1e5] * 60
    assert read(gauge(on_change=True, heartbeat_s=50.0), true)[0] == [0.0, 40.0, 90.0]


@pytest.mark.parametrize(
    ("kind", "size", "expected"),
    [("range", -1e5, [1.0, -1.0, -1.0, 4.0]), ("stuck", float("nan"), [1.0, 2.0, 2.0, 4.0]),
     ("leap", 5e4, [1.0, 2.5, 3.5, 4.0]), ("silent", 0.0, [1.0, 4.0])],
)  # fmt: skip
def test_troubles_begin_and_end(kind: str, size: float, expected: list[float]) -> None:
    sensor = gauge(troubles=[Trouble(kind, 1.0, 3.0, size)])
    assert read(sensor, [1e5, 2e5, 3e5, 4e5])[1] == expected


def test_rain_is_told_in_whole_tips_and_none_is_lost() -> None:
    bucket = gauge(measures="rainfall", unit="mm", every_s=2.0, quantum=0.0002)
    fallen = read(bucket, [0.00016] * 4)[1] + read(bucket, [0.00016] * 4)[1]
    assert sum(fallen) == pytest.approx(1.2)


def test_lines_come_in_the_order_in_which_they_arrive() -> None:
    one = ("a", np.array([0.0, 10.0]), np.array([1.5, 2.0]), np.array([0.0, 30.0]))
    two = ("b", np.array([5.0]), np.array([float("nan")]), np.array([5.0]))
    assert rows([one, two], 100.0) == b"100,a,1.5\n105,b,nan\n110,a,2.0\n"
