"""A bundle is packed and unpacked exactly, here and on the phone; bytes that were never packed end in one line."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any, Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kneewall.amounts import in_si, typed
from kneewall.bundle import (
    FORMAT,
    UNPACKED,
    Bundle,
    BundleError,
    bytes_of,
    canonical_json,
    document_of,
    load_bundle,
)
from kneewall.compiler import compile_packs
from kneewall.engine.numbers import round12
from kneewall.packed import pack, unpack
from tests.phone_side import run_phone_side
from tests.property.grounds import grounds

ROOT: Final = Path(__file__).parents[1]
PACKS: Final = [ROOT / "rules", *(ROOT / "demo" / "packs" / name for name in ("maker", "house"))]
RUNNER: Final = ROOT / "pwa" / "tests" / "unpacked.ts"
ODD: Final[list[Any]] = [
    None, True, "", "__proto__", -1, 0, 10**6, 10**400, 1e308, [], {}, [[]], [None], {"of": "quantities", "is": [0]},
    {"rows": {}, "count": [9]}, {"rows": {"id": ["a"]}, "which": [-1]}, {"keys": [["a"]], "values": [[]]}, ["si", 1],
]  # fmt: skip


def plain(document: object) -> str:
    """As text in which every number is a float, so that 1 is neither 1.1 nor true."""
    return json.dumps(json.loads(json.dumps(document), parse_int=float), sort_keys=True)


@pytest.fixture(scope="module")
def bundles(tmp_path_factory: pytest.TempPathFactory) -> list[Bundle]:
    """The trade's rules with demo packs, the small packs, and random ones."""
    folders = [g.lay(tmp_path_factory.mktemp("packs")) for g in grounds()[2:]]
    return [compile_packs(each) for each in (PACKS, *folders)]


def test_every_pack_is_unpacked_exactly_here_and_on_the_phone(
    bundles: list[Bundle], tmp_path: Path
) -> None:
    files = [tmp_path / f"{number}.json" for number in range(len(bundles))]
    for file, bundle in zip(files, bundles, strict=True):
        file.write_bytes(bundle.raw)
    phones = run_phone_side(RUNNER, *files)
    for bundle, phone in zip(bundles, phones, strict=True):
        document = document_of(bundle.raw)
        held = bundle.model_dump(mode="json", exclude_defaults=True)
        assert plain(document) == plain(phone) == plain({"format": FORMAT, **held})
        assert load_bundle(bundle.raw) == bundle
        assert bytes_of(document) == bundle.raw


def test_an_edition_of_the_format_before_is_read(bundles: list[Bundle], tmp_path: Path) -> None:
    # Visits keep the edition that they were begun under, whatever the office runs since.
    before = [
        canonical_json({**document_of(each.raw), "format": UNPACKED, "order": each.order})
        for each in bundles
    ]
    files = [tmp_path / f"{number}.json" for number in range(len(bundles))]
    for file, raw in zip(files, before, strict=True):
        file.write_bytes(raw)
    phones = run_phone_side(RUNNER, *files)
    for bundle, raw, phone in zip(bundles, before, phones, strict=True):
        read = load_bundle(raw)
        assert read.model_dump() == bundle.model_dump()
        assert read.hash != bundle.hash
        assert plain({**phone, "format": FORMAT, "order": 0}) == plain(
            {**document_of(bundle.raw), "format": FORMAT, "order": 0}
        )


def test_most_amounts_stand_as_typed(bundles: list[Bundle]) -> None:
    assert bundles[0].raw.count(b'["si",') < 200


UNITS: Final = [
    (0.3048, 0.0), (0.0254, 0.0), (5 / 9, 459.67 * 5 / 9), (1.0, 273.15), (6894.757293168361, 101325.0), (1.0, 0.0),
    (3600.0, 0.0), (0.000471947443, 0.0), (0.45359237, 0.0), (0.01, 0.0), (1e-6, 0.0), (1055.05585262, 0.0),
]  # fmt: skip
AMOUNTS = st.floats(allow_nan=False, allow_infinity=False).map(round12)


@settings(max_examples=100)
@given(AMOUNTS, st.sampled_from(UNITS))
def test_any_amount_comes_back(amount: float, unit: tuple[float, float]) -> None:
    assert in_si(typed(amount, *unit), *unit) == amount


@settings(max_examples=100)
@given(st.decimals(-99999, 99999, places=3), st.sampled_from(UNITS))
def test_an_amount_as_people_type_it_stands_as_typed(text: Any, unit: tuple[float, float]) -> None:
    written = float(text)
    amount = in_si(written, *unit)
    told = typed(amount, *unit)
    assert in_si(told, *unit) == amount
    assert isinstance(told, int if told == int(told) else float)


def test_any_amount_is_the_same_float_on_the_phone(tmp_path: Path) -> None:
    rng = random.Random(0)
    units = {f"u{n}": {"scale": s, "offset": o, "label": "u"} for n, (s, o) in enumerate(UNITS)}
    spread = [rng.choice([-1, 1]) * 10 ** rng.uniform(-30, 30) for _ in range(2000)]
    usual = [rng.randrange(-9999, 9999) / 10 ** rng.randrange(5) for _ in range(2000)]
    values = [*map(round12, spread), *usual, 0.0, 5e-324, 1.7976931348623157e308]
    columns = [{"name": name, "unit": name} for name in units]
    table = {"id": "t", "columns": columns, "cells": [values] * len(units), "source": {"of": "s"}}
    document = _document({"units": units, "tables": [table]})
    file = tmp_path / "b.json"
    file.write_bytes(bytes_of(document))
    (phone,) = run_phone_side(RUNNER, file)
    assert plain(phone) == plain(document_of(file.read_bytes())) == plain(document)


def _document(sections: dict[str, Any]) -> dict[str, Any]:
    empty: dict[str, Any] = {
        "packs": [], "units": {}, "choices": {}, "collections": {}, "sources": {}, "quantities": [], "tables": [],
        "checks": [], "calculators": [],
    }  # fmt: skip
    return {"format": FORMAT, **empty, **sections}


TEXTS = st.text(max_size=3)
LISTS = st.lists(st.sampled_from(["a.b", "c.d", "gone", "7"]), max_size=3)
STEPS = st.fixed_dictionaries(
    {"id": TEXTS, "act": st.just("do"), "title": TEXTS},
    optional={"show": LISTS, "clears": LISTS, "least": st.sampled_from(["a.b", "gone"])},
)
LISTED = st.fixed_dictionaries({"id": TEXTS, "title": TEXTS, "steps": st.lists(STEPS, max_size=3)})
MARKS = st.dictionaries(
    TEXTS, st.fixed_dictionaries({}, optional={"pack": TEXTS, "source": st.just({"of": "s"})})
)


@settings(max_examples=100)
@given(st.lists(LISTED, max_size=3), st.lists(MARKS, max_size=3))
def test_any_parts_come_back(listed: list[Any], marks: list[Any]) -> None:
    document = _document(
        {
            "quantities": [{"id": "a.b", "label": ""}, {"id": "c.d", "label": ""}],
            "checklists": listed,
            "tables": [
                {"id": "t", "columns": [], "cells": [], "source": {"of": "s"}, "marks": each}
                for each in marks
            ],
        }
    )
    packed = json.loads(canonical_json(pack(document, Bundle)))
    assert unpack(packed) == document


def test_bytes_that_were_never_packed_end_in_one_line(bundles: list[Bundle]) -> None:
    rng = random.Random(0)
    raw = bundles[1].raw
    refused = 0
    for _ in range(400):
        document = json.loads(raw)
        for _ in range(rng.choice([1, 1, 2])):
            _change(document, rng)
        line = _refusal(json.dumps(document).encode())
        refused += line is not None
        assert line is None or len(line.splitlines()) == 1
    assert refused > 100


def _refusal(raw: bytes) -> str | None:
    try:
        load_bundle(raw)
    except BundleError as error:
        return str(error)
    return None


def _change(document: Any, rng: random.Random) -> None:
    """Something in it goes, is something else, or changes places."""
    places = [(document, key) for key in document]
    for inside, key in places:
        node = inside[key]
        keys = (
            node if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
        )
        places += [(node, each) for each in keys]
    (inside, key), (there, other) = rng.choice(places), rng.choice(places)
    match rng.randrange(3):
        case 0:
            del inside[key]
        case 1:
            inside[key] = rng.choice(ODD)
        case _:
            inside[key] = json.loads(json.dumps(there[other]))
