"""Sites and systems: what stands where, and merging two that are one."""

from __future__ import annotations

from flask import redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from kneewall.records.errors import OfficeError
from kneewall.records.office import write
from kneewall.web.office.base import pages
from kneewall.web.office.visits import unseen
from kneewall.web.services import office


class MergeError(OfficeError):
    """Why two places cannot be merged."""


@pages.get("/sites")
def site_list() -> str:
    ledger = office().view.places()
    systems: dict[str, list[object]] = {}
    for system in sorted(ledger.systems.values(), key=lambda one: one.label.casefold()):
        systems.setdefault(system.site, []).append(system)
    return render_template(
        "sites.html",
        sites=sorted(ledger.sites.values(), key=lambda one: one.name.casefold()),
        systems=systems,
        unseen=unseen(),
    )


@pages.post("/sites/merge")
def merge() -> AnyResponse:
    """Two sites, or two systems of one site, were added on two phones and are one."""
    ledger = office().view.places()
    sort = request.form.get("sort", "")
    keep, other = request.form.get("keep", ""), request.form.get("other", "")
    known = ledger.sites if sort == "site" else ledger.systems if sort == "system" else {}
    if keep not in known or other not in known or keep == other:
        raise MergeError("Choose two different ones of the list.")
    if sort == "site":
        place = {"site": keep}
    else:
        sites = {ledger.systems[one].site for one in (keep, other)}
        if len(sites) > 1:
            raise MergeError("The systems stand at two sites. If those are one, merge them first.")
        place = {"site": sites.pop(), "system": keep}
    write(office().store, "same-as", {"sort": sort, "keep": keep, "other": other}, **place)
    return redirect(url_for("office.site_list"))
