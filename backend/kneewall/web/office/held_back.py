"""Held back: lines the office could not take as they are, and records from a phone's file."""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence

from flask import redirect, render_template, request, url_for
from sqlalchemy import select
from werkzeug.wrappers import Response as AnyResponse

from kneewall.records import devices, intake
from kneewall.records.errors import PhotoError
from kneewall.records.intake import BY_IMPORT
from kneewall.records.schema import line
from kneewall.web.office.base import pages
from kneewall.web.office.visits import unseen
from kneewall.web.services import office

SHOWN = 200
BATCH = 500
PHOTO = b'{"photo":'
"""What a phone's file has at the beginning of a line that holds a photo."""
ACCEPTABLE = ("unknown-device", "other-device", "revoked", "fault", "not-understood")


@pages.get("/held-back")
def held_back() -> str:
    return _page("")


@pages.post("/held-back/accept")
def accept() -> AnyResponse | str:
    """Take what was held back only for who brought it; try the rest again."""
    chosen = [int(pos) for pos in request.form.getlist("pos") if pos.isdecimal()][:1000]
    stay = intake.accept(office().store, chosen)
    if stay:
        return _page(f"{len(chosen) - len(stay)} taken, {len(stay)} stay here: {stay[0][1]}")
    return redirect(url_for("office.held_back"))


@pages.post("/held-back/import")
def take_file() -> str | tuple[str, int]:
    """Read in a file of records and photos that a phone handed over. Twice changes nothing."""
    file = request.files.get("file")
    lines = intake.split_lines(file.read()) if file else []
    if not lines:
        return _page("Choose the file of records that the phone handed over."), 422
    records = [one for one in lines if not one.startswith(PHOTO)]
    counts = {"stored": 0, "duplicate": 0, "quarantined": 0}
    for start in range(0, len(records), BATCH):
        for one in intake.take_in(office().store, records[start : start + BATCH], BY_IMPORT):
            counts[one.status] += 1
    said = (
        f"{len(records)} lines read: {counts['stored']} new, {counts['duplicate']} held before, "
        f"{counts['quarantined']} held back."
    )
    photos = [one for one in lines if one.startswith(PHOTO)]
    return _page(f"{said} {_take_photos(photos)}" if photos else said)


def _take_photos(lines: Sequence[bytes]) -> str:
    """Keep the photos of a file, each named by the hash of its bytes. Returns what came of it."""
    held, faults = 0, []
    for raw in lines:
        try:
            photo = json.loads(raw)
            digest, content = photo["photo"], base64.b64decode(photo["base64"], validate=True)
            if office().photos.held(digest):
                held += 1
            else:
                office().photos.put(digest, content, BY_IMPORT, photo["mime"])
        except (ValueError, KeyError, TypeError):
            faults.append("The line is cut off or damaged. Let the phone make the file again.")
        except PhotoError as fault:
            faults.append(str(fault))
    new = len(lines) - held - len(faults)
    counted = f"{len(lines)} photos read: {new} new, {held} held before, {len(faults)} not taken."
    return " ".join([counted, *dict.fromkeys(faults)])


def _page(said: str) -> str:
    with office().store.reading() as connection:
        rows = connection.execute(
            select(line)
            .where(line.c.state == "quarantined")
            .order_by(line.c.pos.desc())
            .limit(SHOWN)
        ).all()
    return render_template(
        "held_back.html",
        rows=[(row, row.raw[:2000].decode("utf-8", "backslashreplace")) for row in rows],
        names=devices.names(office().store) | {BY_IMPORT: "a file"},
        acceptable=ACCEPTABLE,
        shown=SHOWN,
        said=said,
        unseen=unseen(),
    )
