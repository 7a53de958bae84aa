"""What makes runs short or moves their ends: air, band, contact, size."""

from __future__ import annotations

from numpy.random import Generator

from tests.examiner import physics as ph
from tests.examiner.case import DAY_S, Case, ramp
from tests.examiner.truth import Truth


def lost_air(case: Case, rng: Generator, a: float, b: float) -> None:
    """The air charge leaks away, within minutes or over days."""
    left = float(rng.uniform(0.06, 0.35))
    if a > 0 and rng.random() < 0.4:
        full = min(rng.uniform(4, 12) * DAY_S, 0.7 * (b - a))
    else:
        full = float(rng.uniform(60, 1800))
    ramp(case, ph.AIR, a, b, full, left)
    if a <= 0:
        case.controls[case.over(a, b), ph.AIR] = left
    case.truths.append(
        Truth(
            "short_cycling",
            a,
            b,
            "short",
            ("lost_air_charge",),
            note=f"air {left:.2f} over {full / 3600:.1f} h",
        )
    )


def overcharged(case: Case, rng: Generator, a: float, b: float) -> None:
    """The owner pumps the tank up above cut-in."""
    p = case.plant
    charge = min(p.cut_in_pa * rng.uniform(1.1, 1.3), p.cut_in_pa + 0.75 * (p.cut_out_pa - p.cut_in_pa))
    case.controls[case.over(a, b), ph.AIR] = (charge + p.vector[ph.ATM]) / (
        p.vector[ph.PRECHARGE] + p.vector[ph.ATM]
    )
    case.truths.append(
        Truth(
            "short_cycling",
            a,
            b,
            "short",
            ("overcharged_tank",),
            note=f"charge {charge / p.cut_in_pa:.2f} of cut-in",
        )
    )


def narrow_band(case: Case, rng: Generator, a: float, b: float) -> None:
    """Cut-out set near cut-in."""
    p = case.plant
    share = float(rng.uniform(0.22, 0.45))
    case.controls[case.over(a, b), ph.CUT_OUT] = p.cut_in_pa + share * (p.cut_out_pa - p.cut_in_pa)
    case.truths.append(
        Truth(
            "short_cycling",
            a,
            b,
            "short",
            ("narrow_switch_band",),
            also=("switch_drift",),
            note=f"band {share:.2f}",
        )
    )


def chatter(case: Case, rng: Generator, a: float, b: float) -> None:
    """The contact bounces at every change."""
    case.controls[case.over(a, b), ph.CHATTER] = float(rng.uniform(4, 12))
    case.truths.append(Truth("short_cycling", a, b, "chatter", ("switch_chatter",)))


def undersized(case: Case, rng: Generator, a: float, b: float) -> None:
    """The tank was always too small."""
    case.truths.append(Truth("short_cycling", 0, case.days * DAY_S, "small", ("undersized_tank",)))


def switch_drift(case: Case, rng: Generator, a: float, b: float) -> None:
    """Cut-in, cut-out or both move."""
    p = case.plant
    band = p.cut_out_pa - p.cut_in_pa
    move = band * float(rng.uniform(0.2, 0.4))
    kind = str(rng.choice(["both down", "both up", "cut-in down", "cut-out up"]))
    h0 = p.vector[ph.SHUTOFF] - p.vector[ph.LIFT] * ph.DENSITY_GRAVITY
    if "up" in kind:
        move = min(move, 0.5 * (h0 - p.cut_out_pa))
    sign = -1 if "down" in kind else 1
    span = case.over(a, b)
    if kind != "cut-out up":
        case.controls[span, ph.CUT_IN] += sign * move
    if kind != "cut-in down":
        case.controls[span, ph.CUT_OUT] += sign * move
    case.truths.append(
        Truth(
            "switch_drift",
            a,
            b,
            "drift",
            required=move > 0.05 * p.cut_out_pa,
            note=f"{kind} {move / band:.2f} band",
        )
    )
