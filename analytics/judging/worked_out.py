"""What is worked out once for all detectors, of looks and of runs: plain data."""

from __future__ import annotations

import msgspec


class Story(msgspec.Struct):
    """What the looks into one run have shown so far (see `analytics.judging.story`)."""

    run_us: int = 0
    looked_us: int = 0  # the first look into it
    fastest_m3_s: float = 0.0  # that tank water is sure to have fallen, before or in the run
    last_fell_m3_s: float = 0.0  # by the slope of the look before
    mixed: bool = (
        False  # the kink says too little: more was drawn at the start than before, or no water was left
    )
    collapsed: bool = False  # the tank or the line ran out within the run
    most_needed_m3_s: float = 0.0  # draw that a working pump would have needed, while the tank told
    last_needed_m3_s: float = 0.0
    needed_since_us: int | None = None  # a draw unheard of would have been needed since
    standing_since_us: int | None = None  # a draw as large as the delivery would have been needed since
    same_since_us: int | None = None  # tank water has gone on just as before the start since
    flat_since_us: int | None = None  # the tank has gained next to nothing over the run since
    gone_since_us: int | None = None  # what the start brought is gone: tank water goes as before it, since
    high_pa: float = 0.0  # the highest that pressure was lifted to
    high_us: int = 0
    reached_pa: float = 0.0  # the highest sample since the start
    low_pa: float = 0.0  # the lowest at a look since pressure was last lifted
    lift_m3_s: float | None = None  # tank water gained on the last step up, over its time
    base_pa: float = 0.0  # since then and there tank water should have grown
    base_us: int = 0
    motor_level: float = 0.0  # the highest that the motor was seen at
    seen_pa: float | None = None  # at a look, and the motor's level then
    seen_level: float | None = None
    crept: bool = False  # it lifted pressure slowly to where it stood
    kink_share: float | None = None  # delivery by the kink, by the newest look that could tell
    last_kink_m3_s: float | None = None  # what is gained over the fall before the start, by the look before
    lasting_m3_s: float | None = None  # the least of that on which two looks agree
    fed: bool = False  # what was drawn before the start is drawn still, and mostly brought in
    metered_m3_s: float | None = None  # the most that the meter said of the delivery while the line stood
    passed_m3: float = 0.0  # by the meter since the start, up to this look
    passed_us: int = 0
    shut_us: int | None = None  # the outlet has been at its shut-off head since
    shut_from_pa: float = 0.0  # line and outlet pressure then
    outlet_from_pa: float = 0.0
    shut_pa: float | None = None  # the lowest line pressure with the outlet at its shut-off head
    throttled: bool = False  # and the line rose from it, or the start showed a kink
    early_pa: float | None = None  # pressure at the first look that had three samples, and the highest by it
    early_high_pa: float | None = None
    stood: bool = False  # it filled, and then stood against a draw
    ebbed_m3_s: float | None = None  # at most, that the tank last fell by, where it was about to run out
    stands_m3_s: float = 0.0  # the draw that a working pump would have stood against
    met_m3_s: float = (
        0.0  # the largest of these in runs that came to cut-out all the same, the newest included
    )


class Witness(msgspec.Struct, frozen=True):
    """What a look says of delivery (see `analytics.judging.no_delivery`).

    idle    no water moves; `sure` where flow, outlet gauge or motor say so
    shut    it stands at its shut-off head (blocked) rather than dry
    share   delivery over the usual, by the kink
    motor   motor level over the usual
    low     the storage that is drawn from is at its outlet; None where no level is known
    """

    idle: bool
    sure: bool
    shut: bool
    share: float | None
    motor: float | None
    since_us: int
    low: bool | None


class Decline(msgspec.Struct, frozen=True):
    """What the newest runs say of the delivery (see `analytics.judging.decline`)."""

    left: float  # delivery over its clean value, by the newest LATELY runs
    error: float  # its standard error
    sure: bool  # beyond doubt
    clog: float  # how much speaks for the filter, 0 to 1; 0.5 where nobody asks
    drop: float | None  # filter resistance over its clean value
    by_drop: bool = False  # by the drop across the filter alone, which no tank and no switch has a part in
    by_work: bool = False  # by the motor's level alone, likewise
    since_us: int | None = None  # where one likelihood of all runs since then tells it (`judging.gains`)
