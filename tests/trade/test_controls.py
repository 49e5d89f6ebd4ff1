"""Thermostat set-up and safety circuits: every combination, and the known traps."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import pytest

from kneewall.compiler import compile_packs
from tests.trade.asking import RULES, Trade

BASE = ["R", "C", "Y1", "O/B", "G"]


def setup(
    backup: str = "1", calls: str = "1", dehumidify: bool = False, **more: str
) -> dict[str, str]:
    given = {
        "control.kind": "thermostat-24v",
        "backup.stages": backup,
        "compressor.calls": calls,
        "dehumidify.call": "yes" if dehumidify else "no",
    }
    return given | {key.replace("__", "."): value for key, value in more.items()}


@pytest.mark.parametrize("backup", ["0", "1", "2"])
@pytest.mark.parametrize("calls", ["1", "2"])
@pytest.mark.parametrize("dehumidify", [False, True])
def test_stages_terminals_and_cable(
    trade: Trade, backup: str, calls: str, dehumidify: bool
) -> None:
    asked = trade.ask(setup(backup, calls, dehumidify))
    assert asked.number("setup.cool_stages") == int(calls)
    assert asked.number("setup.heat_stages") == int(calls) + int(backup)
    terminals = set(BASE)
    terminals |= {"Y2"} if calls == "2" else set()
    terminals |= {"W1"} if backup >= "1" else set()
    terminals |= {"W2"} if backup == "2" else set()
    terminals |= {"DH"} if dehumidify else set()
    found = asked["setup.terminals"]
    assert isinstance(found, list)
    assert set(found) == terminals
    assert asked.number("setup.conductors") == len(terminals)
    enough = next(n for n in (2, 5, 7, 8, 10) if n >= len(terminals))
    assert asked["setup.cable"] == f"18/{enough} thermostat cable"
    assert asked["setup.thermostat_type"] == "heat-pump"


@pytest.mark.parametrize(
    ("backup", "emergency", "alert"), [("0", "off", "on"), ("1", "on", "off"), ("2", "on", "off")]
)
def test_without_a_kit_no_emergency_heat_but_an_alert(
    trade: Trade, backup: str, emergency: str, alert: str
) -> None:
    asked = trade.ask(setup(backup))
    assert asked["setup.emergency_heat"] == emergency
    assert asked["setup.low_temperature_alert"] == alert


@pytest.mark.parametrize(("energized", "setting"), [("cooling", "O"), ("heating", "B")])
def test_reversing_valve(trade: Trade, energized: str, setting: str) -> None:
    asked = trade.ask(setup(reversing__read_off=energized))
    assert asked["setup.reversing_valve"] == setting


def test_the_reversing_valve_is_never_guessed(trade: Trade) -> None:
    assert trade.ask(setup()).why("setup.reversing_valve") == ("missing", ["reversing.read_off"])


def test_c_is_never_left_out(trade: Trade) -> None:
    for backup, calls in product("012", "12"):
        found = trade.ask(setup(backup, calls))["setup.terminals"]
        assert isinstance(found, list)
        assert "C" in found
    few = trade.ask(setup("0", control__wires_there="4"))
    assert few.verdict("setup.enough_conductors") == "fail"
    enough = trade.ask(setup("0", control__wires_there="5"))
    assert enough.verdict("setup.enough_conductors") == "pass"


@pytest.mark.parametrize(
    ("kit", "backup", "verdict"),
    [("0 kW", "0", "pass"), ("0 kW", "1", "fail"), ("5 kW", "0", "fail"), ("10 kW", "1", "pass"),
     ("10 kW", "2", "caution"), ("15 kW", "2", "pass"), ("20 kW", "1", "caution"),
     ("40 kW", "2", "unknown")],
)  # fmt: skip
def test_aux_heat_and_kit_belong_together(
    trade: Trade, kit: str, backup: str, verdict: str
) -> None:
    asked = trade.ask(setup(backup, backup__kit_power=kit))
    assert asked.verdict("setup.aux_matches_kit") == verdict
    assert trade.ask(setup(backup)).verdict("setup.aux_matches_kit") == "not-applicable"


def test_stages_of_the_kit_are_offered(trade: Trade) -> None:
    (stages,) = [q for q in trade.bundle.quantities if q.id == "setup.stages_of_kit"]
    assert stages.offers == "backup.stages"


def test_dehumidifying_keeps_the_coil_above_its_least_airflow(trade: Trade) -> None:
    slow = {"dehumidify__airflow": "700 cfm", "coil__least_airflow": "800 cfm"}
    assert trade.ask(setup(dehumidify=True, **slow)).verdict("setup.dehumidify_floor") == "fail"
    slow["dehumidify__airflow"] = "800 cfm"
    assert trade.ask(setup(dehumidify=True, **slow)).verdict("setup.dehumidify_floor") == "pass"
    without = trade.ask(setup(dehumidify=False, **slow))
    assert without.verdict("setup.dehumidify_floor") == "not-applicable"


def test_aux_lockout_is_over_the_balance_point(trade: Trade) -> None:
    asked = trade.ask(setup("1", thermostat__balance_point="23 °F"))
    assert asked.number("setup.aux_lockout", "degF") == pytest.approx(28)
    none = trade.ask(setup("0", thermostat__balance_point="23 °F"))
    assert none.why("setup.aux_lockout")[0] == "not-applicable"


def test_only_two_aux_stages_have_a_delay(trade: Trade) -> None:
    assert trade.ask(setup("2")).number("setup.second_aux_delay", "min") == pytest.approx(20)
    assert trade.ask(setup("1")).why("setup.second_aux_delay")[0] == "not-applicable"


def test_a_communicating_control_does_its_own_staging(trade: Trade) -> None:
    asked = trade.ask(setup("1", control__kind="maker-wired"))
    assert asked["setup.thermostat_type"] == "own-control"
    for setting in ("cool_stages", "heat_stages", "terminals", "reversing_valve", "emergency_heat"):
        assert asked.why(f"setup.{setting}")[0] == "not-applicable"
    assert asked.why("setup.cable") == ("missing", ["outdoor.model"])
    unlisted = trade.ask(setup("1", control__kind="maker-wired", outdoor__model="X1"))
    assert unlisted.why("setup.cable")[0] == "outside"


MAKER = """\
rows:
  reversing_valves:
    source: demo
    rows: |
      model [text], energized [energized_in]
      DEMO-O36, heating
  control_cables:
    source: demo
    rows: |
      model [text], cable [text], conductors [number]
      DEMO-O36, 18/4 shielded, 4
  board_settings:
    source: demo
    rows: |
      model [text], control [control_kind], calls [compressor_calls], backup [backup_stages], dehumidify [flag], settings [text]
      DEMO-I36, thermostat-24v, 1, 1, no, SW1 up
  safety_boards:
    source: demo
    rows: |
      model [text], device [safety_device], contact [safety_contact], jumper [safety_jumper]
      DEMO-I36, remote-on-off, opens, removed
"""  # noqa: E501


@pytest.fixture(scope="module")
def with_maker(tmp_path_factory: pytest.TempPathFactory) -> Trade:
    """The trade pack with a few invented rows of a maker."""
    folder = tmp_path_factory.mktemp("maker")
    pack = "id: demo-maker\nrank: maker\ntitle: Invented equipment\nformat: 1\n"
    (folder / "pack.yaml").write_text(pack, encoding="utf-8")
    (folder / "rows.yaml").write_text(MAKER, encoding="utf-8")
    return Trade(compile_packs([RULES, Path(folder)]))


def test_a_makers_rows_fill_what_only_a_maker_knows(with_maker: Trade) -> None:
    given = setup(outdoor__model="DEMO-O36", indoor__model="DEMO-I36")
    asked = with_maker.ask(given)
    assert asked["setup.reversing_valve"] == "B"
    assert asked["setup.indoor_board"] == "SW1 up"
    assert asked.why("setup.outdoor_board")[0] == "outside"
    read = with_maker.ask(given | {"reversing.read_off": "cooling"})
    assert read["setup.reversing_valve"] == "O"
    # The diagram counts, and that the catalogue says otherwise is not passed over.
    assert read.verdict("setup.reversing_as_listed") == "caution"
    agreed = with_maker.ask(given | {"reversing.read_off": "heating"})
    assert agreed.verdict("setup.reversing_as_listed") == "pass"
    assert asked.verdict("setup.reversing_as_listed") == "not-applicable"
    wired = with_maker.ask(given | {"control.kind": "maker-wired"})
    assert wired["setup.cable"] == "18/4 shielded"
    assert wired.number("setup.conductors") == 4


# -- safety circuits

DEVICES = ("condensate-switch", "remote-on-off", "accessory-interlock", "leak-sensor")
CONTROLS = ("thermostat-24v", "maker-wired")


def circuit(device: str, control: str = "thermostat-24v", **more: str) -> dict[str, str]:
    given = {
        "safety.device": device,
        "control.kind": control,
        "system.refrigerant": "R-454B",
    }
    return given | {key.replace("__", "."): value for key, value in more.items()}


@pytest.mark.parametrize("control", CONTROLS)
def test_every_device_has_contact_action_and_test(trade: Trade, control: str) -> None:
    tests = set()
    for device in DEVICES:
        asked = trade.ask(circuit(device, control))
        tests.add(asked["safety.test"])
        action = asked["safety.action"]
        assert (action == "thin-the-gas") == (device == "leak-sensor")
        for result in ("contact", "jumper"):
            assert isinstance(asked[f"safety.{result}"], str)
    assert len(tests) == len(DEVICES)


def test_the_action_is_of_the_device_whatever_the_control(trade: Trade) -> None:
    """So a wrong wiring can be told what is right before the kind of control is known."""
    (table,) = [t for t in trade.bundle.tables if t.id == "safety_circuits"]
    names = [column.name for column in table.columns]
    devices, actions = (table.cells[names.index(name)] for name in ("device", "action"))
    assert len(set(zip(devices, actions, strict=True))) == len(DEVICES)
    for device in DEVICES:
        asked = trade.ask({"safety.device": device})
        assert asked["safety.action"] == trade.ask(circuit(device))["safety.action"]


@pytest.mark.parametrize("device", DEVICES[:3])
def test_a_float_or_remote_stops_the_unit(trade: Trade, device: str) -> None:
    for wired, verdict in (
        ("unit-stop", "pass"),
        ("compressor-only", "fail"),
        ("blower-power", "fail"),
        ("not-wired", "fail"),
    ):
        asked = trade.ask(circuit(device, safety__wired=wired))
        assert asked.verdict("safety.wired_right") == verdict


def test_a_float_on_y_alone_leaves_the_blower(trade: Trade) -> None:
    asked = trade.ask(circuit("condensate-switch", safety__wired="compressor-only"))
    assert asked["safety.finding"] == "blower-runs-on"


def test_nothing_may_take_the_blower_from_the_sensor(trade: Trade) -> None:
    for wired, finding in (
        ("unit-stop", "blower-killed"),
        ("blower-power", "blower-killed"),
        ("compressor-only", "right"),
        ("not-wired", "nothing-stops"),
    ):
        asked = trade.ask(circuit("leak-sensor", safety__wired=wired))
        assert asked["safety.finding"] == finding
        assert asked.verdict("safety.wired_right") == ("pass" if finding == "right" else "fail")


@pytest.mark.parametrize(
    ("refrigerant", "test"),
    [("R-32", "trip-sensor"), ("R-454B", "trip-sensor"), ("R-410A", "no-sensor"), ("R-22", "no-sensor")],
)  # fmt: skip
def test_the_sensor_is_tested_with_a_flammable_refrigerant(
    trade: Trade, refrigerant: str, test: str
) -> None:
    asked = trade.ask(circuit("condensate-switch") | {"system.refrigerant": refrigerant})
    assert asked["safety.sensor_test"] == test


def test_the_boards_own_row_wins(trade: Trade, with_maker: Trade) -> None:
    given = circuit("remote-on-off", "maker-wired", indoor__model="DEMO-I36")
    assert trade.ask(given)["safety.jumper"] == "as-the-diagram"
    assert with_maker.ask(given)["safety.jumper"] == "removed"
    assert with_maker.ask(given)["safety.contact"] == "opens"
    other = circuit("condensate-switch", "maker-wired", indoor__model="DEMO-I36")
    assert with_maker.ask(other)["safety.jumper"] == "as-the-diagram"
