"""Phones: enrolled by a short code, known by a token, revoked by the office."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import uuid
from dataclasses import dataclass
from datetime import timedelta

import sqlalchemy as sa

from kneewall.records.clock import now, stamp
from kneewall.records.errors import DeviceError
from kneewall.records.feed import begin_feed
from kneewall.records.schema import AnyRow, device, enrolment
from kneewall.records.store import Store

CODE_LIFE = timedelta(minutes=10)
CODE_TRIES = 5
_LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Without those that are misread for one another."""
_SELECTOR = 3
_LENGTH = 10


@dataclass(frozen=True)
class Phone:
    id: str
    name: str
    enrolled: str
    revoked: str | None
    last_contact: str | None
    report: str | None


class CodeError(DeviceError):
    """The code is wrong, used, too old, or was tried too often; which one is not told."""


def make_code(store: Store, pepper: bytes, made_by: str) -> str:
    """A one-time enrolment code of ten characters. Only a keyed hash of it is kept.

    The first three find it, the other seven (about 34 bits) prove it: with five tries in ten
    minutes that is enough.
    """
    with store.writing() as connection:
        connection.execute(sa.delete(enrolment).where(enrolment.c.expires < stamp()))
        taken = set(connection.execute(sa.select(enrolment.c.selector)).scalars())
        code = _random_code()
        while code[:_SELECTOR] in taken:
            code = _random_code()
        connection.execute(
            sa.insert(enrolment).values(
                selector=code[:_SELECTOR],
                code_hash=_keyed(pepper, code),
                made_by=made_by,
                expires=stamp(now() + CODE_LIFE),
                tries=0,
            )
        )
    return code


def enrol(store: Store, pepper: bytes, code: str, name: str) -> tuple[str, str]:
    """Use a code up. Returns the new device's id and its token, which is kept as a hash alone.

    Raises:
        CodeError: the code does not serve.
    """
    typed = "".join(sign for sign in code.upper() if sign.isalnum())
    token = secrets.token_urlsafe(32)
    phone = str(uuid.uuid4())
    with store.writing() as connection:
        row = connection.execute(
            sa.select(enrolment).where(
                enrolment.c.selector == typed[:_SELECTOR],
                enrolment.c.used_by.is_(None),
                enrolment.c.expires >= stamp(),
                enrolment.c.tries < CODE_TRIES,
            )
        ).first()
        right = row is not None and hmac.compare_digest(row.code_hash, _keyed(pepper, typed))
        if row is not None:
            connection.execute(
                sa.update(enrolment)
                .where(enrolment.c.selector == row.selector)
                .values(tries=row.tries + 1, used_by=phone if right else None)
            )
        if right:
            connection.execute(
                sa.insert(device).values(
                    id=phone,
                    sort="phone",
                    name=name,
                    token_hash=_token_hash(token),
                    enrolled=stamp(),
                    last_contact=stamp(),
                )
            )
            begin_feed(connection, phone)
    if not right:
        raise CodeError("The code is wrong, used or too old.")
    return phone, token


def by_token(store: Store, token: str) -> Phone | None:
    with store.reading() as connection:
        row = connection.execute(
            sa.select(device).where(device.c.token_hash == _token_hash(token))
        ).first()
    return _phone(row) if row else None


def phones(store: Store) -> list[Phone]:
    with store.reading() as connection:
        rows = connection.execute(
            sa.select(device).where(device.c.sort == "phone").order_by(device.c.enrolled)
        ).all()
    return [_phone(row) for row in rows]


def names(store: Store) -> dict[str, str]:
    """Names of all devices by id, the office too."""
    with store.reading() as connection:
        rows = connection.execute(sa.select(device.c.id, device.c.name)).all()
    return {row.id: row.name for row in rows}


def note_contact(store: Store, phone: str, report: str | None = None) -> None:
    values = {"last_contact": stamp()} | ({"report": report} if report is not None else {})
    with store.writing() as connection:
        connection.execute(sa.update(device).where(device.c.id == phone).values(**values))


def revoke(store: Store, phone: str) -> None:
    """The phone gets nothing more; what it still delivers goes to quarantine."""
    with store.writing() as connection:
        changed = connection.execute(
            sa.update(device)
            .where(device.c.id == phone, device.c.sort == "phone", device.c.revoked.is_(None))
            .values(revoked=stamp())
        ).rowcount
    if not changed:
        raise DeviceError("There is no such phone, or it was revoked before.")


def _phone(row: AnyRow) -> Phone:
    return Phone(row.id, row.name, row.enrolled, row.revoked, row.last_contact, row.report)


def _random_code() -> str:
    return "".join(secrets.choice(_LETTERS) for _ in range(_LENGTH))


def _keyed(pepper: bytes, code: str) -> str:
    return hmac.new(pepper, code.encode(), hashlib.sha256).hexdigest()


def _token_hash(token: str) -> str:
    # 256 random bits need no slow hash.
    return hashlib.sha256(token.encode()).hexdigest()
