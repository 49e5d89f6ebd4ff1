"""The phone app's own files at `/`: the page at every address that is nobody else's.

`index.html`, `sw.js` and all unnamed by content are checked anew each time; what lies under
`/assets/` never changes. Assets of earlier releases are kept in the data folder, because a page
of an earlier release may still ask for them.
"""

from __future__ import annotations

import mimetypes
import shutil
import time
from pathlib import Path

from flask import Blueprint, Response, abort, send_from_directory
from werkzeug.exceptions import NotFound

import kneewall
from kneewall.web.problems import answer
from kneewall.web.services import office

BUILT = Path(kneewall.__file__).parent / "static" / "pwa"
_ASSETS_KEPT_S = 180 * 24 * 3600

mimetypes.add_type("application/manifest+json", ".webmanifest")
mimetypes.add_type("text/javascript", ".js")

pages = Blueprint("phone_app", __name__)


def keep_assets(data: Path, built: Path = BUILT) -> None:
    """Keep this release's assets; let go of those no release has used for half a year."""
    kept = data / "assets"
    kept.mkdir(exist_ok=True)
    for file in (built / "assets").glob("*"):
        if file.is_file():
            shutil.copyfile(file, kept / file.name)
    for file in kept.iterdir():
        if time.time() - file.stat().st_mtime > _ASSETS_KEPT_S:
            file.unlink(missing_ok=True)


@pages.get("/assets/<path:name>")
def asset(name: str) -> Response:
    for folder in (BUILT / "assets", office().folder.root / "assets"):
        try:
            response = send_from_directory(folder, name, conditional=True)
        except NotFound:
            continue
        response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        return response
    raise NotFound


@pages.get("/", defaults={"path": ""})
@pages.get("/<path:path>")
def page(path: str) -> Response:
    if not (BUILT / "index.html").is_file():
        return answer(
            503,
            "The phone app is not part of this installation.",
            "Install Kneewall from its wheel or its source tree, which builds the app.",
        )
    if path.split("/")[0] in ("api", "office"):
        abort(404)
    name = path if (BUILT / path).is_file() else ""
    if not name and "." in path.rsplit("/", 1)[-1]:
        abort(404)
    response = send_from_directory(BUILT, name or "index.html", conditional=True)
    response.headers["Cache-Control"] = "no-cache"
    return response
