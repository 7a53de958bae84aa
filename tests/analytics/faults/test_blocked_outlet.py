"""An outlet that stands at shut-off over a line that gains nothing: told, whatever little seeps through."""

from __future__ import annotations

from types import SimpleNamespace

import msgspec
import pytest

from analytics.faults.blocked_discharge import BlockedDischarge
from analytics.judging.worked_out import Story, Witness
from analytics.seeing.events import Look
from tests.analytics import traces

PSI = traces.PSI
LOOK = Look(
    at_us=0, start_us=1, age_s=20.0, window_s=20.0, samples=4, entire=True, interval_s=5.0,
    pressure_start_pa=30 * PSI, pressure_pa=29 * PSI, pressure_high_pa=30 * PSI,
    slope_m3_s=None, slope_pa_s=None, slope_first_m3_s=None, slope_before_m3_s=None, noise_pa=None,
    motor_level=180.0, flow_m3_s=None, discharge_pa=68 * PSI, suction_pa=None,
)  # fmt: skip


def said_after(looks: int, share: float, motor: float, outlet_pa: float) -> list[str]:
    """What `looks` looks, five seconds apart, at a run that gains `share` of its delivery bring about."""
    detector = BlockedDischarge(traces.plant(traces.Trace()))
    known = SimpleNamespace(
        plant=detector.plant,
        usual=SimpleNamespace(
            start_pa=30 * PSI,
            now_m3_s=5e-4,
            motor_level=7.0,
            clean_level=7.0,
            stop_pa=50 * PSI,
            band_pa=20 * PSI,
            drawdown_m3=0.03,
            delivery_m3_s=5e-4,
            drop_pa=0.0,
        ),
        witness=Witness(False, False, False, share, motor, 1, None),
        story=Story(),
    )
    found = []
    for nth in range(looks):
        look = msgspec.structs.replace(
            LOOK, at_us=nth * 5_000_000, age_s=20.0 + 5.0 * nth, discharge_pa=outlet_pa
        )
        found += [claim.fault for claim in detector.look(look, known)]
    return found


def test_outlet_that_stays_at_shut_off_is_told_though_a_little_seeps_through() -> None:
    assert said_after(4, 0.1, 0.6, 68 * PSI) == []
    assert said_after(5, 0.1, 0.6, 68 * PSI) == ["blocked_discharge"]


@pytest.mark.parametrize(
    ("share", "motor", "outlet_psi"),
    [
        (0.4, 0.8, 68),  # a filter that clogs
        (0.1, 1.0, 68),  # the motor does its usual work
        (0.1, 0.6, 31),  # nothing is pressed against
    ],
)
def test_outlet_that_gives_water_is_not_shut(share: float, motor: float, outlet_psi: float) -> None:
    assert said_after(12, share, motor, outlet_psi * PSI) == []
