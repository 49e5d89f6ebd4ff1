"""Signing in and out, and the theme."""

from __future__ import annotations

from flask import Response, g, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from kneewall.web.office.base import pages
from kneewall.web.problems import answer
from kneewall.web.services import office

_TRIES = 20
_TRIES_S = 600
THEMES = ("auto", "sun", "attic")


def cookie_name() -> str:
    # A __Host- cookie must be secure; a plain one serves on localhost.
    return "__Host-kneewall" if request.is_secure else "kneewall"


@pages.get("/sign-in")
def signing_in() -> AnyResponse | str:
    if g.sitting is not None:
        return redirect(url_for("office.visit_list"))
    return render_template("sign_in.html", someone=office().accounts.any(), wrong=False)


@pages.post("/sign-in")
def sign_in() -> AnyResponse:
    name = request.form.get("name", "")[:200]
    limiter = office().limiter
    wait = limiter.wait(f"sign-in {request.remote_addr}", _TRIES, _TRIES_S) or limiter.wait(
        f"sign-in of {name.casefold()}", _TRIES, _TRIES_S
    )
    if wait:
        return answer(
            429, "Too many tries.", f"Wait {wait} seconds and try again.", retry_after=wait
        )
    token = office().accounts.sign_in(name, request.form.get("password", ""))
    if token is None:
        page = render_template("sign_in.html", someone=office().accounts.any(), wrong=True)
        return Response(page, 401)
    back = request.form.get("back", "")
    first = "office.home" if office().demo else "office.visit_list"
    response = redirect(back if _ours(back) else url_for(first))
    response.set_cookie(
        cookie_name(), token, httponly=True, secure=request.is_secure, samesite="Strict", path="/"
    )
    return response


def _ours(address: str) -> bool:
    return address.startswith("/office/") and "\\" not in address and "//" not in address


@pages.post("/sign-out")
def sign_out() -> AnyResponse:
    office().accounts.sign_out(g.sitting)
    response = redirect(url_for("office.signing_in"))
    response.delete_cookie(cookie_name(), path="/")
    return response


@pages.post("/theme")
def theme() -> AnyResponse:
    wanted = request.form.get("theme", "auto")
    back = request.form.get("back", "")
    response = redirect(back if _ours(back) else url_for("office.visit_list"))
    response.set_cookie(
        "theme",
        wanted if wanted in THEMES else "auto",
        max_age=31536000,
        httponly=True,
        secure=request.is_secure,
        samesite="Strict",
        path="/office",
    )
    return response
