"""The office's server process: one a data folder, many threads, one line of JSON a request."""

from __future__ import annotations

import logging
import signal
import sys
from pathlib import Path
from typing import NoReturn

from waitress.server import create_server

from kneewall.records.errors import FolderError
from kneewall.records.folder import DataFolder
from kneewall.web.app import LARGEST_REQUEST, create_app
from kneewall.web.request_log import log_to_stderr

_THREADS = 8


def serve(data: Path, database: str | None, *, host: str, port: int, behind_proxy: bool) -> None:
    """Serve until the process is told to end.

    Raises:
        FolderError: the folder is taken or cannot be used, or the address is.
    """
    log_to_stderr()
    held = DataFolder(data).lock()
    try:
        app = create_app(data, database, behind_proxy=behind_proxy)
        try:
            server = create_server(
                app,
                host=host,
                port=port,
                threads=_THREADS,
                ident="kneewall",
                max_request_body_size=LARGEST_REQUEST,
                clear_untrusted_proxy_headers=not behind_proxy,
                channel_timeout=60,
            )
        except OSError as error:
            raise FolderError(
                f"{host}:{port} cannot be listened on ({error.strerror}). Choose another --port."
            ) from None
        signal.signal(signal.SIGTERM, _end)
        address = f"http://{host}:{getattr(server, 'effective_port', port)}"
        logging.getLogger("kneewall").info("serving on %s", address)
        server.run()
    finally:
        held.close()


def _end(_signal: int, _frame: object) -> NoReturn:
    sys.exit(0)
