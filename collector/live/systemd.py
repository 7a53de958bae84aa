"""Tells systemd that the daemon is up, alive or stopping. Without systemd it says nothing.

The protocol is one datagram of text (sd_notify(3)); a library for it would be longer than this.
"""

from __future__ import annotations

import os
import socket


def tell(state: str) -> None:
    """`READY=1`, `WATCHDOG=1` or `STOPPING=1`, to where NOTIFY_SOCKET points."""
    address = os.environ.get("NOTIFY_SOCKET")
    if not address:
        return
    if address.startswith("@"):
        address = "\0" + address[1:]
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as out:
        try:
            out.sendto(state.encode(), address)
        except OSError:  # systemd restarting itself: the next word reaches it
            return
