"""Phones and an office over a network that loses, repeats and cuts: nothing lost, nothing doubled.

The phone's side is the protocol in its shortest form: it keeps everything it wrote, sends what the
office has not acknowledged, and offers all of it again when the store generation changes.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from kneewall.records.backup import back_up, restore
from tests.office_double import OfficeDouble, Wire, alarms, held_lines


@dataclass
class Model:
    wire: Wire
    acknowledged: set[bytes] = field(default_factory=set)
    generation: str = ""
    after: str = ""
    fetched: list[str] = field(default_factory=list)


class Sync(RuleBasedStateMachine):
    folder: Path

    @initialize()
    def begin(self) -> None:
        self.number = 0
        self.root = Path(self.folder) / "run"
        shutil.rmtree(self.root, ignore_errors=True)
        self.root.mkdir()
        self.office = OfficeDouble(self.root / "data")
        self.phones = [Model(self.office.enrol(name)) for name in ("Rosa", "Abe")]
        first = self.phones[0].wire.phone.begin()
        for model in self.phones:
            model.wire.phone.site = first.site
            model.wire.phone.system = first.system
            model.wire.phone.visit = first.visit
        self.backup: Path | None = None

    @rule(which=st.integers(0, 1), value=st.integers(0, 9))
    def write(self, which: int, value: int) -> None:
        self.phones[which].wire.phone.set("run.length", value)

    @rule(
        which=st.integers(0, 1),
        size=st.integers(1, 6),
        lost=st.sampled_from(["nothing", "request", "answer"]),
        twice=st.booleans(),
        data=st.data(),
    )
    def send(self, which: int, size: int, lost: str, twice: bool, data: st.DataObject) -> None:
        model = self.phones[which]
        unsent = [line for line in model.wire.phone.lines if line not in model.acknowledged]
        batch = data.draw(st.permutations(unsent))[:size]
        if lost == "request" or not batch:
            return
        answer = model.wire.send(batch)
        if twice:
            answer = model.wire.send(batch)
        if lost == "answer":
            return
        reply = answer.get_json()
        if model.generation not in ("", reply["store_generation"]):
            model.acknowledged.clear()
        model.generation = reply["store_generation"]
        for one, line in zip(reply["records"], batch, strict=True):
            assert one["status"] in ("stored", "duplicate"), one
            model.acknowledged.add(line)

    @rule(which=st.integers(0, 1), limit=st.integers(1, 5), lost=st.booleans())
    def fetch(self, which: int, limit: int, lost: bool) -> None:
        model = self.phones[which]
        query = f"records?limit={limit}" + (f"&after={model.after}" if model.after else "")
        page = model.wire.get(query).get_json()
        if not lost:
            model.fetched += page["lines"]
            model.after = page["next"]

    @rule()
    def save(self) -> None:
        self.number += 1
        self.backup = self.root / f"backup-{self.number}.tar.gz"
        back_up(self.office.office.store, self.office.office.folder, self.backup)

    @precondition(lambda self: self.backup is not None)
    @rule()
    def restore(self) -> None:
        assert self.backup is not None
        self.office.close()
        self.number += 1
        data = self.root / f"data-{self.number}"
        restore(self.backup, data)
        self.office = OfficeDouble(data)
        for model in self.phones:
            model.wire.client = self.office.app.test_client()
        # What the phones believe is acknowledged may be gone; they learn it from the generation.

    @invariant()
    def nothing_is_held_back(self) -> None:
        if hasattr(self, "office"):
            assert held_lines(self.office.office.store, "quarantined") == []

    def teardown(self) -> None:
        if not hasattr(self, "office"):
            return
        try:
            self._settle()
        finally:
            self.office.close()

    def _settle(self) -> None:
        """With a good network at last, both sides have everything, once."""
        every = {line.decode() for model in self.phones for line in model.wire.phone.lines}
        for model in self.phones:
            generation = model.wire.report().get_json()["store_generation"]
            if model.generation != generation:
                model.acknowledged.clear()
            unsent = [line for line in model.wire.phone.lines if line not in model.acknowledged]
            reply = model.wire.send(unsent).get_json()
            assert {one["status"] for one in reply["records"]} <= {"stored", "duplicate"}
            for held in model.wire.report().get_json()["held"]:
                assert held["contiguous_through"] == len(model.wire.phone.lines)
                assert held["holes"] == []
        held_here = [line.decode() for line in held_lines(self.office.office.store)]
        assert len(held_here) == len(set(held_here))
        assert set(held_here) == every
        assert alarms(self.office.office.store) == []
        for model in self.phones:
            own = {line.decode() for line in model.wire.phone.lines}
            more = True
            while more:
                query = "records?limit=2" + (f"&after={model.after}" if model.after else "")
                page = model.wire.get(query).get_json()
                model.fetched += page["lines"]
                model.after, more = page["next"], page["more"]
            if own:
                assert set(model.fetched) >= every - own


def test_any_network_and_any_restore(tmp_path: Path) -> None:
    class Here(Sync):
        folder = tmp_path

    run_state_machine_as_test(
        Here,
        settings=settings(
            max_examples=10,
            stateful_step_count=25,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


@pytest.mark.long
def test_any_network_and_any_restore_for_long(tmp_path: Path) -> None:
    class Here(Sync):
        folder = tmp_path

    run_state_machine_as_test(
        Here,
        settings=settings(
            max_examples=300,
            stateful_step_count=60,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
