"""Guided tests: what an owner does by hand at the plant, timed and judged from the readings.

A trial is a script (what to do, with its caution in that step) and a judge (what the readings
showed, with uncertainty). Both are pure: the same readings and the same taps of the thumb give the
same judgement, while it is going on, after the phone slept, or a year later.

    shapes        the words that all trials share
    spell         readings of the time that a trial took
    holding       how fast a closed system loses pressure, and what that is in water
    air_charge, leak_down, check_valve, delivery   one trial a file
    warmth        water in a tank whose air warms and cools as it is squeezed and let go
    course        where a trial stands, given its taps and its readings
    since         a figure of today beside the one that was kept when the plant was well
"""

from __future__ import annotations
