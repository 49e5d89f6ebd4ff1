"""What every answer carries and every change needs: headers, and that it comes from our pages."""

from __future__ import annotations

from urllib.parse import urlsplit

from flask import Response, request

_NOTHING = "default-src 'none'; base-uri 'none'; frame-ancestors 'none'"
_APP = (
    f"{_NOTHING}; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "connect-src 'self'; font-src 'self'; manifest-src 'self'; worker-src 'self'; "
    "form-action 'none'; require-trusted-types-for 'script'"
)
_OFFICE = (
    f"{_NOTHING}; style-src 'self'; img-src 'self' data:; form-action 'self'; "
    "require-trusted-types-for 'script'"
)
_BYTES = f"{_NOTHING}; form-action 'none'; sandbox"


def secure(response: Response) -> Response:
    """Headers of every answer. Nothing here may ever clear a phone's storage."""
    path = request.path
    if path.startswith(("/office/photos/", "/api/")):
        policy = _BYTES
    elif path.startswith("/office"):
        policy = _OFFICE
    else:
        policy = _APP
    headers = response.headers
    headers["Content-Security-Policy"] = policy
    headers["X-Content-Type-Options"] = "nosniff"
    # Not no-referrer: with that, browsers send `Origin: null` with our own forms.
    headers["Referrer-Policy"] = "same-origin"
    headers["X-Frame-Options"] = "DENY"
    headers["Cross-Origin-Opener-Policy"] = "same-origin"
    headers["Cross-Origin-Resource-Policy"] = "same-origin"
    headers["Permissions-Policy"] = "camera=(self), geolocation=(), microphone=()"
    if request.is_secure:
        headers["Strict-Transport-Security"] = "max-age=31536000"
    headers.setdefault("Cache-Control", "no-store")
    return response


def from_elsewhere() -> bool:
    """Whether the browser says that another site's page sent this request."""
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        return True
    origin = request.headers.get("Origin")
    return origin is not None and urlsplit(origin).netloc.lower() != request.host.lower()
