"""`holdwater notify`: whether messages arrive where the settings say."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse

HELP = "send a test message to every place that the settings name, and say which arrived"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("what", choices=["test"], help="test: one message to each place, now")
    parser.add_argument("--settings", metavar="FILE", help="settings file")


def run(options: argparse.Namespace) -> int:
    from collector.live import clock
    from collector.notify.channels import Elsewhere, Undelivered, silence
    from collector.notify.settings import notify
    from collector.notify.words import Message
    from collector.settings import SettingsError, settings_file

    try:
        said = notify(options.settings)
    except SettingsError as error:
        print(error, file=sys.stderr)
        return 2
    if not said.to:
        print(f"{settings_file(options.settings)} names no place: add [notify.to.NAME] with a url_file.")
        return 1
    silence()
    failed = 0
    for to in said.to:
        if warning := to.loose():
            print(warning, file=sys.stderr)
        message = Message(
            plant="",
            title="Holdwater",
            zone="UTC",
            told="test",
            at_us=clock.now_us(),
            priority="low",
            headline="A test: messages arrive here",
            summary="Nothing is wrong. Holdwater was asked to send this, to see that it arrives.",
        )
        began = time.monotonic()
        try:
            Elsewhere(to, said.address).send([message])
            print(f"{to.name}: taken in {time.monotonic() - began:.1f} s. See that it has come.")
        except Undelivered as error:
            failed += 1
            print(f"{to.name}: did not arrive: {error}", file=sys.stderr)
    return 1 if failed else 0
