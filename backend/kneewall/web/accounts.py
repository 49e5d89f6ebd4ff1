"""People at the office: passwords by Argon2, sittings by an opaque token kept as a hash."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache

import sqlalchemy as sa
from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

from kneewall.records.clock import now, stamp
from kneewall.records.errors import OfficeError
from kneewall.records.schema import person, sitting
from kneewall.records.store import Store

IDLE = timedelta(hours=12)
LONGEST = timedelta(days=7)
LEAST_PASSWORD = 12
MOST_PASSWORD = 200


@dataclass(frozen=True)
class Sitting:
    person: str
    form_token: str
    token_hash: str


class Accounts:
    def __init__(self, store: Store) -> None:
        self.store = store
        self._hasher = PasswordHasher()

    def add(self, name: str, password: str) -> None:
        """Add a person, or give one a new password, which ends that person's sittings.

        Raises:
            OfficeError: the name or the password will not do.
        """
        name = name.strip()
        if not 1 <= len(name) <= 100 or not name.isprintable():
            raise OfficeError("A name has 1 to 100 printable characters.")
        if not LEAST_PASSWORD <= len(password) <= MOST_PASSWORD:
            raise OfficeError(
                f"A password has {LEAST_PASSWORD} to {MOST_PASSWORD} characters. "
                "Several words in a row do well."
            )
        hashed = self._hasher.hash(password)
        with self.store.writing() as connection:
            known = sa.update(person).where(person.c.name == name)
            if connection.execute(known.values(password_hash=hashed, barred=False)).rowcount:
                connection.execute(sa.delete(sitting).where(sitting.c.person == name))
            else:
                connection.execute(
                    sa.insert(person).values(
                        name=name, password_hash=hashed, added=stamp(), barred=False
                    )
                )

    def any(self) -> bool:
        with self.store.reading() as connection:
            return connection.execute(sa.select(person.c.name).limit(1)).first() is not None

    def sign_in(self, name: str, password: str) -> str | None:
        """The token of a new sitting, or None when name and password do not fit."""
        with self.store.reading() as connection:
            found = connection.execute(
                sa.select(person.c.password_hash).where(
                    person.c.name == name.strip(), person.c.barred.is_(False)
                )
            ).scalar()
        try:
            self._hasher.verify(found or _nobody(), password[:MOST_PASSWORD])
        except (Argon2Error, InvalidHashError):
            return None
        if found is None:
            return None
        token = secrets.token_urlsafe(32)
        with self.store.writing() as connection:
            oldest = stamp(now() - LONGEST)
            connection.execute(sa.delete(sitting).where(sitting.c.began < oldest))
            connection.execute(
                sa.insert(sitting).values(
                    token_hash=_hash(token),
                    person=name.strip(),
                    form_token=secrets.token_urlsafe(24),
                    began=stamp(),
                    last_used=stamp(),
                )
            )
        return token

    def sitting(self, token: str) -> Sitting | None:
        """The sitting of a token that is still good; using it keeps it so."""
        with self.store.reading() as connection:
            row = connection.execute(
                sa.select(sitting).where(sitting.c.token_hash == _hash(token))
            ).first()
        if row is None:
            return None
        moment = now()
        last_used = datetime.fromisoformat(row.last_used)
        if moment - last_used > IDLE or moment - datetime.fromisoformat(row.began) > LONGEST:
            self._end(row.token_hash)
            return None
        if moment - last_used > timedelta(minutes=5):
            with self.store.writing() as connection:
                connection.execute(
                    sa.update(sitting)
                    .where(sitting.c.token_hash == row.token_hash)
                    .values(last_used=stamp(moment))
                )
        return Sitting(row.person, row.form_token, row.token_hash)

    def sign_out(self, current: Sitting) -> None:
        self._end(current.token_hash)

    def _end(self, token_hash: str) -> None:
        with self.store.writing() as connection:
            connection.execute(sa.delete(sitting).where(sitting.c.token_hash == token_hash))


@cache
def _nobody() -> str:
    """Checked when the name is unknown, so that both cases take the same time."""
    return PasswordHasher().hash(secrets.token_urlsafe(16))


def same_token(one: str, other: str) -> bool:
    return hmac.compare_digest(one.encode(), other.encode())


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
