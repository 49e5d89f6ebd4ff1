"""The office's pages: made on the server, without script, in the look of the phone's field book."""

from __future__ import annotations

from typing import Any

from flask import (
    Flask,
    Response,
    g,
    redirect,
    request,
    send_from_directory,
    url_for,
)
from werkzeug.wrappers import Response as AnyResponse

from kneewall.web import guard
from kneewall.web.accounts import same_token
from kneewall.web.draft import LARGEST
from kneewall.web.grid import MOST_CELLS
from kneewall.web.office import (
    handbook,
    held_back,
    phones,
    places,
    planning,
    rule_files,
    rules,
    sign_in,
    visits,
)
from kneewall.web.office.base import pages
from kneewall.web.problems import answer
from kneewall.web.services import office

# Importing the modules puts their pages on the blueprint.
__all__ = [
    "handbook",
    "held_back",
    "phones",
    "places",
    "planning",
    "register_pages",
    "rule_files",
    "rules",
    "sign_in",
    "visits",
]

_OPEN = {"office.signing_in", "office.sign_in", "office.stylesheet", "office.theme"}

_UNDER = {
    "office.again": "office.rule_list",
    "office.draft": "office.rule_list",
    "office.handbook_chapter": "office.handbook",
    "office.keep_file": "office.rule_list",
    "office.one_visit": "office.visit_list",
    "office.publish_again": "office.rule_list",
    "office.publish_draft": "office.rule_list",
    "office.revoking": "office.phone_list",
    "office.rule_file": "office.rule_list",
    "office.to_confirm": "office.handbook",
}
"""Pages that belong to a place of the strip, and the place."""


def register_pages(app: Flask) -> None:
    app.register_blueprint(pages)


@pages.get("/office.css")
def stylesheet() -> Response:
    response = send_from_directory(str(pages.root_path) + "/../static", "office.css")
    response.headers["Cache-Control"] = "no-cache"
    return response


@pages.before_request
def only_who_signed_in() -> AnyResponse | None:
    """A sitting for every page but the sign-in; from our own pages for every change."""
    token = request.cookies.get(sign_in.cookie_name(), "")
    g.sitting = office().accounts.sitting(token) if token else None
    if request.endpoint == "office.keep_file":
        request.max_form_parts = MOST_CELLS + 100
        request.max_form_memory_size = 4 * LARGEST
    if request.method == "POST":
        said = request.form.get("form_token", "")
        if guard.from_elsewhere() or (
            g.sitting is not None and not same_token(said, g.sitting.form_token)
        ):
            return answer(
                403,
                "This form does not come from the office's own pages, or is too old.",
                "Open the page again and send it from there.",
            )
    if g.sitting is None and request.endpoint not in _OPEN:
        back = request.full_path.rstrip("?") if request.method == "GET" else None
        return redirect(url_for("office.signing_in", back=back))
    return None


@pages.app_context_processor
def always() -> dict[str, Any]:
    return {
        "sitting": g.get("sitting"),
        "office_name": office().name,
        "demo": office().demo,
        "theme": request.cookies.get("theme", "auto"),
        "here": _UNDER.get(request.endpoint or "", request.endpoint),
    }
