"""Rules: the editions ever published, and which one is live."""

from __future__ import annotations

from flask import Response, abort, render_template

from kneewall.records.errors import EditionError
from kneewall.web.office.base import pages
from kneewall.web.office.visits import unseen
from kneewall.web.services import office


@pages.get("/rules")
def rule_list() -> str:
    return render_template("rules.html", editions=office().editions.all(), unseen=unseen())


@pages.get("/rules/<digest>.json")
def bundle(digest: str) -> Response:
    try:
        raw = office().editions.raw(digest)
    except EditionError:
        abort(404)
    response = Response(raw, mimetype="application/json")
    response.headers["Content-Disposition"] = f'attachment; filename="edition-{digest[:12]}.json"'
    return response
