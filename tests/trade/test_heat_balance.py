"""Balance point and aux heat against a root of two interpolated lines, and the known traps."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy.optimize import brentq

from tests.trade.asking import Trade

Points = tuple[tuple[float, float], ...]
TABLE: Points = ((5, 20000), (17, 24000), (47, 34000))
COLD: Points = ((-15, 26000), (-5, 30000), (5, 34000), (17, 36500), (35, 36000), (47, 36000))


def house(
    load: float = 36000, design: float = 5, zero: float = 70, table: Points = TABLE, **more: str
) -> dict[str, str]:
    given = {
        "load.design": f"{load} Btu/h",
        "outdoor.design_temperature": f"{design} °F",
        "load.zero_temperature": f"{zero} °F",
        "outdoor.capacity_table": "; ".join(f"{t} °F: {c} Btu/h" for t, c in table),
        "site.nominal_voltage": "240 V",
    }
    return given | {key.replace("__", "."): value for key, value in more.items()}


@pytest.mark.parametrize("table", [TABLE, COLD])
def test_balance_and_aux_heat(trade: Trade, table: Points) -> None:
    temperatures, capacities = zip(*table, strict=True)
    for load, design, zero in product((24000, 36000, 52000), (5, 11, 17), (62, 70)):
        asked = trade.ask(house(load, design, zero, table))

        def short(
            t: float, load: float = load, design: float = design, zero: float = zero
        ) -> float:
            need = load * (zero - t) / (zero - design)
            return need - float(np.interp(t, temperatures, capacities))

        at_design = float(np.interp(design, temperatures, capacities))
        assert asked.number("balance.capacity_at_design", "Btu/h") == pytest.approx(at_design)
        needed = max(0.0, load - at_design) / 3412.142
        assert asked.number("backup.least_power", "kW") == pytest.approx(needed, rel=1e-4)
        if short(temperatures[0]) > 0 > short(temperatures[-1]):
            balance = brentq(short, temperatures[0], temperatures[-1])
            assert asked.number("balance.temperature", "degF") == pytest.approx(balance, abs=0.001)
        else:
            assert asked.why("balance.temperature")[0] == "outside"


def test_worked_example(trade: Trade) -> None:
    asked = trade.ask(house())
    assert asked.number("balance.temperature", "degF") == pytest.approx(23.0, abs=0.05)
    assert asked.number("backup.least_power", "kW") == pytest.approx(4.69, abs=0.005)
    assert asked.number("backup.kit", "kW") == pytest.approx(5)


def test_no_line_is_drawn_beyond_the_table(trade: Trade) -> None:
    asked = trade.ask(house(design=5, table=TABLE[1:]))
    assert asked.why("balance.capacity_at_design")[0] == "outside"
    assert asked.why("backup.kit")[0] == "outside"
    assert asked.verdict("balance.design_in_table") == "caution"
    warm = trade.ask(house(design=50, zero=70))
    assert warm.why("balance.capacity_at_design")[0] == "outside"


def test_indoor_temperature_and_65_degrees_are_two_lines(trade: Trade) -> None:
    inside = trade.ask(house(zero=70)).number("balance.temperature", "degF")
    with_gains = trade.ask(house(zero=65)).number("balance.temperature", "degF")
    assert inside - with_gains == pytest.approx(0.89, abs=0.01)
    close = trade.ask(house(design=60, zero=65))
    assert close.verdict("balance.lines_meet") == "caution"


@pytest.mark.parametrize(
    ("nominal", "measured", "factor", "kit"),
    # 4.689 kW delivered.
    [("240 V", None, 1.0, 5), ("208 V", None, 1.3314, 7.5), ("240 V", "230 V", 1.0888, 7.5),
     ("240 V", "248 V", 1.0, 5)],
)  # fmt: skip
def test_the_plate_of_the_kit_counts_at_the_voltage_of_the_site(
    trade: Trade, nominal: str, measured: str | None, factor: float, kit: float
) -> None:
    more = {"site.supply_voltage": measured} if measured else {}
    asked = trade.ask(house() | {"site.nominal_voltage": nominal} | more)
    rated = asked.number("backup.least_rated_power", "kW")
    assert rated / asked.number("backup.least_power", "kW") == pytest.approx(factor, abs=0.0001)
    assert asked.number("backup.kit", "kW") == pytest.approx(kit)


def test_without_a_voltage_the_plate_is_unknown(trade: Trade) -> None:
    given = house()
    del given["site.nominal_voltage"]
    asked = trade.ask(given)
    assert asked.why("backup.least_rated_power") == ("missing", ["site.nominal_voltage"])
    assert asked.number("backup.least_power", "kW") > 4


def test_emergency_heat_carries_the_house_alone(trade: Trade) -> None:
    asked = trade.ask(house())
    assert asked.number("backup.emergency_power", "kW") == pytest.approx(36000 / 3412.142, rel=1e-4)


def test_a_house_that_needs_no_aux_heat(trade: Trade) -> None:
    asked = trade.ask(house(load=18000, design=17, table=TABLE[1:]))
    assert asked.number("backup.kit", "kW") == 0
    assert asked.why("balance.temperature")[0] == "outside"


def test_the_kit_is_the_next_one_stocked(trade: Trade) -> None:
    """Sizes stocked: 3, 5, 7.5, 10, 15, 20 and 25 kW."""
    flat: Points = ((5, 10000), (47, 10000))
    for short, kit in (
        (2.9, 3),
        (3.1, 5),
        (5.1, 7.5),
        (7.6, 10),
        (10.1, 15),
        (15.1, 20),
        (20.1, 25),
    ):
        asked = trade.ask(house(load=round(10000 + 3412.142 * short, 1), table=flat))
        assert asked.number("backup.least_power", "kW") == pytest.approx(short, rel=1e-4)
        assert asked.number("backup.kit", "kW") == pytest.approx(kit)
    over = trade.ask(house(load=10000 + 3412.142 * 25.1, table=flat))
    assert over.why("backup.kit")[0] == "outside"


# -- what the lines do at their ends


def test_a_heat_pump_that_is_just_enough_at_its_coldest_point(trade: Trade) -> None:
    """The lines touch at the end of the table: that end is the balance point, not nothing."""
    just = trade.ask(house(load=20000))
    assert just.number("balance.temperature", "degF") == pytest.approx(5)
    assert just.verdict("balance.lines_cross") == "not-applicable"
    less = trade.ask(house(load=19999))
    assert less.why("balance.temperature")[0] == "outside"
    assert less.verdict("balance.lines_cross") == "pass"


@pytest.mark.parametrize(
    ("load", "verdict"), [(12000, "pass"), (36000, "not-applicable"), (400000, "caution")]
)
def test_why_there_is_no_balance_point_is_said(maker: Trade, load: int, verdict: str) -> None:
    """Never short and always short are different news; where the lines cross there is nothing to say."""
    asked = maker.ask(house(load=load))
    assert asked.verdict("balance.lines_cross") == verdict
    given = house(load=load) | {"outdoor.model": "OU-S36-B"}
    del given["outdoor.capacity_table"]
    assert maker.ask(given).verdict("balance.lines_cross") == verdict


@pytest.mark.parametrize(("design", "zero"), [(40, 20), (65, 65), (65, 64)])
def test_a_load_that_grows_with_warmth_has_no_balance_point(
    maker: Trade, design: int, zero: int
) -> None:
    """Design day and zero load mixed up: neither a table that was typed nor the catalogue gives a number."""
    typed = house(design=design, zero=zero, table=((5, 40000), (17, 30000), (47, 20000), (60, 10)))
    listed = house(design=design, zero=zero) | {"outdoor.model": "OU-S24-B"}
    del listed["outdoor.capacity_table"]
    for given in (typed, listed):
        asked = maker.ask(given)
        assert asked.why("balance.temperature")[0] == "outside"
        assert asked.verdict("balance.lines_meet") == "fail"
