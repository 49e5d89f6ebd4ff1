"""Wire against the published tables' own inner laws, worked examples from outside, and the known traps."""

from __future__ import annotations

from math import sqrt

import pytest

from kneewall.engine import Unknown
from tests.trade import wiring
from tests.trade.asking import Trade

Given = dict[str, str]

# Circular mils, NFPA 70-2017 chapter 9 table 8; larger sizes by the AWG formula.
CMIL = {
    "18 AWG": 1620, "16 AWG": 2580, "14 AWG": 4110, "12 AWG": 6530, "10 AWG": 10380, "8 AWG": 16510,
    "6 AWG": 26240, "4 AWG": 41740, "3 AWG": 52620, "2 AWG": 66360, "1 AWG": 83690, "1/0 AWG": 105600,
    "2/0 AWG": 133100, "3/0 AWG": 167800, "4/0 AWG": 211600, "250 kcmil": 250000, "300 kcmil": 300000,
    "350 kcmil": 350000, "400 kcmil": 400000, "500 kcmil": 500000,
}  # fmt: skip
SIZES = list(CMIL)

# Effective Z at 0.85 power factor in ohm per 1000 ft as printed: NFPA 70-2008 chapter 9 table 9.
# Columns: copper in PVC, copper in steel, aluminum in PVC, aluminum in steel.
PUBLISHED_Z = {
    "14 AWG": ("2.7", "2.7", "", ""),
    "12 AWG": ("1.7", "1.7", "2.8", "2.8"),
    "10 AWG": ("1.1", "1.1", "1.8", "1.8"),
    "8 AWG": ("0.69", "0.70", "1.1", "1.1"),
    "6 AWG": ("0.44", "0.45", "0.71", "0.72"),
    "4 AWG": ("0.29", "0.30", "0.46", "0.46"),
    "3 AWG": ("0.23", "0.24", "0.37", "0.37"),
    "2 AWG": ("0.19", "0.20", "0.30", "0.30"),
    "1 AWG": ("0.16", "0.16", "0.24", "0.25"),
    "1/0 AWG": ("0.13", "0.13", "0.19", "0.20"),
    "2/0 AWG": ("0.11", "0.11", "0.16", "0.16"),
    "3/0 AWG": ("0.088", "0.094", "0.13", "0.14"),
    "4/0 AWG": ("0.074", "0.080", "0.11", "0.11"),
    "250 kcmil": ("0.066", "0.073", "0.094", "0.10"),
    "300 kcmil": ("0.059", "0.065", "0.082", "0.088"),
    "350 kcmil": ("0.053", "0.060", "0.073", "0.080"),
    "400 kcmil": ("0.049", "0.056", "0.066", "0.073"),
    "500 kcmil": ("0.043", "0.050", "0.057", "0.064"),
}
Z_COLUMNS = [("copper", "pvc"), ("copper", "steel"), ("aluminum", "pvc"), ("aluminum", "steel")]

# NFPA 70-2023 240.6(A).
STANDARD = [
    10, 15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300, 350, 400, 450,
    500, 600, 700, 800, 1000, 1200, 1600, 2000, 2500, 3000, 4000, 5000, 6000,
]  # fmt: skip
# NFPA 70-2023 240.4(D).
SMALL = {
    ("14 AWG", "copper"): 15, ("12 AWG", "copper"): 20, ("10 AWG", "copper"): 30,
    ("12 AWG", "aluminum"): 15, ("10 AWG", "aluminum"): 25,
}  # fmt: skip
# Temperature coefficient of resistance at 75 °C, NFPA 70 chapter 9 table 8 note.
ALPHA = {"copper": 0.00323, "aluminum": 0.00330}


def drop(**more: str) -> Given:
    given = {
        "conductor.size": "10 AWG", "supply.material": "copper", "supply.length": "100 ft", "load.current": "10 A",
        "supply.source_voltage": "240 V", "supply.raceway": "none",
    }  # fmt: skip
    return given | {key.replace("__", "."): value for key, value in more.items()}


def wire(**more: str) -> Given:
    given = {
        "conductor.size": "10 AWG", "supply.material": "copper", "supply.wiring_method": "raceway",
        "supply.insulation_rating": "90", "supply.termination_rating": "75", "supply.ambient": "30 °C",
        "supply.current_carrying": "2",
    }  # fmt: skip
    return given | {key.replace("__", "."): value for key, value in more.items()}


def outside(trade: Trade, given: Given, quantity: str) -> bool:
    value = trade.ask(given)[quantity]
    return isinstance(value, Unknown) and value.why == "outside"


# -- tables


@pytest.mark.parametrize("rating", ["60", "75", "90"])
def test_ambient_factors_follow_their_law(trade: Trade, rating: str) -> None:
    """Every cell of Table 310.15(B)(1)(1) is √((Tc − Ta)/(Tc − 30)) at the top of its band, to two places."""
    for celsius in range(-10, 86):
        top = max(10, -(-celsius // 5) * 5)
        given = wire(supply__insulation_rating=rating, supply__ambient=f"{celsius} °C")
        if top > int(rating) - 5:
            assert trade.ask(given).why("supply.ambient_factor") == ("outside", []), celsius
            continue
        law = sqrt((int(rating) - top) / (int(rating) - 30))
        assert trade.ask(given).number("supply.ambient_factor") == pytest.approx(
            law, abs=0.00501
        ), celsius


@pytest.mark.parametrize(
    ("fahrenheit", "factor"),
    # The printed °F bands are whole degrees: 105–113, 114–122, 123–131, 132–140.
    [
        (105, 0.87),
        (113, 0.87),
        (114, 0.82),
        (122, 0.82),
        (123, 0.76),
        (131, 0.76),
        (132, 0.71),
        (140, 0.71),
    ],
)
def test_ambient_bands_in_fahrenheit(trade: Trade, fahrenheit: int, factor: float) -> None:
    asked = trade.ask(wire(supply__ambient=f"{fahrenheit} °F"))
    assert asked.number("supply.ambient_factor") == pytest.approx(factor)


def test_bundling_factors(trade: Trade) -> None:
    """NFPA 70-2023 Table 310.15(C)(1)."""
    for count in range(1, 60):
        bands = ((3, 1), (6, 0.8), (9, 0.7), (20, 0.5), (30, 0.45), (40, 0.4), (999, 0.35))
        factor = next(f for most, f in bands if count <= most)
        asked = trade.ask(wire(supply__current_carrying=str(count)))
        assert asked.number("supply.grouping_factor") == pytest.approx(factor), count


@pytest.mark.parametrize("material", ["copper", "aluminum"])
def test_ampacity_columns_agree_with_one_another(trade: Trade, material: str) -> None:
    """Heating of one wire goes with current squared times resistance, so each column follows from the one before.

    Neher and McGrath 1957 without dielectric loss; cells are rounded to 5 A, so they agree within 3.1 A.
    """
    smallest = "14 AWG" if material == "copper" else "12 AWG"
    for size in SIZES[SIZES.index(smallest) :]:
        column = {
            t: trade.ask(
                wire(conductor__size=size, supply__material=material, supply__insulation_rating=t)
            ).number("conductor.insulation_ampacity", "A")
            for t in ("60", "75", "90")
        }
        hotter = 1 + 15 * ALPHA[material]
        cooler = 1 - 15 * ALPHA[material]
        assert column["75"] == pytest.approx(column["60"] * sqrt(45 / 30 * cooler), abs=3.1), size
        assert column["90"] == pytest.approx(column["75"] * sqrt(60 / 45 / hotter), abs=3.1), size


def test_ampacities_are_the_printed_ones(trade: Trade) -> None:
    """Every cell of NFPA 70-2023 Table 310.16, against the table typed anew."""
    (table,) = [table for table in trade.bundle.tables if table.id == "ampacities"]
    cells = {(s, m, t): amps for s, m, t, amps in zip(*table.cells, strict=True) if amps}
    expected: dict[tuple[str, str, str], float] = {
        (size, material, rating): amps
        for (material, rating), column in wiring.AMPACITY.items()
        for size, amps in zip(wiring.SIZES, column, strict=True)
        if amps
    }
    expected |= {("18 AWG", "copper", "90"): 14, ("16 AWG", "copper", "90"): 18}
    assert cells == expected


def test_small_conductors_are_the_printed_ones(trade: Trade) -> None:
    """NFPA 70-2023 240.4(D)."""
    (table,) = [table for table in trade.bundle.tables if table.id == "small_conductors"]
    assert {(s, m): amps for s, m, amps in zip(*table.cells, strict=True)} == SMALL


def test_ampacities_grow_with_size_and_copper_carries_more(trade: Trade) -> None:
    for rating in ("60", "75", "90"):
        last = {"copper": 0.0, "aluminum": 0.0}
        for size in SIZES[3:]:
            for material in last:
                given = wire(
                    conductor__size=size,
                    supply__material=material,
                    supply__insulation_rating=rating,
                )
                value = trade.ask(given).number("conductor.insulation_ampacity", "A")
                assert value > last[material], (size, material, rating)
                last[material] = value
            assert last["copper"] > last["aluminum"]


@pytest.mark.parametrize(
    ("size", "material", "rating", "amps"),
    # Cells that pages with old editions of the table show higher: NFPA 70-2023 Table 310.16.
    [
        ("14 AWG", "copper", "60", 15), ("12 AWG", "copper", "60", 20), ("3 AWG", "copper", "90", 115),
        ("1 AWG", "copper", "90", 145), ("12 AWG", "aluminum", "60", 15), ("8 AWG", "aluminum", "60", 35),
    ],
)  # fmt: skip
def test_no_cell_of_an_old_edition(
    trade: Trade, size: str, material: str, rating: str, amps: int
) -> None:
    given = wire(conductor__size=size, supply__material=material, supply__insulation_rating=rating)
    assert trade.ask(given).number("conductor.insulation_ampacity", "A") == amps


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("material", ["copper", "aluminum"])
def test_resistance_times_area_is_one_constant(trade: Trade, size: str, material: str) -> None:
    """Copper 12.5 to 12.65 solid and 12.8 to 12.95 stranded, aluminum 20.6 to 20.85 and 21.0 to 21.4 Ω·cmil/ft."""
    spans = {
        ("copper", "solid"): (12.5, 12.65), ("copper", "stranded"): (12.8, 12.95),
        ("aluminum", "solid"): (20.6, 20.85), ("aluminum", "stranded"): (21.0, 21.4),
    }  # fmt: skip
    for stranding in ("solid", "stranded"):
        asked = trade.ask(
            drop(conductor__size=size, supply__material=material, conductor__stranding=stranding)
        )
        if stranding == "solid" and SIZES.index(size) > SIZES.index("8 AWG"):
            assert asked.why("drop.volts") == ("outside", [])
            continue
        low, high = spans[material, stranding]
        assert low < asked.number("drop.impedance", "ohm/kft") * CMIL[size] / 1000 < high


@pytest.mark.parametrize("size", list(PUBLISHED_Z))
def test_impedance_at_085_is_the_published_column(trade: Trade, size: str) -> None:
    for (material, raceway), printed in zip(Z_COLUMNS, PUBLISHED_Z[size], strict=True):
        given = drop(conductor__size=size, supply__material=material, supply__raceway=raceway)
        asked = trade.ask(given | {"load.power_factor": "0.85"})
        if not printed:
            assert asked.why("drop.impedance") == ("outside", [])
            continue
        unit_of_last_digit = 10.0 ** -len(printed.partition(".")[2])
        assert asked.number("drop.impedance", "ohm/kft") == pytest.approx(
            float(printed), abs=1.01 * unit_of_last_digit
        )


def test_reactance_is_of_size_and_conduit_alone(trade: Trade) -> None:
    """One reactance for both metals; in steel a quarter more, NFPA 70 chapter 9 table 9, to its last digit.

    Resistance against table 8: the same within two digits, more by skin effect as the wire grows.
    """
    (table,) = [table for table in trade.bundle.tables if table.id == "conductor_impedance"]
    rows = list(zip(*table.cells, strict=True))
    scale = trade.bundle.units["ohm/kft"].scale
    reactance = {(size, metal, raceway): float(x) / scale for size, metal, raceway, _, x in rows}
    for (size, metal, raceway), x in reactance.items():
        assert x == reactance[size, "copper", raceway]
        assert reactance[size, metal, "steel"] == pytest.approx(
            1.25 * reactance[size, metal, "pvc"], abs=0.0015
        ), size
    for size, metal, raceway, r, _ in rows:
        given = drop(conductor__size=str(size), supply__material=str(metal))
        direct = trade.ask(given).number("drop.impedance", "ohm/kft")
        ratio = float(r) / scale / direct
        assert 0.96 < ratio < (1.08 if raceway == "pvc" else 1.14), (size, metal, raceway)


def test_standard_ratings(trade: Trade) -> None:
    (table,) = [table for table in trade.bundle.tables if table.id == "standard_ratings"]
    assert table.cells[0] == STANDARD


# -- voltage drop


@pytest.mark.parametrize("size", ["14 AWG", "10 AWG", "6 AWG", "1/0 AWG", "500 kcmil"])
@pytest.mark.parametrize("phases", [1, 3])
def test_drop_by_the_area_formula(trade: Trade, size: str, phases: int) -> None:
    """2·K·I·L/cmil, or √3 for three phases, with K 12.9 for stranded copper: within 1 % of the table."""
    for feet, amps, volts in ((20, 5, 208), (75, 24, 240), (180, 41.67, 240)):
        asked = trade.ask(
            drop(conductor__size=size, supply__length=f"{feet} ft", load__current=f"{amps} A")
            | {"supply.source_voltage": f"{volts} V", "supply.phases": str(phases)}
        )
        by_hand = (2 if phases == 1 else sqrt(3)) * 12.9 * amps * feet / CMIL[size]
        assert asked.number("drop.volts", "V") == pytest.approx(by_hand, rel=0.01)
        assert asked.number("drop.percent", "percent") == pytest.approx(
            100 * by_hand / volts, rel=0.01
        )
        longest = 0.03 * volts * feet / by_hand
        assert asked.number("drop.longest_run", "ft") == pytest.approx(longest, rel=0.01)


@pytest.mark.parametrize(
    ("given", "volts", "percent"),
    [
        # 24 V, 4 A, 16 AWG, 100 ft: a published control-wire example prints 4.0 V and 16.7 %.
        (drop(conductor__size="16 AWG", load__current="4 A", supply__source_voltage="24 V"), 3.99, 16.63),
        # 120 V, 20 A, 12 AWG, 100 ft: 7.92 V by table 8, 7.90 V by K = 12.9.
        (drop(conductor__size="12 AWG", load__current="20 A", supply__source_voltage="120 V"), 7.92, 6.60),
        # 10 kW of heat at 240 V, 6 AWG in PVC, 60 ft: the 0.85 column would give 2.20 V and 0.92 %.
        (
            drop(conductor__size="6 AWG", load__current="41.67 A", supply__length="60 ft", supply__raceway="pvc"),
            2.45, 1.02,
        ),
    ],
)  # fmt: skip
def test_published_drops(trade: Trade, given: Given, volts: float, percent: float) -> None:
    asked = trade.ask(given)
    assert asked.number("drop.volts", "V") == pytest.approx(volts, abs=0.006)
    assert asked.number("drop.percent", "percent") == pytest.approx(percent, abs=0.03)


@pytest.mark.parametrize("material", ["copper", "aluminum"])
@pytest.mark.parametrize(
    ("raceway", "factor"), [("none", "1"), ("pvc", "0.85"), ("steel", "0.9"), ("none", "0.8")]
)
def test_least_wire_is_the_least(trade: Trade, material: str, raceway: str, factor: str) -> None:
    """It keeps 3 %, it carries the current at 60 °C, and the size below misses one of the two."""
    smallest = SIZES.index("14 AWG" if material == "copper" else "12 AWG")

    def good(size: str, given: Given) -> bool:
        asked = trade.ask(given | {"conductor.size": size, "supply.ambient": "30 °C"})
        carries = trade.ask(
            wire(conductor__size=size, supply__material=material, supply__insulation_rating="60")
        ).number("conductor.insulation_ampacity", "A")
        amps = float(given["load.current"].split()[0])
        return bool(asked.number("drop.percent", "percent") <= 3 and carries >= amps)

    for feet in (10, 60, 150, 300):
        for amps in (6, 15.5, 24, 48):
            given = drop(
                supply__material=material, supply__raceway=raceway, supply__length=f"{feet} ft"
            )
            given |= {"load.current": f"{amps} A", "load.power_factor": factor}
            least = trade.ask(given)["drop.least_conductor"]
            by_hand = next(size for size in SIZES[smallest:] if good(size, given))
            assert least == by_hand, (feet, amps)


def test_least_wire_heeds_the_plate_heat_and_bundling(trade: Trade) -> None:
    short = drop(supply__length="10 ft", load__current="20 A")
    assert trade.ask(short)["drop.least_conductor"] == "12 AWG"
    assert trade.ask(short | {"nameplate.mca": "26 A"})["drop.least_conductor"] == "10 AWG"
    # At 140 °F and six wires, 10 AWG of 90 °C carries 40·0.71·0.8 = 22.7 A and 12 AWG 30·0.71·0.8 = 17.0 A.
    hot = wire(supply__ambient="140 °F", supply__current_carrying="6")
    del hot["conductor.size"], hot["supply.material"]
    assert trade.ask(short | hot)["drop.least_conductor"] == "10 AWG"
    assert trade.ask(short | hot | {"nameplate.mca": "26 A"})["drop.least_conductor"] == "8 AWG"


def test_least_wire_is_never_below_the_circuits_own(trade: Trade) -> None:
    """Where the plate and the run are known, drop only ever adds to what the circuit needs anyway."""
    sizes = [*SIZES]
    for kind, method, terminals in (
        ("air-conditioning", "raceway", "75"),
        ("electric-heat", "raceway", "75"),
        ("air-conditioning", "nm-cable", "60"),
        ("other", "se-cable", "75"),
    ):
        for mca, feet in ((12, 20), (19.9, 20), (19.9, 250), (34.9, 60), (57, 10)):
            given = wire(supply__wiring_method=method, supply__termination_rating=terminals)
            given |= drop(supply__length=f"{feet} ft", load__current=f"{0.8 * mca} A")
            given |= {"nameplate.mca": f"{mca} A", "supply.load_kind": kind}
            asked = trade.ask(given)
            circuit, least = asked["supply.least_conductor"], asked["drop.least_conductor"]
            assert sizes.index(str(least)) >= sizes.index(str(circuit)), (kind, method, mca, feet)
            if feet == 20:
                assert least == circuit
    # A proven 75 °C and article 440 allow 14 AWG where the running current alone would get 12 AWG.
    proven = wire() | drop(supply__length="20 ft", load__current="16 A")
    proven |= {"nameplate.mca": "19.9 A", "supply.load_kind": "air-conditioning"}
    assert trade.ask(proven)["drop.least_conductor"] == "14 AWG"
    del proven["supply.ambient"]
    assert trade.ask(proven)["drop.least_conductor"] == "12 AWG"
    # A running current above the plate's MCA is taken seriously, whatever the plate says.
    above = wire() | drop(supply__length="10 ft", load__current="40 A")
    above |= {"nameplate.mca": "20 A", "supply.load_kind": "air-conditioning"}
    assert trade.ask(above)["drop.least_conductor"] == "8 AWG"


def test_no_wire_is_thick_enough(trade: Trade) -> None:
    asked = trade.ask(drop(supply__length="5000 ft", load__current="300 A"))
    assert asked.why("drop.least_conductor") == ("outside", [])


def test_what_is_missing_is_named(trade: Trade) -> None:
    given = drop()
    del given["supply.raceway"]
    assert trade.ask(given).number("drop.volts", "V") == pytest.approx(2.48)
    given["load.power_factor"] = "0.9"
    assert trade.ask(given).why("drop.volts") == ("missing", ["supply.raceway"])


# -- ampacity


@pytest.mark.parametrize(
    "method", ["raceway", "nm-cable", "uf-cable", "se-cable", "tc-er-jp-cable", "mc-cable"]
)
@pytest.mark.parametrize("material", ["copper", "aluminum"])
def test_usable_ampacity_and_breaker_by_hand(trade: Trade, method: str, material: str) -> None:
    """NFPA 70-2023 110.14(C), 310.15, 334.80, 336.10(9), 338.10(B)(4), 340.80, 240.4, 240.6, worked apart."""
    capped = {"nm-cable", "uf-cable", "tc-er-jp-cable"}
    for size in ("12 AWG", "10 AWG", "8 AWG", "4 AWG", "1/0 AWG"):
        plain = {
            t: trade.ask(
                wire(conductor__size=size, supply__material=material, supply__insulation_rating=t)
            ).number("conductor.insulation_ampacity", "A")
            for t in ("60", "75", "90")
        }
        for insulation in ("60", "75", "90"):
            for terminals in ("60", "75"):
                for celsius, count in ((20, 2), (40, 5), (50, 9)):
                    asked = trade.ask(
                        wire(
                            conductor__size=size, supply__material=material, supply__wiring_method=method,
                            supply__insulation_rating=insulation, supply__termination_rating=terminals,
                            supply__ambient=f"{celsius} °C", supply__current_carrying=str(count),
                        )
                    )  # fmt: skip
                    counts = {"nm-cable": "90", "uf-cable": "60"}.get(method, insulation)
                    heat = round(sqrt((int(counts) - celsius) / (int(counts) - 30)) + 1e-9, 2)
                    bundle = 1 if count <= 3 else 0.8 if count <= 6 else 0.7
                    limits = [plain[terminals], plain[counts] * heat * bundle]
                    if method in capped or (method == "se-cable" and size in ("12 AWG", "10 AWG")):
                        limits.append(plain["60"])
                    usable = min(limits)
                    assert asked.number("conductor.usable_ampacity", "A") == pytest.approx(usable)
                    breaker = next(rating for rating in STANDARD if rating >= usable - 1e-6)
                    most = min(breaker, SMALL.get((size, material), 800))
                    assert asked.number("conductor.most_breaker", "A") == most


@pytest.mark.parametrize(
    ("given", "usable", "breaker"),
    [
        # Trap: derating from the terminal column instead of the insulation's (35·0.71 = 24.9), or no cap (40).
        (wire(supply__ambient="140 °F"), 28.4, 30),
        (wire(), 35, 30),
        # Trap: 240.4(D) holds for a general load, whatever the 75 °C column says.
        (wire(conductor__size="14 AWG"), 20, 15),
        (wire(conductor__size="12 AWG"), 25, 20),
        # Trap: NM derates from 90 °C but stays capped at 60 °C; what is typed does not change that.
        (
            wire(
                supply__wiring_method="nm-cable",
                supply__ambient="140 °F",
                supply__insulation_rating="60",
            ),
            28.4,
            30,
        ),
        (wire(supply__wiring_method="nm-cable"), 30, 30),
        # Trap: at 51 to 55 °C the 40 °C-based table reads 0.84 where 0.76 is right.
        (wire(supply__ambient="55 °C", conductor__size="8 AWG"), 55 * 0.76, 45),
        # Above 10 AWG a value that is itself standard is not raised.
        (wire(conductor__size="8 AWG"), 50, 50),
    ],
)
def test_ampacity_traps(trade: Trade, given: Given, usable: float, breaker: int) -> None:
    asked = trade.ask(given)
    assert asked.number("conductor.usable_ampacity", "A") == pytest.approx(usable)
    assert asked.number("conductor.most_breaker", "A") == breaker


@pytest.mark.parametrize(
    ("ambient", "known"), [("131 °F", True), ("55 °C", True), ("132 °F", False), ("56 °C", False)]
)
def test_uf_cable_ends_at_131_fahrenheit(trade: Trade, ambient: str, known: bool) -> None:
    given = wire(
        supply__wiring_method="uf-cable", supply__insulation_rating="90", supply__ambient=ambient
    )
    assert outside(trade, given, "conductor.usable_ampacity") is not known


def test_outside_names_the_edge(trade: Trade) -> None:
    asked = trade.ask(wire(supply__wiring_method="uf-cable", supply__ambient="140 °F"))
    unknown = asked["conductor.usable_ampacity"]
    assert isinstance(unknown, Unknown)
    assert unknown.detail == {
        "code": "above",
        "table": "ambient_factors",
        "column": "to",
        "edge": 328.15,
    }


def test_sizes_without_a_terminal_rating_are_unknown(trade: Trade) -> None:
    assert outside(trade, wire(conductor__size="18 AWG"), "conductor.usable_ampacity")
    assert outside(
        trade,
        wire(conductor__size="14 AWG", supply__material="aluminum"),
        "conductor.usable_ampacity",
    )


def test_nothing_entered_names_everything_needed(trade: Trade) -> None:
    why, needs = trade.ask({}).why("conductor.usable_ampacity")
    assert why == "missing"
    assert set(needs) >= {
        "conductor.size", "supply.material", "supply.wiring_method", "supply.termination_rating", "supply.ambient",
        "supply.current_carrying",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("breaker", "verdict"), [("30 A", "pass"), ("35 A", "caution"), (None, "not-applicable")]
)
def test_breaker_over_the_wire(trade: Trade, breaker: str | None, verdict: str) -> None:
    given = wire() | ({"breaker.rating": breaker} if breaker else {})
    assert trade.ask(given).verdict("breaker.fits_wire") == verdict


@pytest.mark.parametrize(
    ("amps", "verdict"),
    # 10 AWG in the heat carries 28.4 A; 125 % of 28 A are the 35 A of its terminals, where no factor counts.
    [("28 A", "pass"), ("28.1 A", "caution"), ("28.4 A", "caution"), ("28.5 A", "fail")],
)
def test_load_over_the_wire(trade: Trade, amps: str, verdict: str) -> None:
    asked = trade.ask(wire(supply__ambient="140 °F", load__current=amps))
    assert asked.verdict("conductor.carries_load") == verdict


@pytest.mark.parametrize(
    ("size", "kind", "verdict"),
    # 10 kW at 240 V is 41.67 A, and 52.1 A as heat: 8 AWG carries 50 A, 6 AWG 65 A.
    [
        ("8 AWG", "electric-heat", "fail"),
        ("6 AWG", "electric-heat", "pass"),
        ("8 AWG", "other", "caution"),
        ("8 AWG", "", "caution"),
        ("6 AWG", "", "pass"),
    ],
)
def test_a_load_of_hours_counts_a_quarter_more(
    trade: Trade, size: str, kind: str, verdict: str
) -> None:
    """NFPA 70-2023 424.4(B) of electric heat; 210.19(A)(1) of any continuous load, at the terminals."""
    given = wire(conductor__size=size, load__current="41.67 A")
    given |= {"supply.load_kind": kind} if kind else {}
    assert trade.ask(given).verdict("conductor.carries_load") == verdict


def test_the_wire_for_drop_carries_heat_at_a_quarter_more(trade: Trade) -> None:
    """39 A is within the 40 A of 8 AWG at 60 °C; as heat 48.75 A asks for 6 AWG. A plate's MCA holds it already."""
    short = drop(supply__length="5 ft", load__current="39 A", conductor__size="8 AWG")
    assert trade.ask(short)["drop.least_conductor"] == "8 AWG"
    heat = short | {"supply.load_kind": "electric-heat"}
    assert trade.ask(heat)["drop.least_conductor"] == "6 AWG"
    assert trade.ask(heat).verdict("drop.wire_carries_current") == "caution"
    plate = trade.ask(heat | {"nameplate.mca": "48.7 A"})
    assert plate.number("drop.current_to_carry") == pytest.approx(48.7)
