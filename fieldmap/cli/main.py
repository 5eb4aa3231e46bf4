"""The command line: parse, run, show. Exit 0 done, 2 the input is at fault, 1 anything else."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from fieldmap.cli.commands import COMMANDS
from fieldmap.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command."""
    options = _parser().parse_args(arguments)
    try:
        return int(options.command(options))
    except InputError as error:
        for problem in error.problems:
            print(problem, file=sys.stderr)  # noqa: T201
        return 2
    except KeyboardInterrupt:
        print("Stopped; nothing was written.", file=sys.stderr)  # noqa: T201
        return 1
    except Exception as error:  # noqa: BLE001 - no traceback reaches a user
        print(f"fieldmap could not finish ({type(error).__name__}: {error}).", file=sys.stderr)  # noqa: T201
        return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="fieldmap",
        description="From clipped cover-crop samples to a nitrogen-credit map and zones for a spreader.",
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for add in COMMANDS:
        add(commands)
    return parser


if __name__ == "__main__":
    raise SystemExit(main())
