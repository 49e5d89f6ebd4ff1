"""`kneewall user add`: who may sign in at the office."""

from __future__ import annotations

import argparse
import getpass
import sys
from typing import Any

from kneewall.commands.place import add_place, open_place
from kneewall.records.errors import OfficeError
from kneewall.web.accounts import Accounts


def register(subparsers: Any) -> None:
    parser = subparsers.add_parser("user", help="people who may sign in at the office")
    actions = parser.add_subparsers(required=True, metavar="ACTION")
    adding = actions.add_parser("add", help="add a person, or give one a new password")
    adding.add_argument("name", metavar="NAME")
    add_place(adding)
    adding.add_argument(
        "--password-stdin",
        action="store_true",
        help="read the password from the first line of standard input instead of asking",
    )
    adding.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    _, store = open_place(arguments)
    password = sys.stdin.readline().rstrip("\r\n") if arguments.password_stdin else _asked()
    Accounts(store).add(arguments.name, password)
    store.close()
    print(f"{arguments.name} may sign in now")
    return 0


def _asked() -> str:
    if not sys.stdin.isatty():
        raise OfficeError("There is no terminal to ask for a password; use --password-stdin.")
    password = getpass.getpass("Password: ")
    if getpass.getpass("Again: ") != password:
        raise OfficeError("The two passwords differ; nothing was changed.")
    return password
