"""Records of every version ever shipped are read by this one, and none is left out."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import get_args

import pytest

from kneewall.records.envelope import RECORD, Record
from kneewall.records.fold import fold

FILES = sorted((Path(__file__).parent / "records").glob("version-*.jsonl"))


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_record_of_a_version_is_read_and_folded(file: Path) -> None:
    lines = file.read_bytes().splitlines()
    records = [RECORD.validate_json(line) for line in lines]
    for before, line, record in zip(lines, lines[1:], records[1:], strict=False):
        assert record.prev == hashlib.sha256(before).hexdigest(), line
    assert fold(records).visits


def test_the_files_hold_every_kind() -> None:
    union = get_args(Record)[0]
    kinds = {get_args(one.model_fields["kind"].annotation)[0] for one in get_args(union)}
    held = {RECORD.validate_json(line).kind for f in FILES for line in f.read_bytes().splitlines()}
    assert held == kinds
