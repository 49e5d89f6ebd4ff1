"""Phones: enrolled with a code, watched for what they hold back, revoked. What they told."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import segno
import sqlalchemy as sa
from flask import g, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from kneewall.records import devices, heads
from kneewall.records.clock import now, stamp
from kneewall.records.devices import Phone
from kneewall.records.errors import DeviceError, OfficeError
from kneewall.records.schema import alarm, event
from kneewall.web.api_models import PhoneReport
from kneewall.web.office.base import must_be_uuid, pages
from kneewall.web.office.visits import unseen
from kneewall.web.services import office

SILENT = timedelta(days=7)


@dataclass(frozen=True)
class EpochLine:
    epoch: str
    held: int
    claimed: int | None
    holes: list[tuple[int, int]]


@dataclass(frozen=True)
class PhoneLine:
    phone: Phone
    report: PhoneReport | None
    edition: int | None
    epochs: list[EpochLine]
    missing_photos: int
    behind: int
    """Records the phone says it has and the office does not hold."""
    silent: bool


@pages.get("/phones")
def phone_list() -> str:
    return _page()


@pages.post("/phones/code")
def make_code() -> str:
    code = devices.make_code(office().store, office().pepper, g.sitting.person)
    picture = segno.make(code, error="m").svg_data_uri(
        scale=5, border=4, dark="#1c1a17", light="#ffffff", omitsize=False
    )
    return _page(code=f"{code[:5]}-{code[5:]}", picture=picture)


@pages.post("/name")
def name_office() -> AnyResponse:
    """What phones call the office they are enrolled at."""
    name = request.form.get("name", "").strip()
    if not 1 <= len(name) <= 80 or not name.isprintable():
        raise OfficeError("The office's name has 1 to 80 characters.")
    with office().store.writing() as connection:
        office().store.set_meta(connection, "office_name", name)
    return redirect(url_for("office.phone_list"))


@pages.get("/phones/<phone>/revoke")
def revoking(phone: str) -> str:
    return render_template("revoke.html", phone=_one(phone), unseen=unseen())


@pages.post("/phones/<phone>/revoke")
def revoke(phone: str) -> AnyResponse:
    devices.revoke(office().store, _one(phone).id)
    return redirect(url_for("office.phone_list"))


@pages.get("/told")
def told() -> str:
    """What phones told of themselves, and what the office noticed about them."""
    with office().store.reading() as connection:
        events = connection.execute(
            sa.select(event).order_by(event.c.received.desc()).limit(200)
        ).all()
        alarms = connection.execute(sa.select(alarm).order_by(alarm.c.id.desc()).limit(200)).all()
    return render_template(
        "told.html",
        events=events,
        alarms=alarms,
        names=devices.names(office().store),
        unseen=unseen(),
    )


@pages.post("/told/seen")
def seen() -> AnyResponse:
    with office().store.writing() as connection:
        connection.execute(sa.update(event).where(event.c.seen.is_(None)).values(seen=stamp()))
        connection.execute(sa.update(alarm).where(alarm.c.seen.is_(None)).values(seen=stamp()))
    return redirect(url_for("office.told"))


def _page(code: str = "", picture: str = "") -> str:
    return render_template(
        "phones.html",
        lines=[_line(phone) for phone in devices.phones(office().store)],
        code=code,
        picture=picture,
        address=request.host_url,
        unseen=unseen(),
    )


def _one(phone: str) -> Phone:
    must_be_uuid(phone)
    found = next((one for one in devices.phones(office().store) if one.id == phone), None)
    if found is None:
        raise DeviceError("There is no such phone.")
    return found


def _line(phone: Phone) -> PhoneLine:
    report = PhoneReport.model_validate_json(phone.report) if phone.report else None
    with office().store.reading() as connection:
        held = heads.all_held(connection, phone.id)
        claimed = heads.claims(connection, phone.id)
        missing = len(heads.missing_photos(connection, phone.id))
    epochs = [
        EpochLine(
            one.epoch,
            one.highest,
            claimed[one.epoch].seq if one.epoch in claimed else None,
            one.holes,
        )
        for one in held
    ]
    behind = sum(
        max(0, (one.claimed or 0) - one.held) + sum(b - a + 1 for a, b in one.holes)
        for one in epochs
    )
    silent = phone.last_contact is not None and phone.last_contact < stamp(now() - SILENT)
    edition = office().editions.number_of(report.edition) if report and report.edition else None
    return PhoneLine(phone, report, edition, epochs, missing, behind, silent)
