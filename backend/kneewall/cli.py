"""The command line: `kneewall COMMAND …`. Bad input is one line on stderr and exit 2."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Final, NoReturn

from kneewall import __version__
from kneewall.records.errors import OfficeError

PARTS: Final = {
    "kneewall.compiler.command": ("compile", "evaluate"),
    "kneewall.tools.command": ("sources", "compare", "explain", "words"),
    "kneewall.commands.serve": ("serve",),
    "kneewall.commands.publish": ("publish",),
    "kneewall.commands.review": ("review",),
    "kneewall.commands.report": ("report",),
    "kneewall.commands.backup": ("backup", "restore"),
    "kneewall.commands.people": ("user",),
}
"""The module behind each command. Only the one that is asked for is loaded: a shell does not wait for a web server."""


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}; {self.prog} --help says more\n")


def parser(command: str = "") -> argparse.ArgumentParser:
    """The parser of one command, or of all when none of this name is known."""
    top = _Parser(
        prog="kneewall",
        description="Calculate, check and record work on ducted heat pumps; keep the rules.",
    )
    top.add_argument("--version", action="version", version=f"kneewall {__version__}")
    subparsers = top.add_subparsers(required=True, metavar="COMMAND")
    wanted = [module for module, commands in PARTS.items() if command in commands]
    for module in wanted or PARTS:
        import_module(module).register(subparsers)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Returns the exit status."""
    given = sys.argv[1:] if arguments is None else list(arguments)
    parsed = parser(given[0] if given else "").parse_args(given)
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
