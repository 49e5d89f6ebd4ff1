"""The handbook of an edition: every calculator with all it rests on, and the values to be confirmed."""

from __future__ import annotations

from flask import abort, render_template

from kneewall.tools.handbook import Handbook
from kneewall.tools.sources import worklist
from kneewall.web.office.base import pages
from kneewall.web.office.visits import unseen
from kneewall.web.services import office


def _live() -> Handbook | None:
    live = office().editions.live()
    return Handbook(office().editions.engine(live.hash)[0].bundle) if live else None


@pages.get("/handbook")
def handbook() -> str:
    return render_template("handbook.html", book=_live(), unseen=unseen())


@pages.get("/handbook/to-confirm")
def to_confirm() -> str:
    book = _live()
    found = book and worklist(book.bundle)
    return render_template("to_confirm.html", found=found, unseen=unseen())


@pages.get("/handbook/<name>")
def handbook_chapter(name: str) -> str:
    book = _live()
    chapter = book and book.chapter(name)
    if chapter is None:
        abort(404)
    return render_template("chapter.html", book=book, chapter=chapter, unseen=unseen())
