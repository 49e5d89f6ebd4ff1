"""Visits: the list, one visit with everything recorded on it, and what the office may add."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Response, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from kneewall.records import devices, heads
from kneewall.records.drawing import Box, lay_out
from kneewall.records.editions import Publication
from kneewall.records.errors import EditionError, OfficeError
from kneewall.records.ledger import Ledger, Visit
from kneewall.records.office import write
from kneewall.records.photos import sort_of
from kneewall.records.plots import Plotter
from kneewall.records.present import Summary, look_at
from kneewall.web.office.base import must_be_uuid, pages
from kneewall.web.services import office

PER_PAGE = 40
CHART = Box(width=600, height=240, letter=7.6, line=17)
"""px, at the size of a page's notes."""


@dataclass(frozen=True)
class VisitLine:
    visit: Visit
    site: str
    system: str
    who: str
    last: str
    summary: Summary


@pages.get("/")
def home() -> AnyResponse | str:
    """The list of visits; in a demo what to try first."""
    if office().demo:
        return render_template("demo.html", unseen=unseen(), phone=request.host_url)
    return redirect(url_for("office.visit_list"))


@pages.get("/visits")
def visit_list() -> str:
    return render_template("visits.html", **_list())


@pages.get("/visits/<visit>")
def one_visit(visit: str) -> str:
    ledger, found = _find(visit)
    wanted = request.args.get("edition")
    editions = office().editions
    trouble = ""
    page = None
    try:
        page = look_at(editions, ledger, found, wanted)
    except EditionError as error:
        trouble = str(error)
    names = devices.names(office().store)
    raw = office().view.raw_of_visit(visit)
    return render_template(
        "visit.html",
        **_list(),
        visit=found,
        site=ledger.sites.get(found.site),
        system=ledger.systems.get(found.system),
        page=page,
        trouble=trouble,
        names=names,
        raw=raw,
        phones=[phone for phone in devices.phones(office().store) if not phone.revoked],
        held_photos={k.body.photo for k in found.photos if office().photos.held(k.body.photo)},
        edition=_edition(page.found.edition if page else found.edition),
        other_editions=editions.all(),
        over_visits=[
            (plot, lay_out(plot, CHART)) for _, plot in Plotter(page, editions).over_visits()
        ]
        if page
        else [],
    )


@pages.get("/visits/<visit>/records.jsonl")
def visit_records(visit: str) -> Response:
    _find(visit)
    lines = b"".join(one.raw + b"\n" for one in office().view.raw_of_visit(visit))
    response = Response(lines, mimetype="application/x-ndjson")
    response.headers["Content-Disposition"] = f'attachment; filename="visit-{visit}.jsonl"'
    return response


@pages.get("/visits/<visit>/report.pdf")
def visit_report(visit: str) -> Response:
    # Its fonts are loaded with it, and few requests ask for it.
    from kneewall.records.report import as_pdf, report_of

    ledger, found = _find(visit)
    here = office()
    report = report_of(
        ledger, found, here.editions, here.folder, devices.names(here.store), here.name
    )
    response = Response(as_pdf(report), mimetype="application/pdf")
    response.headers["Content-Disposition"] = f'inline; filename="visit-{visit[:8]}.pdf"'
    return response


@pages.post("/visits/<visit>/comment")
def comment(visit: str) -> AnyResponse:
    _, found = _find(visit)
    text = request.form.get("text", "").strip()
    if text:
        write(office().store, "commented", {"text": text[:10_000]}, **_place(visit))
    return redirect(url_for("office.one_visit", visit=found.id) + "#comments")


@pages.post("/visits/<visit>/void")
def void(visit: str) -> AnyResponse:
    """Take a record of this visit out, so that it counts no longer; it stays kept."""
    _, found = _find(visit)
    record = request.form.get("record", "")
    reason = request.form.get("reason", "").strip()[:1000]
    known = {one.record.id for one in office().view.raw_of_visit(visit)}
    if record not in known or not reason:
        raise OfficeError("Say why the record is taken out.")
    write(office().store, "voided", {"record": record, "reason": reason}, **_place(visit))
    return redirect(url_for("office.one_visit", visit=found.id) + "#readings")


@pages.post("/visits/<visit>/assign")
def assign(visit: str) -> AnyResponse:
    _, found = _find(visit)
    to = request.form.get("to") or None
    if to is not None:
        _must_be_phone(to)
    if to != found.assigned_to:
        write(office().store, "assigned", {"to": to}, **_place(visit))
    return redirect(url_for("office.one_visit", visit=found.id))


@pages.get("/photos/<digest>")
def photo(digest: str) -> Response:
    mime = office().photos.held(digest)
    if mime is None:
        abort(404)
    content = office().photos.read(digest)
    response = Response(content, mimetype=sort_of(content) or "application/octet-stream")
    shown = "inline" if mime != "image/heic" else "attachment"
    ending = mime.partition("/")[2]
    response.headers["Content-Disposition"] = f'{shown}; filename="{digest[:16]}.{ending}"'
    response.headers["Cache-Control"] = "private, max-age=31536000, immutable"
    return response


def _find(visit: str) -> tuple[Ledger, Visit]:
    found = office().view.of_visit(must_be_uuid(visit))
    if found is None:
        abort(404)
    return found[1], found[1].visits[visit]


def _place(visit: str) -> dict[str, str]:
    """Site and system as the visit's own records name them, not as merged since."""
    first = office().view.raw_of_visit(visit)[0].record
    assert first.site is not None
    assert first.system is not None
    return {"site": first.site, "system": first.system, "visit": visit}


def _must_be_phone(device: str) -> None:
    if device not in {phone.id for phone in devices.phones(office().store) if not phone.revoked}:
        abort(404)


def _edition(digest: str | None) -> Publication | None:
    return next((one for one in office().editions.all() if one.hash == digest), None)


def _list() -> dict[str, object]:
    """The list beside every visit: the page asked for, of the sites searched for."""
    view, names = office().view, devices.names(office().store)
    search = request.args.get("search", "").strip()[:100]
    start = request.args.get("from", "0")
    offset = int(start) if start.isdecimal() and len(start) < 8 else 0
    places = view.places()
    sites = None
    if search:
        wanted = search.casefold()
        sites = [
            one
            for site in places.sites.values()
            if wanted in f"{site.name} {site.address}".casefold()
            for one in (site.id, *site.also)
        ]
    rows = view.visit_rows(PER_PAGE + 1, offset, sites)
    lines = []
    for row in rows[:PER_PAGE]:
        version, ledger = view.of_site(row.site)
        visit = ledger.visits.get(row.visit)
        if visit is None:
            continue
        site, system = ledger.sites.get(visit.site), ledger.systems.get(visit.system)
        who = visit.devices[-1] if visit.devices else visit.assigned_to
        lines.append(
            VisitLine(
                visit,
                site.name if site and site.name else "Site without a name",
                system.label if system else "",
                names.get(who, who[:8]) if who else "any phone",
                row.received,
                office().summaries.of(version, ledger, visit),
            )
        )
    return {
        "lines": lines,
        "search": search,
        "offset": offset,
        "more": len(rows) > PER_PAGE,
        "per_page": PER_PAGE,
        "unseen": unseen(),
    }


def unseen() -> dict[str, int]:
    """How much waits for somebody at the office to look at it."""
    with office().store.reading() as connection:
        return heads.unseen(connection)
