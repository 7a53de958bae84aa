"""The front door: one `holdwater` command that finds its verbs through an entry-point group.

A verb is a module with three names: HELP (one line), arguments(parser) and run(options), which
returns the exit status: 0 done, 2 the owner's mistake, already explained on standard error. Only
the verb asked for is loaded; all are loaded to list them, so a verb imports its heavy halves
inside `run`.
"""

from __future__ import annotations

import argparse
import os
import sys
from importlib import import_module
from pathlib import Path
from typing import NoReturn, Protocol, cast

GROUP = "holdwater.verbs"
HERE = "collector.verbs"
#: Verbs that read, print and are done: no file, thread or process of theirs waits to be closed.
LEAVES_NOTHING = frozenset({"analyse", "cycles", "check"})


class Verb(Protocol):
    """The shape of a verb's module."""

    HELP: str

    def arguments(self, parser: argparse.ArgumentParser) -> None: ...

    def run(self, options: argparse.Namespace) -> int: ...


def verbs(asked: str | None) -> dict[str, Verb]:
    """The verb asked for, or every installed verb in alphabetical order where there is none such."""
    here = _verb_here(asked) if asked else None
    if asked and here:
        return {asked: here}
    from importlib.metadata import entry_points  # brings mail and zip with it: a tenth of our start

    found = sorted(entry_points(group=GROUP), key=lambda entry: (entry.name != asked, entry.name))
    wanted = found[:1] if found and found[0].name == asked else found
    return {entry.name: cast("Verb", entry.load()) for entry in wanted}


def _verb_here(asked: str) -> Verb | None:
    """A verb of the folder below, for which nothing that is installed need be looked through. What is no
    verb there has an underscore in its name."""
    if not asked.isalpha() or not (Path(__file__).with_name("verbs") / f"{asked}.py").is_file():
        return None
    return cast("Verb", import_module(f"{HERE}.{asked}"))


def parser(known: dict[str, Verb]) -> argparse.ArgumentParser:
    """The whole command line."""
    top = argparse.ArgumentParser(
        prog="holdwater",
        description="Watches over a rural water supply and says early what is wrong and what to do first.",
        epilog="It watches and advises. It is no safety device.",
    )
    top.add_argument("--version", action=_Version, nargs=0, help="show the version and exit")
    below = top.add_subparsers(title="verbs", metavar="VERB", required=True)
    for name, verb in known.items():
        one = below.add_parser(name, help=verb.HELP, description=verb.HELP)
        verb.arguments(one)
        one.set_defaults(run=verb.run)
    return top


class _Version(argparse.Action):
    """Looks the version up only when it is asked for."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from importlib.metadata import version

        print(f"holdwater {version('holdwater')}")
        parser.exit()


def main(words: list[str] | None = None) -> int:
    """Run one verb; returns its exit status. As the process's own command (no `words`) some verbs end it."""
    asked = sys.argv[1:] if words is None else words
    # NumPy would start a thread for each core at once; nothing here multiplies matrices.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    options = parser(verbs(asked[0] if asked else None)).parse_args(asked)
    try:
        status = int(options.run(options))
        if words is None and asked[0] in LEAVES_NOTHING:
            _end(status)
    except BrokenPipeError:  # `holdwater export ... | head` is no mistake
        sys.stderr.close()
        return 0
    except KeyboardInterrupt:
        return 130
    return status


def _end(status: int) -> NoReturn:
    """At once: to take down all that was loaded lasts as long as to load a sixth of it."""
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(status)


if __name__ == "__main__":
    sys.exit(main())
