"""What the office's pages share."""

from __future__ import annotations

import re

from flask import Blueprint, abort

from kneewall.records.wording import day, moment, seconds

pages = Blueprint("office", __name__, url_prefix="/office")

UUID = re.compile(r"^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$")


def must_be_uuid(text: str) -> str:
    if not UUID.match(text):
        abort(404)
    return text


for said in (moment, day, seconds):
    pages.add_app_template_filter(said)
