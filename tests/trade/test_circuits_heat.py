"""Heat kits and grounds for thicker wire, against circuit theory and the code worked by hand, and the known traps."""

from __future__ import annotations

from itertools import product

import pytest

from tests.trade import wiring
from tests.trade.asking import Asked, Trade

Given = dict[str, str]


def kit(**more: str) -> Given:
    given = {
        "heater.group_powers": "10, 5", "heater.rated_voltage": "240 V", "heater.feed": "single-supply",
        "site.nominal_voltage": "240 V", "site.supply_voltage": "240 V", "blower.current": "5 A",
        "supply.material": "copper", "supply.wiring_method": "raceway", "supply.insulation_rating": "90",
        "supply.termination_rating": "75", "supply.ambient": "30 °C", "supply.current_carrying": "2",
    }  # fmt: skip
    return given | {key.replace("__", "."): value for key, value in more.items()}


def numbers(asked: Asked, quantity: str) -> list[float]:
    value = asked[quantity]
    assert isinstance(value, list), value
    return [float(x) for x in value]  # type: ignore[arg-type]


@pytest.mark.parametrize("feed", ["single-supply", "one-per-group"])
@pytest.mark.parametrize("material", ["copper", "aluminum"])
@pytest.mark.parametrize("terminals", ["60", "75"])
def test_circuits_by_hand(trade: Trade, feed: str, material: str, terminals: str) -> None:
    grid = product(
        ((4.8,), (9.6,), (10, 5), (5, 5, 5)),
        ((240, 208, 201), (240, 240, 246), (208, 208, 208), (230, 240, 236)),
        (0, 4.2),
        ((30, 2), (60, 4)),
    )
    for powers, (rated, nominal, measured), blower, (celsius, count) in grid:
        volts = max(nominal, measured)
        groups = [1000 * p / rated * volts / rated for p in powers]
        loads = [amps + (blower if place == 0 else 0) for place, amps in enumerate(groups)]
        circuits = [sum(loads)] if feed == "single-supply" else loads
        asked = trade.ask(
            kit(
                heater__group_powers="; ".join(map(str, powers)), heater__rated_voltage=f"{rated} V",
                site__nominal_voltage=f"{nominal} V", site__supply_voltage=f"{measured} V", heater__feed=feed,
                blower__current=f"{blower} A", supply__material=material, supply__termination_rating=terminals,
                supply__ambient=f"{celsius} °C", supply__current_carrying=str(count),
            )
        )  # fmt: skip
        power = 1000 * sum(powers) * (measured / rated) ** 2
        assert asked.number("heater.actual_power") == pytest.approx(power)
        assert asked.number("heater.heat", "Btu/h") == pytest.approx(power * 3.412142, rel=1e-6)
        assert asked.number("heater.amps") == pytest.approx(sum(groups))
        assert numbers(asked, "heater.circuit_amps") == pytest.approx(circuits)
        least = [1.25 * amps for amps in circuits]
        assert numbers(asked, "heater.circuit_least_ampacity") == pytest.approx(least)
        breakers = [wiring.standard_up(amps) for amps in least]
        assert asked["heater.circuit_breaker"] == breakers
        wires = [
            next(
                size
                for size in wiring.SIZES
                if wiring.usable(size, material, "raceway", "90", terminals, celsius, count)
                >= amps - wiring.HAIR
                and wiring.SMALL.get((material, size), 999) >= breaker
            )
            for amps, breaker in zip(least, breakers, strict=True)
        ]
        assert asked["heater.circuit_conductor"] == wires, (powers, rated, nominal, measured)
        assert asked["heater.circuit_ground"] == [
            wiring.ground(breaker, material, wire)
            for breaker, wire in zip(breakers, wires, strict=True)
        ]
        if feed == "single-supply":
            devices = [wiring.standard_up(1.25 * amps) for amps in loads]
            assert asked["heater.group_device"] == devices
        else:
            assert asked.why("heater.group_device")[0] == "not-applicable"


def test_current_is_linear_power_square_and_the_blower_keeps_its_amps(trade: Trade) -> None:
    high, low = (
        trade.ask(kit()),
        trade.ask(kit(site__nominal_voltage="208 V", site__supply_voltage="208 V")),
    )
    power = low.number("heater.actual_power") / high.number("heater.actual_power")
    assert power == pytest.approx(0.7511, abs=5e-5)
    assert low.number("heater.amps") / high.number("heater.amps") == pytest.approx(0.8667, abs=5e-5)
    assert numbers(low, "heater.circuit_amps")[0] - low.number("heater.amps") == pytest.approx(5)


def test_wire_is_sized_at_the_greater_voltage_and_heat_given_at_the_measured_one(
    trade: Trade,
) -> None:
    sagging = trade.ask(kit(site__supply_voltage="228 V"))
    assert sagging.number("heater.amps") == pytest.approx(62.5)
    assert sagging.number("heater.actual_power") == pytest.approx(15000 * (228 / 240) ** 2)


def test_heat_is_continuous_and_the_blower_counts(trade: Trade) -> None:
    """10 kW at 240 V is 41.7 A: 52.1 A with 25 %, and 58.3 A with the blower of 5 A; both need 60 A, not 45 A."""
    alone = trade.ask(kit(heater__group_powers="10", blower__current="0 A"))
    assert numbers(alone, "heater.circuit_least_ampacity") == pytest.approx([52.083], abs=0.001)
    with_blower = trade.ask(kit(heater__group_powers="10"))
    assert numbers(with_blower, "heater.circuit_least_ampacity") == pytest.approx(
        [58.333], abs=0.001
    )
    assert with_blower["heater.circuit_conductor"] == ["6 AWG"]


@pytest.mark.parametrize(
    ("powers", "feed", "groups", "devices"),
    [
        ("10, 5", "single-supply", "pass", "pass"),
        ("10, 5", "one-per-group", "pass", "pass"),
        ("11.52", "single-supply", "pass", "fail"),  # 48 A and a blower: 66.25 A asks for 70 A
        ("11.53", "single-supply", "fail", "fail"),
        ("15", "single-supply", "fail", "fail"),
        ("15", "one-per-group", "fail", "fail"),
        ("5, 15", "single-supply", "fail", "fail"),
    ],
)
def test_a_heater_over_48_amps_is_split_by_its_maker(
    trade: Trade, powers: str, feed: str, groups: str, devices: str
) -> None:
    asked = trade.ask(kit(heater__group_powers=powers, heater__feed=feed))
    assert asked.verdict("heater.groups_within_48") == groups
    assert asked.verdict("heater.devices_within_60") == devices


def test_48_amps_are_counted_at_the_nominal_voltage(trade: Trade) -> None:
    high = trade.ask(kit(heater__group_powers="11.5", site__supply_voltage="246 V"))
    assert high.verdict("heater.groups_within_48") == "caution"
    low = trade.ask(
        kit(heater__group_powers="12", site__nominal_voltage="208 V", site__supply_voltage="208 V")
    )
    assert low.verdict("heater.groups_within_48") == "pass"


@pytest.mark.parametrize(
    ("rated", "nominal", "measured", "verdict"),
    [
        ("208 V", "240 V", "240 V", "fail"),
        ("240 V", "208 V", "208 V", "pass"),
        ("240 V", "240 V", "248 V", "pass"),
        ("240 V", "240 V", "256 V", "caution"),
        ("230 V", "240 V", "240 V", "pass"),
    ],
)
def test_elements_on_the_wrong_voltage(
    trade: Trade, rated: str, nominal: str, measured: str, verdict: str
) -> None:
    asked = trade.ask(
        kit(
            heater__rated_voltage=rated,
            site__nominal_voltage=nominal,
            site__supply_voltage=measured,
        )
    )
    assert asked.verdict("heater.voltage_fits") == verdict


@pytest.mark.parametrize(
    ("nominal", "measured", "verdict"),
    [
        ("240 V", "243 V", "pass"),
        ("208 V", "205 V", "pass"),
        ("208 V", "240 V", "caution"),
        ("240 V", "208 V", "caution"),
    ],
)
def test_the_voltage_is_measured_and_not_guessed(
    trade: Trade, nominal: str, measured: str, verdict: str
) -> None:
    asked = trade.ask(kit(site__nominal_voltage=nominal, site__supply_voltage=measured))
    assert asked.verdict("site.voltage_as_named") == verdict


def test_without_a_measured_voltage_nothing_is_sized(trade: Trade) -> None:
    given = kit()
    del given["site.supply_voltage"]
    assert trade.ask(given).why("heater.circuit_breaker") == ("missing", ["site.supply_voltage"])


# -- grounds


@pytest.mark.parametrize("material", ["copper", "aluminum"])
def test_ground_table(trade: Trade, material: str) -> None:
    for amps in (1, 15, 15.1, 20, 25, 60, 61, 100, 101, 200, 201, 300, 400, 500, 600, 601, 800):
        given = {"breaker.rating": f"{amps} A", "supply.material": material}
        row = next(row for row in wiring.GROUND if amps <= row[0])
        expected = row[1 if material == "copper" else 2]
        assert trade.ask(given)["drop.table_ground"] == expected, amps
    assert trade.ask(given | {"breaker.rating": "801 A"}).why("drop.table_ground")[0] == "outside"


def test_areas_follow_the_wire_gauge_law(trade: Trade) -> None:
    """Diameter in mils 5·92^((36 − n)/39), within 0.3 % as small areas are rounded; a kcmil size says its own."""
    (table,) = [t for t in trade.bundle.tables if t.id == "conductor_areas"]
    for size, area in zip(*table.cells, strict=True):
        name, _, unit = str(size).partition(" ")
        if unit == "kcmil":
            assert area == 1000 * int(name)
            continue
        gauge = 1 - int(name[0]) if "/" in name else int(name)
        assert area == pytest.approx((5 * 92 ** ((36 - gauge) / 39)) ** 2, rel=3e-3), size


@pytest.mark.parametrize(
    ("breaker", "original", "installed", "least"),
    [
        ("20 A", "12 AWG", "12 AWG", "12 AWG"),
        ("20 A", "12 AWG", "10 AWG", "10 AWG"),
        ("30 A", "10 AWG", "8 AWG", "8 AWG"),
        ("60 A", "6 AWG", "4 AWG", "6 AWG"),  # 10 380·41 740/26 240 = 16 511: over 8 AWG by a hair
        ("60 A", "6 AWG", "3 AWG", "6 AWG"),
        ("100 A", "3 AWG", "1 AWG", "4 AWG"),  # 26 258: over 6 AWG by a hair
        ("35 A", "14 AWG", "12 AWG", "12 AWG"),  # never larger than the circuit's wires
        ("20 A", "10 AWG", "12 AWG", "12 AWG"),  # thinner than before: no smaller than the table
    ],
)
def test_ground_grows_with_the_wire(
    trade: Trade, breaker: str, original: str, installed: str, least: str
) -> None:
    given = {
        "breaker.rating": breaker, "supply.material": "copper", "drop.original_conductor": original,
        "conductor.size": installed,
    }  # fmt: skip
    assert trade.ask(given)["drop.least_ground"] == least
