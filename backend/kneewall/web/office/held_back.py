"""Held back: lines the office could not take as they are, and records from a phone's file."""

from __future__ import annotations

from flask import redirect, render_template, request, url_for
from sqlalchemy import select
from werkzeug.wrappers import Response as AnyResponse

from kneewall.records import devices, intake
from kneewall.records.intake import BY_IMPORT
from kneewall.records.schema import line
from kneewall.web.office.base import pages
from kneewall.web.office.visits import unseen
from kneewall.web.services import office

SHOWN = 200
BATCH = 500
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
    """Read in a file of records that a phone handed over. Twice changes nothing."""
    file = request.files.get("file")
    lines = intake.split_lines(file.read()) if file else []
    if not lines:
        return _page("Choose the file of records that the phone handed over."), 422
    counts = {"stored": 0, "duplicate": 0, "quarantined": 0}
    for start in range(0, len(lines), BATCH):
        for one in intake.take_in(office().store, lines[start : start + BATCH], BY_IMPORT):
            counts[one.status] += 1
    return _page(
        f"{len(lines)} lines read: {counts['stored']} new, {counts['duplicate']} held before, "
        f"{counts['quarantined']} held back."
    )


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
