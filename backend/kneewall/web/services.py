"""What one running office consists of, at hand in every request."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import cast

from flask import current_app

from kneewall.records.editions import Editions
from kneewall.records.folder import DataFolder
from kneewall.records.intake import judge_received, rejudge_quarantined
from kneewall.records.photos import Photos
from kneewall.records.present import Summaries
from kneewall.records.store import Store
from kneewall.records.view import View
from kneewall.web.accounts import Accounts
from kneewall.web.api_models import PART_SIZE, PHOTO_BYTES
from kneewall.web.draft import Draft
from kneewall.web.limits import Limiter

EXTENSION = "kneewall"


@dataclass
class Office:
    folder: DataFolder
    store: Store
    editions: Editions
    draft: Draft
    photos: Photos
    view: View
    summaries: Summaries
    accounts: Accounts
    limiter: Limiter
    pepper: bytes

    @classmethod
    def open(cls, data: Path, database: str | None = None) -> Office:
        """Open the data folder and its database, and judge what a crash left unjudged.

        Raises:
            FolderError: the folder or the database cannot be used.
        """
        folder = DataFolder(data)
        store = Store.open(database or folder.database_url)
        judge_received(store)
        rejudge_quarantined(store)
        editions = Editions(store, folder)
        return cls(
            folder=folder,
            store=store,
            editions=editions,
            draft=Draft(folder),
            summaries=Summaries(editions),
            photos=Photos(store, folder, part_size=PART_SIZE, most_bytes=PHOTO_BYTES),
            view=View(store),
            accounts=Accounts(store),
            limiter=Limiter(),
            pepper=folder.secret("pepper"),
        )

    @property
    def name(self) -> str:
        with self.store.reading() as connection:
            return self.store.meta(connection, "office_name")

    @property
    def demo(self) -> tuple[str, str] | None:
        """Name and password to sign in with, of an office that only shows how it works."""
        with self.store.reading() as connection:
            person, _, password = self.store.known_meta(connection, "demo").partition(" ")
        return (person, password) if person else None

    @property
    def generation(self) -> str:
        with self.store.reading() as connection:
            return self.store.meta(connection, "store_generation")


def office() -> Office:
    return cast("Office", current_app.extensions[EXTENSION])
