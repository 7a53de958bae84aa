"""Where the pages are served, and who that lets reach them."""

from __future__ import annotations

import ipaddress


def listening(words: str) -> tuple[str, int]:
    """("host", port) of HOST:PORT or [v6]:PORT. ValueError for anything else."""
    host, colon, port = words.rpartition(":")
    if not colon or not port.isdigit() or not 0 < int(port) < 65_536:
        raise ValueError(words)
    return host.strip("[]") or "127.0.0.1", int(port)


def loopback(host: str) -> bool:
    """Whether an address reaches no further than this machine."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def reach(host: str) -> str:
    """Who can open the pages, in a sentence."""
    if loopback(host):
        return "this machine only (--listen 0.0.0.0:8050 opens it to the network)."
    return "paired phones on the network; everybody else sees the door."
