"""What a run that is under way shows: prime lost in it, a break that the pump nearly meets,
a tank that ran out too slowly for one, gauges that stand apart with nothing between them.

Traces come from `tests/analytics/traces.py` (Boyle's law and a quadratic pump curve), not from the simulator.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.faults import dry_supply
from analytics.judging.instruments import by_drop
from analytics.judging.story import at_shut_off, follow
from analytics.judging.trait import Trait
from analytics.judging.watch import Claim
from analytics.judging.worked_out import Story, Witness
from analytics.plant.description import Measure
from analytics.records import Finding
from analytics.seeing.events import Look
from analytics.seeing.looks import HELD, _held_from
from analytics.seeing.pace import Pace
from analytics.seeing.parting import Words
from tests.analytics import traces
from tests.analytics.faults.test_heavy_draws import claims, learned
from tests.analytics.faults.test_pump_runs import told
from tests.analytics.traces import LPM, PSI

HOUR = 3600.0
CONTACT = Measure.PUMP_RUNNING


def late_s(finding: Finding, since_s: float) -> float:
    return (finding.raised_us - traces.START_US) / 1e6 - since_s


def garden(rng: np.random.Generator, t: np.ndarray) -> np.ndarray:
    """Half of the delivery for twenty minutes of each hour, a sixth in the others."""
    return np.where(t % HOUR < 1200.0, 17 * LPM, 6 * LPM)


def a_run_s() -> float:
    """A time within a run, 25 s after its start, while a sixth is drawn."""
    true = traces.run(traces.Trace(demand=garden, motor=CONTACT), 21.5 * HOUR, seed=3)
    starts = true["t"][1:][np.diff(true["on"]) > 0.5]
    return float(next(s for s in starts if s > 20.4 * HOUR and 1300.0 < s % HOUR < 3300.0)) + 25.0


def opens(extra_m3_s: float) -> object:
    begins = a_run_s()
    return lambda rng, t: garden(rng, t) + np.where(t >= begins, extra_m3_s, 0.0)


@pytest.mark.parametrize("every_s", [1.0, 2.0])
def test_prime_that_is_lost_in_mid_run_is_told_by_a_contact_within_a_minute(every_s: float) -> None:
    """The tank goes as before the start: a tap would have to draw just what the pump gives, and none does."""
    begins = a_run_s()
    trace = traces.Trace(
        demand=garden, motor=CONTACT, every_s=every_s, delivers=traces.after(begins, 0.0, 1.0)
    )
    (found,) = told(traces.plant(trace), traces.readings(trace, begins + 300.0, seed=3))
    assert found.fault == "lost_prime"
    assert 0.0 < late_s(found, begins) <= 60.0


@pytest.mark.parametrize("more", [12.0, 20.0])
def test_a_tap_that_opens_in_mid_run_is_no_lost_prime(more: float) -> None:
    trace = traces.Trace(demand=opens(more * LPM), motor=CONTACT)  # type: ignore[arg-type]
    assert told(traces.plant(trace), traces.readings(trace, a_run_s() + 300.0, seed=3)) == []


def test_a_filter_that_holds_much_back_when_clean_is_no_closed_outlet() -> None:
    """A fine filter behind a pump of much head: its drop puts the outlet over cut-out, and a zone that draws
    what the pump gives keeps the line where it is."""

    def zone(rng: np.random.Generator, t: np.ndarray) -> np.ndarray:
        return np.where((t > 4 * HOUR) & (t % (2 * HOUR) < 1500.0), 31.6 * LPM, 6 * LPM)

    trace = traces.Trace(
        demand=zone, motor=CONTACT, shut_off_pa=120 * PSI, filter_share=0.25, extra={"discharge": 1.0}
    )
    assert told(traces.plant(trace), traces.readings(trace, 9.5 * HOUR, seed=3)) == []


@pytest.mark.parametrize(("outlet_psi", "shut"), [(56.0, False), (90.0, True)])
def test_shut_off_is_more_than_the_clean_filter_holds_back(outlet_psi: float, shut: bool) -> None:
    """Of 20 psi in mid-band, 23 at 35 psi."""
    judge = Engine(traces.plant(traces.Trace(extra={"discharge": 1.0}))).judge
    judge.signature.clean = {"filter_drop_pa": Trait(20 * PSI, 20 * PSI, 300.0)}
    judge._usual = None
    look = SimpleNamespace(discharge_pa=outlet_psi * PSI, pressure_pa=35 * PSI)
    assert at_shut_off(look, judge.usual) is shut  # type: ignore[arg-type]


@pytest.mark.parametrize(("clean_pa", "now_pa", "says"), [(6e3, 6.6e3, None), (40e3, 39e3, "moves")])
def test_a_drop_no_larger_than_two_gauges_disagree_by_is_no_flow(
    clean_pa: float, now_pa: float, says: str | None
) -> None:
    """With the filter elsewhere the drop of the clean runs is what the gauges' zeros lie apart by."""
    judge = Engine(traces.plant(traces.Trace(extra={"discharge": 1.0}))).judge
    judge.signature.clean = {"filter_drop_pa": Trait(clean_pa, clean_pa, 300.0)}
    usual = judge.usual
    look = Look(
        at_us=60_000_000, start_us=0, age_s=60.0, window_s=20.0, samples=10, entire=True, interval_s=2.0,
        pressure_start_pa=usual.start_pa, pressure_pa=0.0, pressure_high_pa=usual.start_pa, slope_m3_s=0.0,
        slope_pa_s=0.0, slope_first_m3_s=None, slope_before_m3_s=None, noise_pa=500.0, motor_level=None,
        flow_m3_s=None, discharge_pa=now_pa, suction_pa=None, filter_drop_pa=now_pa,
    )  # fmt: skip
    assert by_drop(look, judge, usual) == says


@pytest.mark.parametrize(("stands", "bursts"), [(0.05, False), (0.7, True)])
def test_a_meter_says_no_more_of_a_line_far_down_than_its_pressure(stands: float, bursts: bool) -> None:
    """The filter is known to be choked, and a zone of the garden that holds its flow takes all of it."""
    engine = learned(motor=CONTACT)
    usual = engine.judge.usual
    engine.judge._ledger.hear([Claim("clogged_filter", 0, "medium", 0.9, "")], 1)
    passes = 0.8 if stands < 0.5 else 1.6 * stands**0.5
    look = {
        "pressure_pa": stands * usual.start_pa, "slope_first_m3_s": 0.0,
        "flow_m3_s": passes * usual.delivery_m3_s,
    }  # fmt: skip
    assert bool(claims(engine, *[look] * 12)) is bursts


@pytest.mark.parametrize(("falls", "bursts"), [(0.2, False), (2.5, True)])
def test_a_tank_that_ran_out_slowly_ran_out_into_no_break(falls: float, bursts: bool) -> None:
    """The line comes to lie where a break of thrice the delivery would leave it, the motor at its work."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    zone = [0.8 * engine.judge.usual.delivery_m3_s] * 3  # of the garden
    engine.judge.signature.draws_m3_s = engine.judge.signature.sound_draws_m3_s = zone
    engine.judge._usual = None
    usual = engine.judge.usual
    look = {
        "motor_level": usual.motor_level, "motor_now": usual.motor_level,
        "pressure_pa": usual.drained_pa + 0.01 * usual.band_pa, "slope_m3_s": -falls * usual.delivery_m3_s,
    }  # fmt: skip
    far_down = {**look, "pressure_pa": 0.2 * usual.start_pa, "slope_m3_s": 0.0}
    assert bool(claims(engine, *[look] * 4, *[far_down] * 12)) is bursts


def test_a_break_of_just_the_delivery_shows_by_a_contact_where_the_tank_has_run_out() -> None:
    """The run began with the pump's delivery, and something holds the line up at four fifths of cut-in."""
    begins = a_run_s() - 120.0
    trace = traces.Trace(
        demand=garden, motor=CONTACT, burst_m3_s=traces.after(begins, 35 * LPM, 0.0), charge_pa=26 * PSI
    )
    found = told(traces.plant(trace), traces.readings(trace, begins + 600.0, seed=3))
    assert [finding.fault for finding in found] == ["burst_line"]


def test_a_burst_is_over_when_the_pump_lifts_the_line_though_it_never_stops() -> None:
    """A drip line draws nine tenths of the delivery all along."""
    begins, mended = 6.0 * HOUR, 7.0 * HOUR

    def drip(rng: np.random.Generator, t: np.ndarray) -> np.ndarray:
        return np.where(t < 5.5 * HOUR, garden(rng, t), 31 * LPM)

    broken = lambda s: 120 * LPM if begins <= s < mended else 0.0  # noqa: E731
    trace = traces.Trace(demand=drip, burst_m3_s=broken)
    found = told(traces.plant(trace), traces.readings(trace, 8.0 * HOUR, seed=3))
    (burst,) = [finding for finding in found if finding.fault == "burst_line"]
    assert burst.cleared_us is not None
    assert 0.0 < (burst.cleared_us - traces.START_US) / 1e6 - mended < 900.0


@pytest.mark.parametrize(
    ("share", "slope", "error", "said"),
    [(0.1, -0.1, 0.05, 1), (0.9, 0.0, 0.05, 0), (0.1, 0.0, 0.3, 0)],
)
def test_a_storage_at_its_outlet_and_a_start_without_delivery_are_a_dry_supply(
    share: float, slope: float, error: float, said: int
) -> None:
    """Beyond two errors of the slope; by one look alone it is not said."""
    detector = dry_supply.detector(traces.plant(traces.Trace(extra={"level": 0.1})))
    q = 5e-4
    known = SimpleNamespace(
        plant=detector.plant, story=Story(), witness=Witness(False, False, False, share, None, 1, True),
        usual=SimpleNamespace(delivery_m3_s=q, now_m3_s=q, band_pa=20 * PSI),
    )  # fmt: skip
    heard = []
    for k in range(2):
        look = Look(
            at_us=(15 + 5 * k) * 1_000_000, start_us=1, age_s=15.0 + 5 * k, window_s=15.0, samples=15,
            entire=True, interval_s=1.0, pressure_start_pa=30 * PSI, pressure_pa=29 * PSI,
            pressure_high_pa=30 * PSI, slope_m3_s=slope * q, slope_pa_s=None, slope_first_m3_s=None,
            slope_before_m3_s=None, noise_pa=None, motor_level=None, flow_m3_s=None, discharge_pa=None,
            suction_pa=None, slope_error_m3_s=error * q,
        )  # fmt: skip
        heard.append(len(detector.look(look, known)))  # type: ignore[arg-type]
    assert heard == [0, said]


@pytest.mark.parametrize(
    ("sure_until_s", "rises_s", "level", "said_s"),
    [
        (0.0, 1e9, None, [60.0]),
        (40.0, 1e9, None, [90.0]),
        (0.0, 40.0, None, [90.0]),
        (0.0, 1e9, 0.5, [60.0]),
        (0.0, 1e9, 0.9, []),
    ],
)
def test_a_storage_at_its_outlet_is_dry_once_no_water_was_seen_to_move_for_long_enough(
    sure_until_s: float, rises_s: float, level: float | None, said_s: list[float]
) -> None:
    """The tank stands against a hose; for a while the meter sees water pass, or pressure rises by 2 psi; or
    the motor keeps a load that a pump without water has not."""
    detector = dry_supply.detector(traces.plant(traces.Trace(extra={"level": 0.1})))
    usual = SimpleNamespace(
        delivery_m3_s=5e-4, now_m3_s=5e-4, band_pa=20 * PSI, motor_level=1.0, clean_level=1.0
    )
    said: list[float] = []
    for age_s in np.arange(15.0, 120.0, 5.0):
        look = Look(
            at_us=int(age_s * 1e6), start_us=1, age_s=age_s, window_s=15.0, samples=15,
            entire=True, interval_s=1.0, pressure_start_pa=30 * PSI,
            pressure_pa=(40.0 + 2.0 * (age_s >= rises_s)) * PSI,
            pressure_high_pa=42 * PSI, slope_m3_s=0.0, slope_pa_s=None, slope_first_m3_s=None,
            slope_before_m3_s=None, noise_pa=None, motor_level=level, flow_m3_s=None, discharge_pa=None,
            suction_pa=None, slope_error_m3_s=1e-5,
        )  # fmt: skip
        known = SimpleNamespace(
            plant=detector.plant, usual=usual, story=Story(standing_since_us=10_000_000),
            witness=Witness(False, age_s <= sure_until_s, False, None, None, 1, True),
        )  # fmt: skip
        said += [age_s] * bool(detector.look(look, known))  # type: ignore[arg-type]
    assert said[:1] == said_s


def test_a_kink_in_a_line_that_has_run_out_is_none() -> None:
    """By the first look nothing is left in the tank: its slope tells no delivery, small or whole."""
    engine = learned(motor=Measure.PUMP_CURRENT)
    usual = engine.judge.usual
    level = 0.92 * (usual.motor_level or 0.0)
    look = {
        "motor_level": level, "motor_now": level, "pressure_pa": 0.15 * usual.start_pa,
        "slope_first_m3_s": 0.1 * usual.delivery_m3_s, "slope_before_m3_s": -0.1 * usual.delivery_m3_s,
    }  # fmt: skip
    start_us = traces.START_US + int(20.1 * HOUR * 1e6)
    looks = [
        {**look, "age_s": age, "at_us": start_us + int(age * 1e6)} for age in np.arange(10.0, 130.0, 10.0)
    ]
    assert claims(engine, *looks) > 0


@pytest.mark.parametrize(("fell_psi", "sank_psi", "throttled"), [(1.0, 0.3, False), (5.0, 1.2, True)])
def test_an_outlet_that_sinks_by_no_more_than_its_noise_does_not_follow_the_line(
    fell_psi: float, sank_psi: float, throttled: bool
) -> None:
    judge = Engine(traces.plant(traces.Trace(extra={"discharge": 1.0}))).judge
    usual = judge.usual
    for k, (line_psi, outlet_psi) in enumerate([(29.0, 72.0), (29.0 - fell_psi, 72.0 - sank_psi)]):
        look = Look(
            at_us=(60 + 5 * k) * 1_000_000, start_us=1, age_s=60.0 + 5 * k, window_s=20.0, samples=20,
            entire=True, interval_s=1.0, pressure_start_pa=usual.start_pa, pressure_pa=line_psi * PSI,
            pressure_high_pa=usual.start_pa, slope_m3_s=0.0, slope_pa_s=None, slope_first_m3_s=None,
            slope_before_m3_s=None, noise_pa=0.25 * PSI, motor_level=None, flow_m3_s=None,
            discharge_pa=outlet_psi * PSI, suction_pa=None,
        )  # fmt: skip
        follow(judge.story, look, judge)
    assert judge.story.throttled is throttled


@pytest.mark.parametrize(
    ("silences_s", "holds"), [([60.0] * 80, True), ([4.0] * 70 + [600.0] * 10, True), ([2.0] * 80, False)]
)
@pytest.mark.parametrize("before_s", [-3.0, 0.2, 30.0])
def test_what_an_outlet_said_on_change_holds_until_it_says_more(
    silences_s: list[float], holds: bool, before_s: float
) -> None:
    """It leaps at the start, and says nothing while it stands, as it may well do in runs alone; one that
    speaks by the clock is silent. Its word may be stamped just before the motor's, and long before it is of
    the rest."""
    said_s = np.cumsum([0.0, *silences_s, *[1.0] * 20])
    pace = Pace(600.0)
    pace.gaps(Words((said_s * 1e6).astype(np.int64), np.zeros(len(said_s))), None)
    outlet = SimpleNamespace(time_us=(said_s * 1e6).astype(np.int64), pace=pace)
    past = np.array([len(said_s)])  # all its words lie before the window
    first_us = np.array([int((said_s[-1] + before_s) * 1e6)])  # the motor's first word that says "on"
    begins = _held_from(outlet, past, past, first_us, first_us)  # type: ignore[arg-type]
    assert (int(begins[0]) == len(said_s) - 1) is (holds and before_s < 1.0)
    assert {"motor", "discharge"} <= set(HELD)
