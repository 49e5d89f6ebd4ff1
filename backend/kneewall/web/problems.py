"""Errors as people and phones see them: one sentence on what is wrong, one on what to do.

A phone gets a `Problem` as JSON, a page a plain page. Whatever was not foreseen is logged with its
trace and shown without it.
"""

from __future__ import annotations

import logging

from flask import Flask, Response, jsonify, render_template, request
from werkzeug.exceptions import HTTPException

from kneewall.records.errors import OfficeError
from kneewall.web.api_models import Problem

log = logging.getLogger("kneewall.web")

_SAID = {
    400: ("The request cannot be read.", "Go back and try again."),
    403: ("This is not allowed.", "Go back and try again from the office's own pages."),
    404: ("There is nothing here.", "Check the address."),
    405: ("This address does not take that.", "Check the address."),
    413: ("This is too large.", "Send it in smaller parts."),
    415: ("This kind of content is not taken here.", "Send it as the interface says."),
    429: ("Too many at once.", "Wait a little and try again."),
    500: ("Something went wrong at the office.", "Try again later. The office's log says more."),
}


class ApiProblem(Exception):
    """Answered to a phone as a `Problem`."""

    def __init__(self, status: int, error: str, mend: str, retry_after: int | None = None) -> None:
        super().__init__(error)
        self.status = status
        self.error = error
        self.mend = mend
        self.retry_after = retry_after


def answer(status: int, error: str, mend: str, retry_after: int | None = None) -> Response:
    if request.path.startswith("/api/") or request.path == "/health":
        response = jsonify(Problem(error=error, mend=mend).model_dump())
    else:
        response = Response(
            render_template("problem.html", status=status, error=error, mend=mend),
            mimetype="text/html",
        )
    response.status_code = status
    if retry_after is not None:
        response.headers["Retry-After"] = str(retry_after)
    return response


def handle_problems(app: Flask) -> None:
    @app.errorhandler(ApiProblem)
    def problem(found: ApiProblem) -> Response:
        return answer(found.status, found.error, found.mend, found.retry_after)

    @app.errorhandler(OfficeError)
    def refused(found: OfficeError) -> Response:
        return answer(409, str(found), "Mend that and try again.")

    @app.errorhandler(HTTPException)
    def http(found: HTTPException) -> Response:
        status = found.code or 500
        if found.response is not None or 300 <= status < 400:
            return Response(found.get_body(), status, found.get_headers())
        error, mend = _SAID.get(status, _SAID[500 if status >= 500 else 400])
        return answer(status, error, mend)

    @app.errorhandler(Exception)
    def unforeseen(found: Exception) -> Response:
        log.error("unforeseen at %s %s", request.method, request.path, exc_info=found)
        return answer(500, *_SAID[500])
