"""Planning a visit: site, system, members, kind of visit, day, checklists and whose it is."""

from __future__ import annotations

from datetime import date

from flask import redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from kneewall.bundle import Bundle
from kneewall.records import devices
from kneewall.records.chain import new_uuid
from kneewall.records.errors import EditionError, OfficeError
from kneewall.records.ledger import System
from kneewall.records.office import write
from kneewall.web.office.base import pages
from kneewall.web.office.visits import unseen
from kneewall.web.services import office

KINDS = {
    "install": "Install",
    "commissioning": "Commissioning",
    "maintenance": "Maintenance call",
    "fault": "Fault call",
}
MOST_MEMBERS = 12


class PlanError(OfficeError):
    """What keeps the plan from being written, as the form shows it."""


@pages.get("/plan")
def planning() -> str:
    return _form("")


@pages.post("/plan")
def plan() -> AnyResponse | tuple[str, int]:
    try:
        visit = _plan()
    except PlanError as error:
        return _form(str(error)), 422
    return redirect(url_for("office.one_visit", visit=visit))


def _form(wrong: str) -> str:
    bundle = _bundle()
    places = office().view.places()
    systems = [
        (places.sites[system.site].name if system.site in places.sites else "", system)
        for system in places.systems.values()
    ]
    return render_template(
        "plan.html",
        wrong=wrong,
        sites=sorted(places.sites.values(), key=lambda site: site.name.casefold()),
        systems=sorted(systems, key=lambda pair: (pair[0].casefold(), pair[1].label.casefold())),
        phones=[phone for phone in devices.phones(office().store) if not phone.revoked],
        kinds=KINDS,
        checklists=bundle.checklists if bundle else [],
        collections=bundle.collections if bundle else {},
        most=MOST_MEMBERS,
        form=request.form,
        today=date.today().isoformat(),  # noqa: DTZ011  the office's own day is meant
        unseen=unseen(),
    )


def _plan() -> str:
    title = _text("title", "Give the visit a title.")
    kind = request.form.get("kind", "")
    if kind not in KINDS:
        raise PlanError("Choose what kind of visit it is.")
    try:
        planned = date.fromisoformat(request.form.get("date", "")).isoformat()
    except ValueError:
        raise PlanError("Write the day as 2026-11-25.") from None
    to = request.form.get("to") or None
    if to and to not in {p.id for p in devices.phones(office().store) if not p.revoked}:
        raise PlanError("That phone is not enrolled any more. Choose another.")
    bundle = _bundle()
    known = {checklist.id for checklist in bundle.checklists} if bundle else set()
    checklists = [one for one in request.form.getlist("checklists") if one in known]
    members = _members(bundle)
    site, system = _place()
    _write_members(site, system, members)
    visit = new_uuid()
    place = {"site": site, "system": system, "visit": visit}
    body = {"title": title, "visit_kind": kind, "date": planned, "checklists": checklists}
    live = office().editions.live()
    edition = live.hash if live else None
    # First whose it is, so that a visit meant for one phone does not go to all.
    if to:
        write(office().store, "assigned", {"to": to}, edition=edition, **place)
    write(office().store, "visit-opened", body, edition=edition, **place)
    return visit


def _place() -> tuple[str, str]:
    """Site and system of the plan: ones that exist, or new ones."""
    places = office().view.places()
    chosen = request.form.get("system", "")
    if chosen:
        found = places.systems.get(chosen)
        if found is None:
            raise PlanError("That system is not in the list any more. Choose again.")
        return found.site, found.id
    site = request.form.get("site", "")
    if site and site not in places.sites:
        raise PlanError("That site is not in the list any more. Choose again.")
    name = "" if site else _text("site_name", "Choose a site, or name a new one.")
    label = _text("system_label", "Choose a system, or name a new one.")
    address = request.form.get("site_address", "").strip()[:500]
    if not site:
        site = new_uuid()
        write(office().store, "site-added", {"name": name, "address": address}, site=site)
    system = new_uuid()
    write(office().store, "system-added", {"label": label}, site=site, system=system)
    return site, system


def _members(bundle: Bundle | None) -> list[tuple[str, str]]:
    """(collection, label) of each member named, a line each."""
    found = []
    for collection in bundle.collections if bundle else ():
        labels = request.form.get(f"members_{collection}", "").splitlines()
        named = [label.strip() for label in labels if label.strip()]
        if len(named) > MOST_MEMBERS or any(len(label) > 100 for label in named):
            raise PlanError(f"Name at most {MOST_MEMBERS}, each with at most 100 characters.")
        found += [(collection, label) for label in named]
    return found


def _write_members(site: str, system: str, members: list[tuple[str, str]]) -> None:
    known: System | None = office().view.places().systems.get(system)
    have = {(m.collection, m.label.casefold()) for m in known.members} if known else set()
    for collection, label in members:
        if (collection, label.casefold()) not in have:
            have.add((collection, label.casefold()))
            body = {"collection": collection, "member": new_uuid(), "label": label}
            write(office().store, "member-added", body, site=site, system=system)


def _text(field: str, wanted: str) -> str:
    text = request.form.get(field, "").strip()
    if not 1 <= len(text) <= 200:
        raise PlanError(wanted)
    return text


def _bundle() -> Bundle | None:
    live = office().editions.live()
    if live is None:
        return None
    try:
        return office().editions.engine(live.hash)[0].bundle
    except EditionError:
        return None
