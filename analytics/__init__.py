"""The pure core: what the plant is, what its readings say, and what is wrong with it.

No I/O, no clock, no randomness and no global state. Time is data: every reading carries its own,
and silence is noticed only because a tick, which is a reading like any other, says that time went
on. Nothing here imports another folder of Holdwater.
"""
