"""Rules: the editions ever published, the draft, what either would change, publishing and going back."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Response, abort, g, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from kneewall import __version__
from kneewall.bundle import Bundle
from kneewall.compiler import failures
from kneewall.records.effect import Effect, effect
from kneewall.records.errors import EditionError
from kneewall.tools.compare import Comparison, compare
from kneewall.web.draft import DraftError, Made
from kneewall.web.office.base import pages
from kneewall.web.office.visits import unseen
from kneewall.web.services import office

MOST_VISITS = 100


@dataclass(frozen=True)
class Candidate:
    """Rules that might become the live edition, beside the live one."""

    bundle: Bundle
    comparison: Comparison | None
    """None while nothing is published."""
    effect: Effect | None


@pages.get("/rules")
def rule_list() -> str:
    draft = office().draft
    return render_template(
        "rules.html",
        editions=office().editions.all(),
        packs=draft.packs(),
        begun=draft.begun,
        unseen=unseen(),
    )


@pages.get("/rules/<digest>.json")
def bundle(digest: str) -> Response:
    try:
        raw = office().editions.raw(digest)
    except EditionError:
        abort(404)
    response = Response(raw, mimetype="application/json")
    response.headers["Content-Disposition"] = f'attachment; filename="edition-{digest[:12]}.json"'
    return response


# --- the draft ---------------------------------------------------------------------------------


@pages.get("/rules/draft")
def draft() -> str:
    return _draft_page("")


@pages.post("/rules/draft/publish")
def publish_draft() -> AnyResponse | tuple[str, int]:
    """Publish what was looked at: nothing, when the draft has changed since."""
    made = office().draft.made()
    if made.bundle is None:
        return _draft_page("The draft does not compile; nothing was published."), 422
    if made.bundle.hash != request.form.get("looked_at"):
        return _draft_page("The draft has changed since you looked. Look at it again."), 409
    try:
        _publish(made.bundle.raw)
    except EditionError as error:
        return _draft_page(str(error)), 422
    office().draft.settle()
    return redirect(url_for("office.rule_list"))


@pages.post("/rules/draft/drop")
def drop_draft() -> AnyResponse:
    office().draft.drop()
    return redirect(url_for("office.draft"))


def _draft_page(wrong: str) -> str:
    draft = office().draft
    made = draft.made()
    return render_template(
        "draft.html",
        packs=draft.packs(),
        begun=draft.begun,
        files=draft.files(),
        faults=made.faults,
        warnings=draft.warnings(made),
        tables=_tables(made.bundle),
        candidate=_candidate(made),
        live=office().editions.live(),
        wrong=wrong,
        note=request.form.get("note", ""),
        most=MOST_VISITS,
        unseen=unseen(),
    )


def _tables(bundle: Bundle | None) -> list[tuple[str, str]]:
    """Tables that the house pack may add rows to, by label."""
    tables = bundle.tables if bundle else []
    return sorted(
        ((one.id, one.label or one.id) for one in tables), key=lambda one: one[1].casefold()
    )


# --- going back --------------------------------------------------------------------------------


@pages.get("/rules/<digest>/again")
def again(digest: str) -> str:
    return _again_page(digest, "")


@pages.post("/rules/<digest>/again")
def publish_again(digest: str) -> AnyResponse | tuple[str, int]:
    """The bytes of an older edition under a new number."""
    try:
        _publish(office().editions.raw(digest))
    except EditionError as error:
        return _again_page(digest, str(error)), 422
    return redirect(url_for("office.rule_list"))


def _again_page(digest: str, wrong: str) -> str:
    editions = office().editions
    number = editions.number_of(digest)
    if number is None:
        abort(404)
    engine, lock = editions.engine(digest)
    return render_template(
        "again.html",
        number=number,
        digest=digest,
        candidate=_candidate(Made(engine, [], lock=lock)),
        live=editions.live(),
        wrong=wrong,
        note=request.form.get("note", f"Back to edition {number}"),
        most=MOST_VISITS,
        unseen=unseen(),
    )


# --- both --------------------------------------------------------------------------------------


def _publish(raw: bytes) -> None:
    office().editions.publish(
        raw,
        author=g.sitting.person,
        note=request.form.get("note", "")[:2000],
        least_app=__version__,
        prove=lambda bundle: [line for _, line in failures(bundle)],
    )


def _candidate(made: Made) -> Candidate | None:
    """What publishing would change; None where there is nothing to publish."""
    if made.engine is None:
        return None
    here = office()
    live = here.editions.live()
    after = made.engine.bundle
    if live is None:
        return Candidate(after, None, None)
    try:
        before = here.editions.engine(live.hash)[0].bundle
    except EditionError as error:
        raise DraftError(f"The live edition cannot be compared with: {error}") from None
    found = compare(before, after)
    if not found.changes:
        return Candidate(after, found, None)
    changed = effect(here.view, here.editions, live.hash, made.engine, made.lock, MOST_VISITS)
    return Candidate(after, found, changed)
