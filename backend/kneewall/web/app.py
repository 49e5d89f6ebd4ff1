"""The office's server as a Flask application."""

from __future__ import annotations

from pathlib import Path

from flask import Flask
from werkzeug.middleware.proxy_fix import ProxyFix

from kneewall.web import api, guard, phone_app
from kneewall.web.office import register_pages
from kneewall.web.problems import handle_problems
from kneewall.web.request_log import log_requests
from kneewall.web.services import EXTENSION, Office

LARGEST_REQUEST = 32 * 1024 * 1024


def create_app(data: Path, database: str | None = None, *, behind_proxy: bool = False) -> Flask:
    """The office of a data folder.

    Args:
        behind_proxy: one reverse proxy stands before it and says who asked, by which scheme and
            host (`X-Forwarded-For`, `-Proto`, `-Host`).

    Raises:
        FolderError: the folder or the database cannot be used.
    """
    app = Flask("kneewall.web", static_folder=None, template_folder="templates")
    app.extensions[EXTENSION] = Office.open(data, database)
    app.config["MAX_CONTENT_LENGTH"] = LARGEST_REQUEST
    app.config["MAX_FORM_MEMORY_SIZE"] = 1024 * 1024
    app.jinja_env.trim_blocks = True
    app.jinja_env.lstrip_blocks = True
    phone_app.keep_assets(data)
    log_requests(app)
    handle_problems(app)
    app.after_request(guard.secure)
    app.register_blueprint(api.routes)
    register_pages(app)
    app.register_blueprint(phone_app.pages)
    if behind_proxy:
        app.wsgi_app = ProxyFix(app.wsgi_app, x_for=1, x_proto=1, x_host=1)  # type: ignore[method-assign]
    return app
