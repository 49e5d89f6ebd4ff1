"""The phones' API as `api_models` documents it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import asdict
from functools import wraps
from typing import ParamSpec, TypeVar

import sqlalchemy as sa
from flask import Blueprint, Response, g, jsonify, request
from pydantic import BaseModel, ValidationError

from kneewall.records import devices, feed, heads, intake
from kneewall.records.clock import stamp
from kneewall.records.devices import Phone
from kneewall.records.errors import EditionError, PhotoError
from kneewall.records.schema import event
from kneewall.web import api_models as m
from kneewall.web import guard
from kneewall.web.problems import ApiProblem
from kneewall.web.services import office

routes = Blueprint("api", __name__)

P = ParamSpec("P")
R = TypeVar("R")
M = TypeVar("M", bound=BaseModel)

_HASH = re.compile(r"^[0-9a-f]{64}$")
_PER_MINUTE = 1200
_ENROLS = 20
_ENROLS_S = 600


@routes.get("/health")
def health() -> Response:
    with office().store.reading() as connection:
        connection.execute(sa.select(sa.literal(1)))
    return jsonify({"ok": True})


@routes.post("/api/1/enrol")
def enrol() -> Response:
    _ours()
    _within(f"enrol {request.remote_addr}", _ENROLS, _ENROLS_S)
    asked = _body(m.EnrolRequest)
    name = asked.name.strip()
    if not name or not name.isprintable():
        raise ApiProblem(422, "The name is empty.", "Say whose phone it is.")
    try:
        device, token = devices.enrol(office().store, office().pepper, asked.code, name)
    except devices.CodeError as error:
        raise ApiProblem(
            403, str(error), "Have the office make a new one; it serves once, for ten minutes."
        ) from None
    with office().store.reading() as connection:
        office_device = office().store.meta(connection, "office_device")
    return _json(
        m.EnrolReply(
            device=device,
            token=token,
            office=office().name,
            office_device=office_device,
            store_generation=office().generation,
            server_time=stamp(),
        )
    )


def for_phones(
    revoked_too: bool = False,
) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """The route needs a phone's token, and our own header where it changes something."""

    def wrap(route: Callable[P, R]) -> Callable[P, R]:
        @wraps(route)
        def guarded(*args: P.args, **kwargs: P.kwargs) -> R:
            sort, _, token = request.headers.get("Authorization", "").partition(" ")
            phone = (
                devices.by_token(office().store, token.strip())
                if sort.lower() == "bearer" and token.strip()
                else None
            )
            if phone is None:
                raise ApiProblem(
                    401, "This phone is not enrolled here.", "Enrol it with a code of the office."
                )
            g.phone = phone
            if phone.revoked and not revoked_too:
                raise ApiProblem(
                    403,
                    "The office has revoked this phone.",
                    "Talk to the office. Records not sent yet can still be sent.",
                )
            if request.method not in ("GET", "HEAD"):
                _ours()
            _within(f"phone {phone.id}", _PER_MINUTE, 60)
            return route(*args, **kwargs)

        return guarded

    return wrap


@routes.get("/api/1/edition")
def edition() -> Response:
    """Rules name no customer: whoever opens the app may compute with them."""
    _within(f"edition {request.remote_addr}", _PER_MINUTE, 60)
    live = office().editions.live()
    if live is None:
        raise ApiProblem(404, "No edition is published yet.", "Ask again later.")
    return _json(m.EditionPointer(**asdict(live), signature=None))


@routes.get("/api/1/editions/<digest>")
def edition_bytes(digest: str) -> Response:
    _within(f"edition {request.remote_addr}", _PER_MINUTE, 60)
    packed = request.accept_encodings["br"] > 0
    editions = office().editions
    try:
        content = editions.packed(digest) if packed else editions.raw(digest)
    except EditionError as error:
        raise ApiProblem(404, str(error), "Ask for the live edition.") from None
    response = Response(content, mimetype="application/json")
    response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
    response.vary.add("Accept-Encoding")
    if packed:
        response.content_encoding = "br"
    response.set_etag(f"{digest}-br" if packed else digest)
    response.make_conditional(request)
    return response


@routes.post("/api/1/reports")
@for_phones(revoked_too=True)
def report() -> Response:
    told = _body(m.PhoneReport)
    phone = _phone()
    store = office().store
    with store.writing() as connection:
        known = connection.execute(
            sa.select(event.c.id).where(event.c.id.in_([one.id for one in told.events]))
        ).scalars()
        held = set(known)
        for one in {one.id: one for one in told.events}.values():
            if one.id not in held:
                connection.execute(
                    sa.insert(event).values(
                        device=phone.id,
                        received=stamp(),
                        # PostgreSQL keeps no text with a NUL in it.
                        **{
                            key: value.replace("\0", "\ufffd") if value else value
                            for key, value in one.model_dump().items()
                        },
                    )
                )
        claims = [heads.Claim(**head.model_dump()) for head in told.heads]
        heads.note_claims(connection, phone.id, claims)
    told = told.model_copy(update={"events": [], "heads": []})
    devices.note_contact(store, phone.id, told.model_dump_json())
    with store.reading() as connection:
        return _json(
            m.ReportReply(
                held=[_held(one) for one in heads.all_held(connection, phone.id)],
                missing_photos=heads.missing_photos(connection, phone.id),
                server_time=stamp(),
                store_generation=store.meta(connection, "store_generation"),
            )
        )


@routes.post("/api/1/records")
@for_phones(revoked_too=True)
def take_records() -> Response:
    _content_type("application/x-ndjson")
    request.max_content_length = m.BATCH_BYTES
    lines = intake.split_lines(request.get_data(cache=False))
    if len(lines) > m.BATCH_LINES:
        raise ApiProblem(
            413, f"A batch has at most {m.BATCH_LINES} lines.", "Send it in smaller batches."
        )
    phone = _phone()
    store = office().store
    answers = intake.take_in(store, lines, phone.id)
    devices.note_contact(store, phone.id)
    with store.reading() as connection:
        epochs = intake.epochs_of(connection, [one.hash for one in answers])
        return _json(
            m.BatchReply(
                records=[
                    m.LineAnswer(line=place, **asdict(one)) for place, one in enumerate(answers)
                ],
                held=[_held(heads.held(connection, *one)) for one in epochs],
                missing_photos=heads.missing_photos(connection, phone.id),
                server_time=stamp(),
                store_generation=store.meta(connection, "store_generation"),
            )
        )


@routes.get("/api/1/records")
@for_phones()
def give_records() -> Response:
    limit = request.args.get("limit", default=str(feed.PAGE_LINES))
    if not limit.isdecimal() or not 1 <= int(limit[:6]) <= feed.PAGE_LINES:
        raise ApiProblem(
            422, "limit is no number that serves.", f"Ask for 1 to {feed.PAGE_LINES} lines."
        )
    try:
        page = feed.page(
            office().store,
            _phone().id,
            request.args.get("after"),
            int(limit),
            own=request.args.get("own") == "1",
        )
    except ValueError:
        raise ApiProblem(
            422, "The cursor is none of this office's.", "Begin again without one."
        ) from None
    return _json(
        m.RecordsPage(
            lines=[raw.decode() for raw in page.lines],
            next=page.next,
            more=page.more,
            store_generation=office().generation,
            server_time=stamp(),
        )
    )


@routes.get("/api/1/photos/<digest>/parts")
@for_phones()
def photo_parts(digest: str) -> Response:
    _digest(digest)
    photos = office().photos
    return _json(m.PhotoParts(complete=photos.held(digest) is not None, parts=photos.parts(digest)))


@routes.put("/api/1/photos/<digest>/parts/<int:number>")
@for_phones()
def put_photo_part(digest: str, number: int) -> Response:
    _digest(digest)
    _content_type("application/octet-stream")
    request.max_content_length = m.PART_SIZE
    with _photo_trouble():
        office().photos.put_part(digest, number, request.get_data(cache=False))
    return Response(status=204)


@routes.post("/api/1/photos/<digest>")
@for_phones()
def commit_photo(digest: str) -> Response:
    _digest(digest)
    asked = _body(m.PhotoCommit)
    with _photo_trouble():
        missing = office().photos.commit(digest, asked.size, asked.mime, _phone().id)
    if missing:
        parts = ", ".join(map(str, missing))
        raise ApiProblem(409, "Parts of the photo are missing.", f"Send parts {parts}.")
    return Response(status=204)


@routes.put("/api/1/photos/<digest>")
@for_phones()
def put_photo(digest: str) -> Response:
    _digest(digest)
    request.max_content_length = m.WHOLE_PHOTO_BYTES
    with _photo_trouble():
        office().photos.put(digest, request.get_data(cache=False), _phone().id)
    return Response(status=204)


@routes.get("/api/1/photos/<digest>")
@for_phones()
def get_photo(digest: str) -> Response:
    _digest(digest)
    mime = office().photos.held(digest)
    if mime is None:
        raise ApiProblem(404, "This photo is not here.", "Ask the phone that took it to sync.")
    response = Response(office().photos.read(digest), mimetype=mime)
    response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
    return response


class _photo_trouble:  # noqa: N801  reads as the statement it is
    """Turns what is wrong with a photo into an answer."""

    def __enter__(self) -> None:
        return None

    def __exit__(self, _sort: object, error: BaseException | None, _trace: object) -> None:
        if isinstance(error, PhotoError):
            raise ApiProblem(422, str(error), "The phone keeps its photo and tries again.")


def _phone() -> Phone:
    phone: Phone = g.phone
    return phone


def _ours() -> None:
    """A page of another site can send neither our header nor our JSON without being asked."""
    if request.headers.get("X-Kneewall") != "1" or guard.from_elsewhere():
        raise ApiProblem(
            403, "The request does not come from the phone app.", "Use the app at this address."
        )


def _within(key: str, most: int, seconds: float) -> None:
    wait = office().limiter.wait(key, most, seconds)
    if wait:
        raise ApiProblem(
            429, "Too many requests.", f"Wait {wait} seconds. Nothing was lost.", retry_after=wait
        )


def _content_type(wanted: str) -> None:
    if request.mimetype != wanted:
        raise ApiProblem(415, f"The content type is not {wanted}.", f"Send {wanted}.")


def _body(model: type[M]) -> M:
    _content_type("application/json")
    request.max_content_length = 1024 * 1024
    try:
        return model.model_validate_json(request.get_data(cache=False))
    except ValidationError as error:
        fault = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(map(str, fault["loc"])) or "body"
        raise ApiProblem(
            422, f"{place}: {fault['msg']}.", "Send it as the interface says."
        ) from None


def _digest(digest: str) -> None:
    if not _HASH.match(digest):
        raise ApiProblem(404, "This is no SHA-256.", "Name a photo by 64 hexadecimal figures.")


def _held(found: heads.EpochHeld) -> m.Held:
    return m.Held(**asdict(found))


def _json(model: BaseModel) -> Response:
    return Response(model.model_dump_json(), mimetype="application/json")
