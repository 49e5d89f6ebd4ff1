"""The command line: `kneewall COMMAND …`. Bad input is one line on stderr and exit 2."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from typing import NoReturn

from kneewall import __version__
from kneewall.commands import backup, people, publish, review, serve
from kneewall.compiler import command as compiler
from kneewall.records.errors import OfficeError
from kneewall.tools import command as tools


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}; {self.prog} --help says more\n")


def parser() -> argparse.ArgumentParser:
    top = _Parser(
        prog="kneewall",
        description="Calculate, check and record work on attic air conditioners; keep the rules.",
    )
    top.add_argument("--version", action="version", version=f"kneewall {__version__}")
    subparsers = top.add_subparsers(required=True, metavar="COMMAND")
    for part in (compiler, tools, serve, publish, review, backup, people):
        part.register(subparsers)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Returns the exit status."""
    parsed = parser().parse_args(arguments)
    try:
        status: int = parsed.run(parsed)
    except OfficeError as error:
        print(" ".join(str(error).split()), file=sys.stderr)
        return 2
    except BrokenPipeError:
        return 1
    except KeyboardInterrupt:
        return 130
    return status


if __name__ == "__main__":
    sys.exit(main())
