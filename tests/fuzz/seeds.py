"""Where the fuzzers start: one good example of every form, and the words that the formats are made of."""

from __future__ import annotations

import gzip
from pathlib import Path

from tests.fuzz.targets import decoder

CASES = Path(__file__).parent / "cases"
_PLANTS = Path(__file__).parents[1] / "analytics" / "plant"

_PAYLOADS = (
    b"42.1",
    b"-4.2e1",
    b"on",
    b'{"rain":[{"in":0.25}],"air":{"deg/F":51.5},"pump":true}',
    b'[{"bn":"urn:dev:42:","bt":1.7e9,"bu":"Pa","bv":2},{"n":"pressure","v":310264,"t":-5}]',
    b'[{"n":"air","u":"Cel","v":11.25,"s":1,"ut":60},{"n":"pump","vb":false},{"n":"x","vs":"y","vd":"eg"}]',
)
_ROWS = (
    b"2031-05-04T06:12:31Z,pressure,42.1\n1935634351.25,motor,5.8\n1e3,pressure,4e1\n",
    b"2031-05-04 00:12:32.5-06:00,pressure,4e1\n",
    b'"2031-05-04T06:12:31.123456789Z","pressure","42.1"\r\n\n ,,\n1,pressure,.5\n-1,motor,+1.\n',
    b"2031-02-29T24:00:60Z,pressure,nan\n1e3,pressure,1e999\nx,y,z,w\n2031-05-04T06:12:31Z,nobody,1\n",
)

#: For the coverage-guided fuzzer: it joins them where it would take long to find them.
WORDS = {
    "payload": '{ } [ ] : , " null true false on off "n" "u" "v" "vb" "vs" "vd" "s" "t" "ut" "bn" "bt" "bu" '
    '"bv" "bs" "bver" "Pa" "Cel" "lx" e308 1e-400 NaN Infinity -0 "pressure" 1.7e9',
    "plant": "[ [[signal]] [pump] [switch] [pressure_tank] [storage.rain] [[supply]] = version title "
    'timezone altitude name measures topic unit pointer record calibration "line_pressure" "psi" "30 psi" '
    "inf nan -1 1e400 true 2031-05-04 ''' \"\"\" { } #",
    "readings": 'T Z , " \\x0a \\x0d . - + : e on off pressure motor 2031-05-04 T06:12:31 +24:00 nan 1e999',
}
WORDS["recording"] = WORDS["readings"]


def seeds(target: str) -> list[bytes]:
    """Examples of the target's input."""
    if target == "payload":
        _, topics, _ = decoder()
        return [bytes([at]) + body for at in range(len(topics)) for body in _PAYLOADS]
    if target == "plant":
        return [file.read_bytes() for file in sorted(_PLANTS.glob("*.toml"))]
    if target == "recording":
        whole = b"time,signal,value\n" + b"".join(_ROWS)
        return [b"\0" + whole, b"\1" + gzip.compress(whole, mtime=0), b"\1" + gzip.compress(whole)[:-9]]
    return [*_ROWS, b"".join(_ROWS)]


def cases(target: str) -> list[Path]:
    """What the fuzzers once found, kept so that it is not found again."""
    return sorted(path for path in (CASES / target).glob("*") if path.is_file())
