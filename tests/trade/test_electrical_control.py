"""Control power, room on the service, the cable between units, and the cautions that stand beside every circuit."""

from __future__ import annotations

from pathlib import Path

import pytest

from kneewall.compiler import compile_packs
from tests.trade.asking import RULES, Trade

Given = dict[str, str]


def control(**more: str) -> Given:
    given = {
        "transformer.va": "40 VA", "transformer.secondary_voltage": "24 V", "control.loads": "24",
        "control.gauge": "18 AWG", "control.length": "75 ft", "control.leg_current": "1 A",
    }  # fmt: skip
    return given | {key.replace("__", "."): value for key, value in more.items()}


# -- control power


@pytest.mark.parametrize(
    ("gauge", "feet"),
    # Published one-way feet for 2.4 V in solid copper at 75 °C: 0.25, 0.5, 1.0 and 1.67 A.
    [
        ("16 AWG", (982, 491, 245, 147)),
        ("18 AWG", (618, 309, 154, 93)),
        ("20 AWG", (389, 194, 97, 58)),
        ("22 AWG", (245, 122, 61, 37)),
    ],
)
def test_longest_run_for_ten_percent(trade: Trade, gauge: str, feet: tuple[int, ...]) -> None:
    for amps, printed in zip((0.25, 0.5, 1.0, 1.67), feet, strict=True):
        asked = trade.ask(control(control__gauge=gauge, control__leg_current=f"{amps} A"))
        found = asked.number("control.longest_run", "ft")
        assert found == pytest.approx(printed, abs=1.0), amps
        at_that = trade.ask(
            control(
                control__gauge=gauge,
                control__leg_current=f"{amps} A",
                control__length=f"{found:.6f} ft",
            )
        )
        assert at_that.number("control.drop") == pytest.approx(2.4, rel=1e-6)


@pytest.mark.parametrize("stranding", ["solid", "stranded"])
def test_the_thinnest_wire_keeps_ten_percent_and_the_next_does_not(
    trade: Trade, stranding: str
) -> None:
    gauges = ["22 AWG", "20 AWG", "18 AWG", "16 AWG", "14 AWG", "12 AWG"][
        2 * (stranding == "stranded") :
    ]
    for amps, feet in ((0.3, 40), (0.5, 250), (1, 170), (1.67, 60), (1.67, 200), (3, 150)):
        given = control(control__leg_current=f"{amps} A", control__length=f"{feet} ft")
        given |= {"control.stranding": stranding}
        within = [
            gauge
            for gauge in gauges
            if trade.ask(given | {"control.gauge": gauge}).number("control.drop") <= 2.4
        ]
        assert trade.ask(given)["control.least_gauge"] == within[0], (amps, feet)
    far = control(control__leg_current="4 A", control__length="400 ft")
    assert trade.ask(far).why("control.least_gauge")[0] == "outside"


def test_control_wires_are_the_wires_of_the_code_table_and_of_the_gauge_law(trade: Trade) -> None:
    """20 and 22 AWG are not in chapter 9 table 8: area by the gauge law, 12.61 Ω·cmil/ft."""
    tables = {t.id: t for t in trade.bundle.tables}
    scale = trade.bundle.units["ohm/kft"].scale
    code = {
        (size, stranding): r
        for size, metal, stranding, r in zip(*tables["conductor_resistance"].cells, strict=True)
        if metal == "copper"
    }
    for gauge, stranding, resistance in zip(*tables["control_wires"].cells, strict=True):
        if (gauge, stranding) in code:
            assert resistance == code[gauge, stranding]
            continue
        number = int(str(gauge).split()[0])
        area = (5 * 92 ** ((36 - number) / 39)) ** 2
        assert float(str(resistance)) / scale == pytest.approx(12610 / area, rel=2e-3)


def test_drop_counts_the_way_back(trade: Trade) -> None:
    asked = trade.ask(control())
    assert asked.number("control.drop") == pytest.approx(2 * 75 * 7.77 / 1000)
    assert asked.number("control.drop_percent", "percent") == pytest.approx(
        2 * 75 * 7.77 / 1000 / 24 * 100
    )
    assert asked.number("control.voltage_at_load") == pytest.approx(24 - 2 * 75 * 7.77 / 1000)


@pytest.mark.parametrize(
    ("tap", "supply", "volts", "verdict"),
    # A 240 V tap on 208 V starves the coils before any wire; a 208 V tap on 240 V cooks them.
    [
        ("240 V", "208 V", 20.8, "fail"),
        ("208 V", "240 V", 27.692, "caution"),
        ("240 V", "240 V", 24.0, "pass"),
        ("208 V", "208 V", 24.0, "pass"),
    ],
)
def test_primary_tap_and_supply(
    trade: Trade, tap: str, supply: str, volts: float, verdict: str
) -> None:
    given = control(control__length="30 ft", transformer__primary_tap=tap)
    asked = trade.ask(given | {"site.supply_voltage": supply})
    assert asked.number("transformer.real_voltage") == pytest.approx(volts, abs=0.001)
    assert asked.verdict("control.voltage_enough") == verdict


def test_without_a_tap_the_plate_counts(trade: Trade) -> None:
    assert trade.ask(control() | {"site.supply_voltage": "208 V"}).number(
        "transformer.real_voltage"
    ) == pytest.approx(24)


def test_a_tap_asks_for_the_voltage_that_is_there(trade: Trade) -> None:
    """24 V off a 240 V tap is 20.8 V on 208 V: the plate's figure is not taken for it."""
    given = control(transformer__primary_tap="240 V")
    assert trade.ask(given).why("control.voltage_at_load") == ("missing", ["site.supply_voltage"])


@pytest.mark.parametrize(
    ("va", "loads", "fits", "class_two"),
    [
        ("40 VA", "9, 12, 3, 8", "pass", "pass"),
        ("40 VA", "9, 12, 3, 8, 2", "caution", "pass"),
        ("40 VA", "20, 21", "fail", "pass"),
        ("100 VA", "80", "pass", "pass"),
        ("150 VA", "120", "pass", "fail"),
    ],
)
def test_transformer_load_and_class_two(
    trade: Trade, va: str, loads: str, fits: str, class_two: str
) -> None:
    asked = trade.ask(control(transformer__va=va, control__loads=loads))
    assert asked.verdict("control.load_fits") == fits
    assert asked.verdict("transformer.is_class_two") == class_two


@pytest.mark.parametrize(
    ("load", "size"), [("24", 40), ("32", 40), ("33", 50), ("60", 75), ("80", 100), ("81", None)]
)
def test_the_transformer_to_fetch_keeps_a_fifth_to_spare(
    trade: Trade, load: str, size: int | None
) -> None:
    asked = trade.ask(control(control__loads=load))
    if size is None:
        assert asked.why("control.transformer")[0] == "outside"
    else:
        assert asked["control.transformer"] == size


def test_over_30_volts_is_no_class_two(trade: Trade) -> None:
    asked = trade.ask(control(transformer__secondary_voltage="48 V"))
    assert asked.verdict("transformer.is_class_two") == "fail"


def test_stranded_22_gauge_is_not_in_the_table(trade: Trade) -> None:
    asked = trade.ask(control(control__gauge="22 AWG", control__stranding="stranded"))
    assert asked.why("control.drop") == ("outside", [])


# -- room on the service


@pytest.mark.parametrize("volts", [208, 240])
@pytest.mark.parametrize("area", [400, 1500, 4200])
@pytest.mark.parametrize("heating", [0, 9600, 20760])
def test_existing_dwelling_by_hand(trade: Trade, volts: int, area: int, heating: int) -> None:
    """220.83(B): 8 kVA of the general load whole, 40 % of the rest, the larger of heating and cooling whole."""
    for appliances in ((0,), (1200,), (12000, 4500, 1200, 5000)):
        general = 3 * area + 1500 * 3 + sum(appliances)
        reduced = general if general <= 8000 else 8000 + 0.4 * (general - 8000)
        load = (reduced + max(heating, 5760)) / volts
        asked = trade.ask(
            {
                "service.method": "appliance-list", "site.nominal_voltage": f"{volts} V", "service.rating": "100 A",
                "service.floor_area": f"{area} ft2", "service.small_circuits": "3",
                "service.appliances": "; ".join(map(str, appliances)), "service.heating_load": f"{heating} VA",
                "service.cooling_load": "5760 VA",
            }
        )  # fmt: skip
        assert asked.number("service.load_after") == pytest.approx(load)
        verdict = "fail" if load > 100 else "caution" if load > 90 else "pass"
        assert asked.verdict("service.has_room") == verdict


def test_twelve_months_by_hand(trade: Trade) -> None:
    """220.87: 125 % of the highest demand, and the new load whole."""
    for demand, added, volts in ((6.5, 7.2, 240), (14.0, 11.27, 208)):
        asked = trade.ask(
            {
                "service.method": "twelve-month-demand", "site.nominal_voltage": f"{volts} V",
                "service.highest_demand": f"{demand} kW", "service.added_load": f"{added} kW",
                "service.rating": "200 A",
            }
        )  # fmt: skip
        by_hand = 1000 * (1.25 * demand + added) / volts
        assert asked.number("service.load_after") == pytest.approx(by_hand)


def test_each_way_asks_only_for_its_own(trade: Trade) -> None:
    common = {"site.nominal_voltage": "240 V", "service.rating": "200 A"}
    listed = trade.ask(common | {"service.method": "appliance-list"})
    assert "service.highest_demand" not in listed.why("service.load_after")[1]
    assert "service.floor_area" in listed.why("service.load_after")[1]
    metered = trade.ask(common | {"service.method": "twelve-month-demand"})
    assert metered.why("service.load_after")[1] == ["service.highest_demand", "service.added_load"]


# -- the cable between the units

PACK = "id: sample\nrank: maker\ntitle: Sample rows\nformat: 1\n"
ROWS = "rows:\n  interunit_cables: {source: demo, file: cables.csv}\n"
CABLES = [
    (
        "outdoor_model [text],indoor_model [text],feed [interunit_feed],kind [interunit_kind],"
        "size [conductor_size],conductors [number],separate_pair [flag],longest [ft],current [A]"
    ),
    "AA-1,BB-1,from-outdoor,line-voltage,14 AWG,4,no,164,1.2",
    "AA-1,BB-2,own-circuit,shielded-pair,18 AWG,2,yes,230,",
]


@pytest.fixture(name="paired", scope="module")
def trade_with_sample_rows(tmp_path_factory: pytest.TempPathFactory) -> Trade:
    folder: Path = tmp_path_factory.mktemp("sample")
    (folder / "pack.yaml").write_text(PACK)
    (folder / "cables.yaml").write_text(ROWS)
    (folder / "cables.csv").write_text("\n".join(CABLES) + "\n")
    return Trade(compile_packs([RULES, folder]))


def pair(indoor: str, feet: int) -> Given:
    return {
        "outdoor.model": "AA-1", "indoor.model": indoor, "interunit.length": f"{feet} ft",
        "site.nominal_voltage": "240 V",
    }  # fmt: skip


def test_cable_from_the_outdoor_unit(paired: Trade) -> None:
    asked = paired.ask(pair("BB-1", 60))
    assert asked["interunit.feed"] == "from-outdoor"
    assert (asked["interunit.kind"], asked["interunit.size"]) == ("line-voltage", "14 AWG")
    assert (asked["interunit.conductors"], asked["interunit.separate_pair"]) == (4, False)
    # Chapter 9 table 8, 14 AWG stranded copper: 3.14 Ω/kft, there and back.
    assert asked.number("interunit.drop") == pytest.approx(2 * 1.2 * 60 * 3.14 / 1000)
    assert asked.verdict("interunit.length_allowed") == "pass"
    assert asked.verdict("interunit.drop_small") == "pass"
    assert paired.ask(pair("BB-1", 165)).verdict("interunit.length_allowed") == "fail"


def test_indoor_unit_on_its_own_circuit(paired: Trade) -> None:
    asked = paired.ask(pair("BB-2", 200))
    assert asked["interunit.separate_pair"] is True
    assert asked.why("interunit.drop")[0] == "not-applicable"
    assert asked.verdict("interunit.length_allowed") == "pass"


def test_a_pair_that_no_table_holds_is_unknown(trade: Trade, paired: Trade) -> None:
    assert paired.ask(pair("BB-3", 60)).why("interunit.size") == ("outside", [])
    assert trade.ask(pair("BB-1", 60)).why("interunit.size") == ("outside", [])


# -- cautions that no figure can give


@pytest.mark.parametrize(
    ("calculator", "caution", "words"),
    [
        ("supply-circuit", "power-and-control-apart", ["Low-voltage", "tied to a power cable"]),
        ("interunit-cable", "interunit-no-class-two", ["Class 2", "240 V", "-JP"]),
        ("control-power", "control-apart-from-power", ["Do not tie", "Class 2"]),
        ("supply-circuit", "disconnect-in-sight", ["in sight", "working space", "behind the unit"]),
        ("heater-circuit", "breaker-in-the-heat", ["40 °C", "larger one is no mend"]),
        ("heater-circuit", "kit-plate-wins", ["plate", "listed"]),
        ("heater-circuit", "heat-after-airflow", ["No heat before airflow"]),
        ("heater-circuit", "element-voltage", ["208 V", "33 %"]),
        ("nameplate-circuit", "lost-plate-only", ["lost plate", "always wins"]),
        ("ground-for-drop", "ground-by-wire-only", ["line set", "neutral"]),
        ("control-power", "stays-class-two", ["Class 2", "parallel"]),
        ("supply-circuit", "plate-and-maker-first", ["never exceeds"]),
        ("supply-circuit", "gfci-date", ["1 September 2026"]),
    ],
)
def test_cautions_stand_beside_their_calculator(
    trade: Trade, calculator: str, caution: str, words: list[str]
) -> None:
    text = trade.caution_beside(calculator, caution)
    assert [word for word in words if word not in text] == []


@pytest.mark.parametrize(
    "calculator",
    ["supply-circuit", "heater-circuit", "nameplate-circuit", "ground-for-drop", "voltage-drop", "control-power",
     "interunit-cable", "service-load"],
)  # fmt: skip
def test_every_circuit_is_proven_dead_first(trade: Trade, calculator: str) -> None:
    (found,) = [c for c in trade.bundle.calculators if c.id == calculator]
    assert "prove-dead" in found.cautions
