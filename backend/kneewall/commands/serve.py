"""`kneewall serve`: the office's pages, the phones' interface and the phone app."""

from __future__ import annotations

import argparse
from typing import Any

from kneewall.commands.place import add_place, data_of
from kneewall.records.errors import OfficeError
from kneewall.web.serve import serve


def register(subparsers: Any) -> None:
    parser = subparsers.add_parser("serve", help="run the office")
    add_place(parser)
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on (127.0.0.1)")
    parser.add_argument(
        "--port", type=int, default=8137, help="port to listen on (8137); 0: any free one"
    )
    parser.add_argument(
        "--behind-proxy",
        action="store_true",
        help="a reverse proxy stands before it and sends X-Forwarded-For, -Proto and -Host",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    if not 0 <= arguments.port <= 65535:
        raise OfficeError(f"--port {arguments.port}: a port is a number up to 65535.")
    serve(
        data_of(arguments),
        arguments.database,
        host=arguments.host,
        port=arguments.port,
        behind_proxy=arguments.behind_proxy,
    )
    return 0
