"""Lines and charge: what is weighed in, flare nuts, listed sizes, recovery; against figures apart from the rules."""

from __future__ import annotations

from math import pi

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st

from kneewall.bundle import Value
from kneewall.compiler import compile_packs
from kneewall.engine import Answer
from tests.trade.asking import RULES, Trade

OZ = 0.45359237 / 16
FT = 0.3048
FLUIDS = {"R-32": "R32", "R-454B": "R454B.mix", "R-410A": "R410A", "R-22": "R22"}
BORE = {
    "1/4 in": 18.3,
    "3/8 in": 49.0,
    "1/2 in": 96.3,
    "5/8 in": 156.1,
    "3/4 in": 234.3,
    "7/8 in": 312.2,
    "1-1/8 in": 532.4,
}
"""mm², printed with the tube table."""


def lines(trade: Trade, rows: list[tuple[float, float, float]], **system: Value) -> Answer:
    """Lines of (length ft, precharged ft, oz/ft)."""
    names = ("line.length", "line.precharged_length", "line.charge_rate")
    scales = (FT, FT, OZ / FT)
    values: dict[str, Value | dict[str, Value]] = {
        name: {str(place): row[part] * scale for place, row in enumerate(rows)}
        for part, (name, scale) in enumerate(zip(names, scales, strict=True))
    }
    values |= {key.replace("__", "."): value for key, value in system.items()}
    members = {"indoor": [str(place) for place in range(len(rows))], "circuit": []}
    return trade.engine.evaluate(values, members)


def si(answer: Answer, name: str) -> float:
    value = answer.value(name)
    assert isinstance(value, float)
    return value


def test_one_line_in_both_systems(trade: Trade) -> None:
    given = {
        "line.length": "22 m", "line.precharged_length": "7.5 m", "line.charge_rate": "20 g/m",
        "charge.factory": "1.2 kg",
    }  # fmt: skip
    metric = trade.ask(given)
    assert metric.number("charge.added", "oz") == pytest.approx(10.23, abs=0.005)
    inches = trade.ask(
        given
        | {
            "line.length": "72.18 ft",
            "line.precharged_length": "24.61 ft",
            "line.charge_rate": "0.2150 oz/ft",
        }
    )
    assert inches.number("charge.added", "oz") == pytest.approx(10.23, abs=0.005)
    assert metric.number("charge.total", "lb") == pytest.approx(1.49 / 0.45359237, rel=1e-9)


foot = st.floats(0, 300)
row = st.tuples(foot, foot, st.floats(0.05, 1))


@given(rows=st.lists(row, min_size=1, max_size=6), factory=st.floats(0.5, 20))
@settings(deadline=None, max_examples=50)
def test_summed_over_lines_and_never_negative(
    trade: Trade, rows: list[tuple[float, float, float]], factory: float
) -> None:
    each = sum(max(0.0, length - free) * rate for length, free, rate in rows)
    answer = lines(trade, rows, charge__factory=factory)
    assert si(answer, "charge.added") / OZ == pytest.approx(each, rel=1e-9, abs=1e-9)
    assert si(answer, "charge.total") == pytest.approx(factory + each * OZ, rel=1e-9)
    together = max(0.0, sum((length - free) * rate for length, free, rate in rows))
    answer = lines(trade, rows, charge__factory=factory, line__counted="all-together")
    assert si(answer, "charge.added") / OZ == pytest.approx(together, rel=1e-9, abs=1e-6)


def test_a_line_without_its_length_leaves_the_charge_unknown(trade: Trade) -> None:
    answer = lines(trade, [(40, 25, 0.2), (60, 25, 0.2)], charge__factory=2.0)
    assert si(answer, "charge.added") / OZ == pytest.approx(10)
    members = {"indoor": ["0", "1"], "circuit": []}
    values: dict[str, Value | dict[str, Value]] = {
        "line.length": {"0": 12.0},
        "line.precharged_length": {"0": 7.5, "1": 7.5},
        "line.charge_rate": {"0": 0.02, "1": 0.02},
    }
    unknown = trade.engine.evaluate(values, members).value("charge.added")
    assert not isinstance(unknown, float)


def test_a_short_line_takes_nothing_out(trade: Trade) -> None:
    given = {
        "line.length": "15 ft", "line.precharged_length": "25 ft", "line.charge_rate": "0.2 oz/ft",
        "charge.factory": "3 lb",
    }  # fmt: skip
    asked = trade.ask(given)
    assert asked.number("charge.added", "oz") == 0
    assert asked.number("charge.total", "lb") == pytest.approx(3)
    assert asked.verdict("line.long_enough_to_add") == "caution"


@pytest.mark.parametrize("refrigerant", FLUIDS)
@pytest.mark.parametrize("size", BORE)
def test_liquid_held_by_a_line(trade: Trade, refrigerant: str, size: str) -> None:
    asked = trade.ask({"system.refrigerant": refrigerant, "tube.liquid_size": size})
    density = PropsSI("D", "T", 308.15, "Q", 0, FLUIDS[refrigerant])
    found = asked.number("line.liquid_held", "g/m")
    assert found == pytest.approx(BORE[size] * density / 1000, rel=0.004)


@pytest.mark.parametrize(
    ("refrigerant", "quarter", "three_eighths"),
    # g/m printed for slightly subcooled liquid at 35 °C.
    [("R-32", 16.8, 45.1), ("R-410A", 18.5, 49.5), ("R-454B", 17.3, 46.3), ("R-22", 21.1, 56.4)],
)
def test_liquid_held_as_printed(
    trade: Trade, refrigerant: str, quarter: float, three_eighths: float
) -> None:
    for size, printed in (("1/4 in", quarter), ("3/8 in", three_eighths)):
        asked = trade.ask({"system.refrigerant": refrigerant, "tube.liquid_size": size})
        assert asked.number("line.liquid_held", "g/m") == pytest.approx(printed, rel=0.006)


@pytest.mark.parametrize("refrigerant", ["R-32", "R-454B", "R-410A"])
@pytest.mark.parametrize(("size", "rates"), [("1/4 in", (15, 20, 22)), ("3/8 in", (40, 50, 60))])
def test_grams_for_a_metre_taken_for_a_foot_are_caught(
    trade: Trade, refrigerant: str, size: str, rates: tuple[int, ...]
) -> None:
    for rate in rates:
        given = {
            "line.length": "20 m", "line.precharged_length": "7.5 m", "system.refrigerant": refrigerant,
            "tube.liquid_size": size,
        }  # fmt: skip
        right = trade.ask(given | {"line.charge_rate": f"{rate} g/m"})
        assert right.verdict("line.rate_is_for_a_foot") == "pass", rate
        wrong = trade.ask(given | {"line.charge_rate": f"{rate / 0.3048:.3f} g/m"})
        assert wrong.verdict("line.rate_is_for_a_foot") == "caution", rate


@pytest.mark.parametrize(
    ("size", "newton_metres", "foot_pounds", "flats", "flare", "turn"),
    [
        ("1/4 in", (14, 18), (10.3, 13.3), 17, (8.7, 9.1), "60 to 90°"),
        ("3/8 in", (34, 42), (25.1, 31.0), 22, (12.8, 13.2), "60 to 90°"),
        ("1/2 in", (49, 61), (36.1, 45.0), 26, (16.2, 16.6), "30 to 60°"),
        ("5/8 in", (68, 82), (50.2, 60.5), 29, (19.3, 19.7), "30 to 60°"),
        ("3/4 in", (100, 120), (73.8, 88.5), 36, (23.6, 24.0), "20 to 35°"),
    ],
)
def test_flare_nuts(
    trade: Trade, size: str, newton_metres: tuple[int, int], foot_pounds: tuple[float, float],
    flats: int, flare: tuple[float, float], turn: str,
) -> None:  # fmt: skip
    asked = trade.ask({"tube.size": size})
    for place, end in enumerate(("low", "high")):
        name = f"flare.torque_{end}"
        assert asked.number(name, "N m") == pytest.approx(newton_metres[place], rel=1e-9)
        assert asked.number(name, "ft lbf") == pytest.approx(foot_pounds[place], abs=0.05)
    assert asked.number("flare.across_flats", "mm") == pytest.approx(flats)
    assert asked.number("flare.least_diameter", "mm") == pytest.approx(flare[0])
    assert asked.number("flare.most_diameter", "mm") == pytest.approx(flare[1])
    assert asked["flare.turn"] == turn
    middle = sum(foot_pounds) / 2
    for text, verdict in (
        (f"{middle:.1f} ft lbf", "pass"),
        (f"{middle * 12:.0f} in lbf", "pass"),
        # Inch-pounds taken for foot-pounds, either way.
        (f"{middle:.1f} in lbf", "fail"),
        (f"{min(middle * 12, 500):.0f} ft lbf", "fail"),
    ):
        torqued = trade.ask({"tube.size": size, "flare.applied_torque": text})
        assert torqued.verdict("flare.torque_right") == verdict, text


@pytest.mark.parametrize("size", ["7/8 in", "1-1/8 in"])
def test_larger_tube_has_no_flare_nut(trade: Trade, size: str) -> None:
    assert trade.ask({"tube.size": size}).why("flare.torque_low")[0] == "outside"


@pytest.mark.parametrize("text", ["3/8 in", "3/8", '3/8"', "9.52 mm", "3/8 INCH"])
def test_tube_sizes_as_people_write_them(trade: Trade, text: str) -> None:
    assert trade.ask({"tube.size": text}).number("flare.across_flats", "mm") == pytest.approx(22)


@pytest.mark.parametrize("refrigerant", FLUIDS)
@pytest.mark.parametrize("capacity", [26.2, 47.6, 95.5])
def test_recovery_cylinder(trade: Trade, refrigerant: str, capacity: float) -> None:
    """80 % of the volume as liquid at 77 °F; water capacity is stamped for water at 60 °F."""
    water = PropsSI("D", "T", (60 + 459.67) / 1.8, "P", 101325, "Water")
    liquid = PropsSI("D", "T", 298.15, "Q", 0, FLUIDS[refrigerant])
    expected = 25 + 0.8 * capacity * liquid / water
    given = {
        "system.refrigerant": refrigerant, "cylinder.water_capacity": f"{capacity} lb", "cylinder.tare": "25 lb",
    }  # fmt: skip
    for gross, verdict in ((expected - 0.2, "pass"), (expected + 0.2, "fail")):
        asked = trade.ask(given | {"cylinder.gross": f"{gross:.4f} lb"})
        assert asked.number("cylinder.most_gross", "lb") == pytest.approx(expected, abs=0.02)
        assert asked.number("cylinder.room_left", "lb") == pytest.approx(expected - gross, abs=0.02)
        assert asked.verdict("cylinder.not_overfilled") == verdict


def test_recovery_record(trade: Trade) -> None:
    given = {
        "system.refrigerant": "R-32", "cylinder.water_capacity": "47.6 lb", "cylinder.tare": "28 lb",
        "cylinder.gross": "40 lb",
    }  # fmt: skip
    assert trade.ask(given).verdict("recovery.record_complete") == "not-applicable"
    started = given | {"cylinder.gross_before": "33.5 lb"}
    asked = trade.ask(started)
    assert asked.number("recovery.amount", "lb") == pytest.approx(6.5)
    assert asked.verdict("recovery.record_complete") == "caution"
    named = started | {
        "recovery.cylinder": "C-17",
        "recovery.person": "A. Moss, 1234",
        "recovery.destination": "Reclaimer",
    }
    assert trade.ask(named).verdict("recovery.record_complete") == "pass"
    lost = trade.ask(named | {"cylinder.gross_before": "41 lb"})
    assert lost.verdict("recovery.record_complete") == "caution"


CATALOGUE = """
id: catalogue
rank: maker
title: Invented catalogue
format: 1
"""
COLUMNS = (
    "model [text], liquid [tube_size], vapor [tube_size], shortest [ft], longest [ft], "
    "outdoor_above [ft], outdoor_below [ft], accessories [flag]"
)
ROWS = """
rows:
  line_sets:
    source: demo
    rows: |
      {columns}
      DEMO-12, 1/4 in, 1/2 in, 10, 82, 50, 33, no
"""


@pytest.fixture(scope="session", name="catalogue")
def with_a_catalogue(tmp_path_factory: pytest.TempPathFactory) -> Trade:
    folder = tmp_path_factory.mktemp("catalogue")
    (folder / "pack.yaml").write_text(CATALOGUE)
    (folder / "lines.yaml").write_text(ROWS.format(columns=COLUMNS))
    return Trade(compile_packs([RULES, folder]))


def run(**more: str) -> dict[str, str]:
    given = {"indoor.model": "DEMO-12", "line.length": "40 ft", "line.lift": "10 ft"}
    return given | {key.replace("__", "."): value for key, value in more.items()}


def test_listed_sizes_come_from_the_catalogue_only(trade: Trade, catalogue: Trade) -> None:
    listed = catalogue.ask(run(indoor__capacity="36 kBtu/h"))
    assert listed["line.listed_liquid_size"] == "1/4 in"
    assert listed["line.listed_vapor_size"] == "1/2 in"
    assert listed["line.usual_vapor_sizes"] == ["5/8 in"]
    assert (
        trade.ask(run(indoor__capacity="12 kBtu/h")).why("line.listed_vapor_size")[0] == "outside"
    )
    unnamed = {"indoor.capacity": "12 kBtu/h"}
    assert catalogue.ask(unnamed).why("line.listed_vapor_size") == ("missing", ["indoor.model"])


def test_the_hint_is_offered_to_nobody(trade: Trade) -> None:
    offers = {q.id: q.offers for q in trade.bundle.quantities if q.id.startswith("line.")}
    assert offers["line.listed_vapor_size"] == "tube.vapor_size"
    assert offers["line.listed_liquid_size"] == "tube.liquid_size"
    assert offers["line.usual_vapor_sizes"] == offers["line.usual_liquid_sizes"] == ""
    slots = trade.engine.slots
    hints = {slots["line.usual_vapor_sizes"], slots["line.usual_liquid_sizes"]}
    rests = [q.id for q in trade.bundle.quantities if hints & set(q.inputs)]
    assert rests == []


@pytest.mark.parametrize(
    ("capacity", "liquid", "vapor"),
    [
        ("6 kBtu/h", ["1/4 in"], ["3/8 in"]),
        ("9 kBtu/h", ["1/4 in"], ["3/8 in"]),
        ("12 kBtu/h", ["1/4 in"], ["3/8 in", "1/2 in"]),
        ("18 kBtu/h", ["1/4 in"], ["1/2 in"]),
        ("24 kBtu/h", ["1/4 in", "3/8 in"], ["5/8 in"]),
        ("36 kBtu/h", ["3/8 in"], ["5/8 in"]),
        ("48 kBtu/h", ["3/8 in"], ["5/8 in", "3/4 in"]),
        ("60 kBtu/h", ["3/8 in"], ["3/4 in", "7/8 in"]),
        ("72 kBtu/h", [], []),
    ],
)
def test_usual_sizes(trade: Trade, capacity: str, liquid: list[str], vapor: list[str]) -> None:
    asked = trade.ask({"indoor.capacity": capacity})
    assert asked["line.usual_liquid_sizes"] == liquid
    assert asked["line.usual_vapor_sizes"] == vapor


@pytest.mark.parametrize(
    ("more", "check", "verdict"),
    [
        ({}, "length_as_listed", "pass"),
        ({"line__length": "82 ft"}, "length_as_listed", "pass"),
        ({"line__length": "82.1 ft"}, "length_as_listed", "fail"),
        ({"line__length": "9.9 ft"}, "length_as_listed", "fail"),
        # Positive lift: the outdoor unit is above, and may stand higher than it may stand low.
        ({"line__lift": "50 ft"}, "lift_as_listed", "pass"),
        ({"line__lift": "51 ft"}, "lift_as_listed", "fail"),
        ({"line__lift": "-33 ft"}, "lift_as_listed", "pass"),
        ({"line__lift": "-34 ft"}, "lift_as_listed", "fail"),
        ({}, "sizes_as_listed", "not-applicable"),
        (
            {"tube__liquid_size": "1/4 in", "tube__vapor_size": "1/2 in"},
            "sizes_as_listed",
            "pass",
        ),
        (
            {"tube__liquid_size": "1/4 in", "tube__vapor_size": "3/8 in"},
            "sizes_as_listed",
            "fail",
        ),
        ({"line__both_insulated": "yes"}, "insulated", "pass"),
        ({"line__both_insulated": "no"}, "insulated", "fail"),
        ({"line__accessory_fitted": "no"}, "accessory_as_listed", "not-applicable"),
        ({"line__accessory_fitted": "yes"}, "accessory_as_listed", "fail"),
    ],
)
def test_lines_against_the_catalogue(
    catalogue: Trade, more: dict[str, str], check: str, verdict: str
) -> None:
    assert catalogue.ask(run(**more)).verdict(f"line.{check}") == verdict


def test_bores_are_as_printed(trade: Trade) -> None:
    (tubes,) = [t for t in trade.bundle.tables if t.id == "tubes"]
    names = [column.name for column in tubes.columns]
    sizes, inside = (tubes.cells[names.index(n)] for n in ("size", "inside_diameter"))
    for size, diameter in zip(sizes, inside, strict=True):
        assert isinstance(diameter, float)
        assert pi / 4 * diameter**2 * 1e6 == pytest.approx(BORE[str(size)], abs=0.06)


def test_the_entered_whole_is_held_against_factory_and_added_charge(trade: Trade) -> None:
    given = {
        "line.length": "60 ft", "line.precharged_length": "25 ft", "line.charge_rate": "0.54 oz/ft",
        "charge.factory": "5.3 lb",
    }  # fmt: skip
    # 5.3 lb and 35 ft at 0.54 oz/ft: 5.3 + 18.9 / 16 = 6.48 lb.
    for entered, verdict in (("6.48 lb", "pass"), ("5.3 lb", "caution"), ("7.0 lb", "caution")):
        asked = trade.ask(given | {"charge.total_in_system": entered})
        assert asked.verdict("charge.totals_agree") == verdict
    # A charge off the label of a system in service stands by itself.
    assert trade.ask({"charge.total_in_system": "5 lb"}).verdict("charge.totals_agree") == (
        "not-applicable"
    )
