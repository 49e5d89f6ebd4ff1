"""One line of JSON on stderr for each request, without anything secret: no query, body or token."""

from __future__ import annotations

import json
import logging
import sys
import time

from flask import Flask, Response, g, request

from kneewall.records.clock import stamp


class _JsonLines(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        entry: dict[str, object] = {
            "time": stamp(),
            "level": record.levelname.lower(),
            "from": record.name,
            "says": record.getMessage(),
        }
        entry |= getattr(record, "fields", {})
        if record.exc_info:
            entry["trace"] = self.formatException(record.exc_info)
        return json.dumps(entry, ensure_ascii=False)


def log_to_stderr() -> None:
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_JsonLines())
    root = logging.getLogger("kneewall")
    root.handlers = [handler]
    root.setLevel(logging.INFO)
    root.propagate = False


def log_requests(app: Flask) -> None:
    log = logging.getLogger("kneewall.request")

    @app.before_request
    def begin() -> None:
        g.began = time.monotonic()

    @app.after_request
    def end(response: Response) -> Response:
        fields: dict[str, object] = {
            "method": request.method,
            "path": request.path[:300],
            "status": response.status_code,
            "ms": round((time.monotonic() - g.get("began", time.monotonic())) * 1000, 1),
            "address": request.remote_addr,
        }
        if "phone" in g:
            fields["device"] = g.phone.id
        if g.get("sitting") is not None:
            fields["person"] = g.sitting.person
        log.info("request", extra={"fields": fields})
        return response
