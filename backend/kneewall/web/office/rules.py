"""Rules: the editions ever published, and which one is live."""

from __future__ import annotations

from flask import Blueprint, Response, abort, render_template

from kneewall.records.errors import EditionError
from kneewall.web.office.visits import unseen
from kneewall.web.services import office


def add_to(pages: Blueprint) -> None:
    pages.add_url_rule("/rules", view_func=rule_list)
    pages.add_url_rule("/rules/<digest>.json", view_func=bundle)


def rule_list() -> str:
    return render_template("rules.html", editions=office().editions.all(), unseen=unseen())


def bundle(digest: str) -> Response:
    try:
        raw = office().editions.raw(digest)
    except EditionError:
        abort(404)
    response = Response(raw, mimetype="application/json")
    response.headers["Content-Disposition"] = f'attachment; filename="edition-{digest[:12]}.json"'
    return response
