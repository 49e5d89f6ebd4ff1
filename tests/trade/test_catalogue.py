"""The invented maker's catalogue: plainly possible, and in no contradiction to the calculators."""

from __future__ import annotations

import math
from collections import defaultdict
from itertools import combinations_with_replacement, pairwise

import pytest

from kneewall.engine import Unknown
from tests.trade.asking import Asked, Trade
from tests.trade.catalogue import Plan, by_model, rows, verdicts

OUTDOOR = by_model("outdoor_units")
INDOOR = by_model("indoor_units")
LINES = by_model("line_sets")
PAIRS = [(row["outdoor"], row["indoor"]) for row in rows("listed_pairs")]
KITS = {row["kit"]: row for row in rows("listed_heat_kits")}
CIRCUIT = {
    "site.nominal_voltage": "240 V", "site.supply_voltage": "240 V", "supply.material": "copper",
    "supply.wiring_method": "raceway", "supply.insulation_rating": "90",
    "supply.termination_rating": "75", "supply.ambient": "86 degF", "supply.current_carrying": "2",
}  # fmt: skip


def test_every_unit_says_that_it_is_invented(maker: Trade) -> None:
    (pack,) = [pack for pack in maker.bundle.packs if pack.rank == "maker"]
    assert "(invented)" in pack.title
    for table in maker.bundle.tables:
        for mark in table.marks.values():
            if mark.pack == pack.id:
                assert mark.source is not None
                assert mark.source.of == "demo"


@pytest.mark.parametrize("feeds", ["outdoor-unit", "indoor-unit"])
def test_plates_agree_with_their_parts(maker: Trade, feeds: str) -> None:
    units = OUTDOOR if feeds == "outdoor-unit" else INDOOR
    for model, row in units.items():
        if not row["mca"]:
            continue
        given = {
            "compressor.rla": f"{row.get('compressor', '0')} A",
            "other_motors.fla": f"{row['motors']} A",
            "nameplate.mca": f"{row['mca']} A",
        }
        asked = maker.ask(given)
        parts = asked.number("parts.mca", "A")
        assert parts <= float(row["mca"]) + 1e-9 < parts + 0.1 + 1e-6, model
        assert asked.number("parts.mocp", "A") == float(row["mocp"]), model
        assert asked.verdict("parts.agree_with_plate") == "pass"
        assert float(row["mca"]) <= float(row["mocp"])


@pytest.mark.parametrize("outdoor", OUTDOOR)
def test_plate_figures_are_offered(maker: Trade, outdoor: str) -> None:
    asked = maker.ask(
        {"outdoor.model": outdoor, "indoor.model": "AH-24-S", "circuit.feeds": "outdoor-unit"}
    )
    row = OUTDOOR[outdoor]
    for quantity, unit, column, offered_for in (
        ("nameplate.listed_mca", "A", "mca", "nameplate.mca"),
        ("nameplate.listed_mocp", "A", "mocp", "nameplate.mocp"),
        ("compressor.listed_rla", "A", "compressor", "compressor.rla"),
        ("outdoor.listed_charge", "lb", "charge", "charge.factory"),
        ("outdoor.listed_design_pressure", "psi", "design_pressure", "nameplate.design_pressure"),
        ("line.listed_precharged", "ft", "precharged", "line.precharged_length"),
        ("line.listed_charge_rate", "oz/ft", "charge_rate", "line.charge_rate"),
    ):
        assert asked.number(quantity, unit) == pytest.approx(float(row[column])), quantity
        assert offers(maker, quantity) == offered_for
    assert asked["outdoor.listed_refrigerant"] == row["refrigerant"]
    assert offers(maker, "outdoor.listed_refrigerant") == "system.refrigerant"
    assert numbers(asked, "other_motors.listed_fla") == [pytest.approx(float(row["motors"]))]


@pytest.mark.parametrize("model", OUTDOOR)
def test_plate_and_catalogue_are_compared(maker: Trade, model: str) -> None:
    row = OUTDOOR[model]
    given = {"outdoor.model": model, "indoor.model": "AH-24-S", "circuit.feeds": "outdoor-unit"}
    right = {"nameplate.mca": f"{row['mca']} A", "nameplate.mocp": f"{row['mocp']} A"}
    for plate, verdict in (
        (right, "pass"),
        (right | {"nameplate.mca": f"{float(row['mca']) * 1.03} A"}, "caution"),
        (right | {"nameplate.mocp": f"{float(row['mocp']) + 5} A"}, "caution"),
        ({}, "not-applicable"),
    ):
        assert maker.ask(given | plate).verdict("nameplate.as_listed") == verdict
    for refrigerant in ("R-454B", "R-410A"):
        asked = maker.ask(given | {"system.refrigerant": refrigerant})
        verdict = "pass" if refrigerant == row["refrigerant"] else "fail"
        assert asked.verdict("outdoor.refrigerant_as_listed") == verdict


def numbers(asked: Asked, quantity: str) -> list[float]:
    """A list of numbers in SI. Fails when it is unknown."""
    value = asked[quantity]
    assert isinstance(value, list), f"{quantity} is {value!r}"
    return [item for item in value if isinstance(item, float)]


def offers(trade: Trade, quantity: str) -> str:
    return trade.bundle.quantities[trade.engine.slots[quantity]].offers


@pytest.mark.parametrize("outdoor", [m for m, row in OUTDOOR.items() if row["ports"] != "1"])
def test_a_multi_zone_plate_counts_the_indoor_units_it_feeds(outdoor: str) -> None:
    """Whatever is connected within ports and share, its motors and 1 A of the unit's own fan are in the plate."""
    row = OUTDOOR[outdoor]
    listed = [indoor for unit, indoor in PAIRS if unit == outdoor]
    most = float(row["capacity"]) * float(row["most_share"]) / 100
    for count in range(1, int(row["ports"]) + 1):
        for units in combinations_with_replacement(listed, count):
            if sum(float(INDOOR[model]["capacity"]) for model in units) <= most:
                fed = sum(float(INDOOR[model]["motors"]) for model in units)
                assert fed + 1 <= float(row["motors"]), units


def test_an_indoor_unit_fed_from_outdoors_has_no_plate_of_its_own(maker: Trade) -> None:
    given = {"outdoor.model": "OU-M36-B", "indoor.model": "AH-12-M", "circuit.feeds": "indoor-unit"}
    assert maker.ask(given).why("nameplate.listed_mca")[0] == "outside"
    several = Plan("OU-M36-B", ["AH-12-M", "AH-12-M"]).ask(maker)
    assert isinstance(several.value("nameplate.listed_mca", "1"), Unknown)


@pytest.mark.parametrize(("outdoor", "indoor"), PAIRS)
def test_a_listed_pair_breaks_no_rule_of_its_own(outdoor: str, indoor: str, maker: Trade) -> None:
    """At the shortest and at the longest line, alone or as often as its ports and its share ask for."""
    unit, line = OUTDOOR[outdoor], LINES[indoor]
    many = max(
        int(unit["least_units"]),
        math.ceil(
            float(unit["least_share"])
            / 100
            * float(unit["capacity"])
            / float(INDOOR[indoor]["capacity"])
        ),
    )
    assert many <= int(unit["ports"]), "the pair could never be installed"
    longest = min(
        float(line["longest"]), float(unit["longest_line"]), float(unit["all_lines"]) / many
    )
    for length, lift in ((float(line["shortest"]), 0.0), (longest, 20.0), (longest, -20.0)):
        plan = Plan(outdoor, [indoor] * many, [length] * many, [lift] * many, 240.0)
        answer = plan.ask(maker)
        assert answer.value("pairing.verdict") in ("pairs", "pairs-with-adapters")
        found = dict(verdicts(answer))
        assert found["line.length_as_listed"] == found["line.lift_as_listed"] == "pass"


@pytest.mark.parametrize(("outdoor", "indoor"), PAIRS)
def test_charge_rates_go_with_their_lines(outdoor: str, indoor: str, maker: Trade) -> None:
    row = OUTDOOR[outdoor]
    given = {
        "line.length": "60 ft", "line.precharged_length": f"{row['precharged']} ft",
        "line.charge_rate": f"{row['charge_rate']} oz/ft", "charge.factory": f"{row['charge']} lb",
        "system.refrigerant": row["refrigerant"], "tube.liquid_size": LINES[indoor]["liquid"],
    }  # fmt: skip
    asked = maker.ask(given)
    assert asked.verdict("line.rate_is_for_a_foot") == "pass"
    added = (60 - float(row["precharged"])) * float(row["charge_rate"])
    assert asked.number("charge.added", "oz") == pytest.approx(added)


@pytest.mark.parametrize(("outdoor", "indoor"), PAIRS)
def test_cables_between_the_units(outdoor: str, indoor: str, maker: Trade) -> None:
    (cable,) = [
        row
        for row in rows("interunit_cables")
        if (row["outdoor_model"], row["indoor_model"]) == (outdoor, indoor)
    ]
    given = {
        "outdoor.model": outdoor, "indoor.model": indoor, "site.nominal_voltage": "240 V",
        "interunit.length": f"{cable['longest']} ft",
    }  # fmt: skip
    asked = maker.ask(given)
    fed = INDOOR[indoor]["mca"] == ""
    assert asked["interunit.feed"] == ("from-outdoor" if fed else "own-circuit")
    assert asked["interunit.separate_pair"] == (INDOOR[indoor]["link"] == "shielded-pair")
    assert asked.verdict("interunit.length_allowed") == "pass"
    assert asked.verdict("interunit.drop_small") == ("pass" if fed else "not-applicable")
    further = given | {"interunit.length": f"{float(cable['longest']) + 1} ft"}
    assert maker.ask(further).verdict("interunit.length_allowed") == "fail"


def fan_curves() -> dict[tuple[str, str], list[tuple[float, float]]]:
    curves: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    for row in rows("fan_tables"):
        curves[row["model"], row["setting"]].append((float(row["static"]), float(row["airflow"])))
    return curves


def test_fan_tables_fall_and_keep_their_order() -> None:
    curves = fan_curves()
    assert {model for model, _ in curves} == set(INDOOR)
    for points in curves.values():
        assert all(a[0] < b[0] and a[1] >= b[1] for a, b in pairwise(points))
    for model in INDOOR:
        low, medium, high = (curves[model, tap] for tap in ("low", "medium", "high"))
        for a, b, c in zip(low, medium, high, strict=True):
            assert a[1] < b[1] < c[1]


@pytest.mark.parametrize("model", INDOOR)
def test_every_point_of_a_fan_table_is_read(maker: Trade, model: str) -> None:
    for (unit, setting), points in fan_curves().items():
        if unit != model:
            continue
        tons = float(INDOOR[model]["capacity"]) / 12000
        given = {"indoor.model": model, "fan.setting": setting}
        for static, airflow in points:
            asked = maker.ask(given | {"fan.static": f"{static} in w.c."})
            assert asked.number("fan.airflow", "cfm") == pytest.approx(airflow)
            assert asked.number("fan.airflow_per_ton", "cfm/ton") == pytest.approx(airflow / tons)
        for (a, more), (b, less) in pairwise(points):
            asked = maker.ask(given | {"fan.static": f"{(a + b) / 2:.2f} in w.c."})
            assert asked.number("fan.airflow", "cfm") == pytest.approx((more + less) / 2)
        beyond = maker.ask(given | {"fan.static": f"{points[-1][0] + 0.01} in w.c."})
        assert beyond.why("fan.airflow")[0] == "outside"


def test_the_coil_gets_its_least_airflow_on_every_tap() -> None:
    for (model, _), points in fan_curves().items():
        within = [airflow for static, airflow in points if static <= 0.5]
        assert min(within) >= float(INDOOR[model]["least_airflow"]), model


def test_capacities_follow_the_weather() -> None:
    cooling: dict[tuple[str, str], dict[tuple[float, float], float]] = defaultdict(dict)
    for row in rows("cooling_capacities"):
        place = float(row["outdoor_temperature"]), float(row["wet_bulb"])
        cooling[row["outdoor"], row["indoor"]][place] = float(row["capacity"])
    assert set(cooling) == set(PAIRS)
    for pair, grid in cooling.items():
        assert grid[95, 67] == float(INDOOR[pair[1]]["capacity"]), "rated at 95 °F and 67 °F"
        for (hot, wet), capacity in grid.items():
            assert all(capacity > c for (h, w), c in grid.items() if h > hot and w == wet)
            assert all(capacity < c for (h, w), c in grid.items() if h == hot and w > wet)
    heating: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for row in rows("heating_capacities"):
        heating[row["outdoor"]].append((float(row["temperature"]), float(row["capacity"])))
    assert set(heating) == set(OUTDOOR)
    for points in heating.values():
        assert all(a[0] < b[0] and a[1] < b[1] for a, b in pairwise(points))


@pytest.mark.parametrize("outdoor", ["OU-S24-A", "OU-S24-B", "OU-M48-B"])
def test_balance_point_on_the_heating_table(maker: Trade, outdoor: str) -> None:
    """Load and capacity are equal there; the same points typed in give the same."""
    points = [
        (float(row["temperature"]), float(row["capacity"]))
        for row in rows("heating_capacities")
        if row["outdoor"] == outdoor
    ]
    load = 1.3 * points[1][1]
    given = {
        "load.design": f"{load} Btu/h", "outdoor.design_temperature": "5 degF",
        "load.zero_temperature": "68 degF", "site.nominal_voltage": "240 V",
    }  # fmt: skip
    listed = maker.ask(given | {"outdoor.model": outdoor})
    typed = maker.ask(
        given | {"outdoor.capacity_table": ", ".join(f"{t} degF: {c} Btu/h" for t, c in points)}
    )
    for name, unit in (
        ("balance.temperature", "degF"), ("balance.capacity_at_design", "Btu/h"),
        ("backup.least_rated_power", "kW"),
    ):  # fmt: skip
        assert listed.number(name, unit) == pytest.approx(typed.number(name, unit), rel=1e-9)
    at = listed.number("balance.temperature", "degF")
    ((low, less), (high, more)) = next((a, b) for a, b in pairwise(points) if a[0] <= at <= b[0])
    capacity = less + (more - less) * (at - low) / (high - low)
    assert capacity == pytest.approx(load * (68 - at) / 63, rel=1e-9)
    colder = maker.ask(given | {"outdoor.model": outdoor, "outdoor.design_temperature": "-15 degF"})
    assert colder.why("balance.capacity_at_design")[0] == "outside"


@pytest.mark.parametrize(
    "row", rows("heat_kit_fits"), ids=lambda row: f"{row['indoor']}-{row['kit']}"
)
def test_heat_kits_through_their_circuits(maker: Trade, row: dict[str, str]) -> None:
    kit, model = KITS[row["kit"]], row["indoor"]
    groups = [g["power"] for g in rows("heat_kit_groups") if g["kit"] == row["kit"]]
    assert sum(map(float, groups)) == float(kit["power"])
    blower = INDOOR[model]["motors"] if row["feeds_blower"] == "yes" else "0"
    given = CIRCUIT | {
        "indoor.model": model, "kit.model": row["kit"], "heater.group_powers": ", ".join(groups),
        "heater.rated_voltage": f"{kit['voltage']} V", "heater.feed": kit["feed"],
        "blower.current": f"{blower} A",
    }  # fmt: skip
    asked = maker.ask(given)
    table = [
        (float(c["least_ampacity"]), float(c["breaker"]))
        for c in rows("heat_kit_circuits")
        if (c["indoor"], c["kit"]) == (model, row["kit"])
    ]
    ampacity = numbers(asked, "heater.circuit_least_ampacity")
    assert [a for a, _ in table] == [pytest.approx(a, abs=0.1) for a in ampacity]
    assert numbers(asked, "heater.circuit_breaker") == [b for _, b in table]
    for check in ("heater.as_kit_table", "heater.groups_within_48", "kit.in_catalogue"):
        assert asked.verdict(check) == "pass", check
    assert asked.number("heater.listed_blower", "A") == pytest.approx(float(blower))
    watts = numbers(asked, "heater.listed_groups")
    assert watts == [pytest.approx(float(g) * 1000) for g in groups]
    low = fan_curves()[model, "low"]
    assert float(row["least_airflow"]) <= min(flow for static, flow in low if static <= 0.5)


def test_a_kit_that_is_not_listed_is_refused(maker: Trade) -> None:
    listed = {(row["indoor"], row["kit"]) for row in rows("heat_kit_fits")}
    for model in INDOOR:
        for kit in KITS:
            asked = maker.ask({"indoor.model": model, "kit.model": kit})
            assert asked["kit.fits"] == ((model, kit) in listed)
            verdict = "pass" if (model, kit) in listed else "fail"
            assert asked.verdict("kit.in_catalogue") == verdict


def test_boards_speak_for_every_setting_the_thermostat_may_have(maker: Trade) -> None:
    for outdoor, indoor in PAIRS:
        if OUTDOOR[outdoor]["zoning"] == "multi-zone":
            continue
        for dehumidify in ("yes", "no"):
            given = {
                "control.kind": "thermostat-24v", "backup.stages": "1", "compressor.calls": "1",
                "dehumidify.call": dehumidify, "outdoor.model": outdoor, "indoor.model": indoor,
            }  # fmt: skip
            asked = maker.ask(given)
            assert isinstance(asked["setup.indoor_board"], str), (outdoor, indoor)
            assert isinstance(asked["setup.outdoor_board"], str), (outdoor, indoor)
            assert asked["setup.reversing_valve"] in ("O", "B")
            without = maker.ask(given | {"backup.stages": "0"})
            assert without["setup.indoor_board"] != asked["setup.indoor_board"]


def test_codes_belong_to_their_unit(maker: Trade) -> None:
    seen = {(row["model"], row["code"]): row for row in rows("fault_codes")}
    assert {model for model, _ in seen} == set(OUTDOOR)
    for model in OUTDOOR:
        for code in sorted({code for _, code in seen}):
            asked = maker.ask({"outdoor.model": model, "fault.code": code})
            if (model, code) in seen:
                assert asked["fault.meaning"] == seen[model, code]["meaning"]
            else:
                assert asked.why("fault.meaning")[0] == "outside"
    flammable = {m for m, row in OUTDOOR.items() if row["refrigerant"] != "R-410A"}
    assert {m for m, code in seen if code == "ZZ-7"} <= flammable
