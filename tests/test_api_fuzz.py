"""Whatever is sent, the interface answers with what it documents: never a fault, always a problem."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from kneewall.web import api_models as m
from tests.office_double import OfficeDouble, Wire, problem

HASH = "0" * 64
ROUTES = [
    ("POST", "enrol"),
    ("GET", "edition"),
    ("GET", "editions/{}"),
    ("POST", "reports"),
    ("POST", "records"),
    ("GET", "records?after={}&limit={}"),
    ("GET", "photos/{}/parts"),
    ("PUT", f"photos/{HASH}/parts/{{}}"),
    ("PUT", "photos/{}"),
    ("POST", f"photos/{HASH}"),
    ("GET", "photos/{}"),
]
SORTS = ["application/json", "application/x-ndjson", "application/octet-stream", "text/html", ""]

anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4)
    ),
    max_leaves=12,
)
FIELDS = sorted({*m.PhoneReport.model_fields, *m.PhoneEvent.model_fields, *m.Head.model_fields})
near = st.dictionaries(st.sampled_from([*FIELDS, "code", "name", "size", "mime"]), anything)
bodies = st.binary(max_size=200) | (anything | near).map(lambda x: json.dumps(x).encode())


@pytest.fixture(scope="module")
def wire(tmp_path_factory: pytest.TempPathFactory) -> Any:
    office = OfficeDouble(tmp_path_factory.mktemp("fuzz") / "data")
    office.office.limiter.wait = lambda *_: 0  # type: ignore[method-assign]
    yield office.enrol()
    office.close()


@settings(deadline=None, max_examples=150, suppress_health_check=list(HealthCheck))
@example(("POST", "records"), ["", ""], b'{"id": "\\ud800", "kind": "\\u0000"}', SORTS[1], True)
@given(
    route=st.sampled_from(ROUTES),
    parts=st.lists(st.text(max_size=12) | st.just(HASH) | st.just("0"), min_size=2, max_size=2),
    body=bodies,
    sort=st.sampled_from(SORTS),
    known=st.booleans(),
)
def test_never_a_fault(
    wire: Wire, route: tuple[str, str], parts: list[str], body: bytes, sort: str, known: bool
) -> None:
    method, path = route
    safe = [part.encode("utf-8", "replace").hex("%", 1) for part in parts]
    filled = path.format(*("%" + part if part else "" for part in safe))
    answer = wire.client.open(
        f"/api/1/{filled}",
        method=method,
        data=body if method != "GET" else None,
        content_type=sort,
        headers=wire.headers() if known else {"X-Kneewall": "1"},
    )
    assert answer.status_code < 500
    if answer.status_code >= 400:
        problem(answer)


@settings(deadline=None, max_examples=60, suppress_health_check=list(HealthCheck))
@given(lines=st.lists(st.binary(max_size=80) | anything.map(lambda x: json.dumps(x).encode())))
def test_every_line_is_answered_and_kept(wire: Wire, lines: list[bytes]) -> None:
    lines = [line.replace(b"\n", b"").rstrip(b"\r") for line in lines]
    lines = [line for line in lines if line]
    reply = m.BatchReply.model_validate(wire.send(lines).get_json())
    assert len(reply.records) == len(lines)
    assert {one.status for one in reply.records} <= {"quarantined"}
