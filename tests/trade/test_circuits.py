"""Supply circuits, MCA and MOCP from parts, grounds: against the code worked by hand, and the known traps."""

from __future__ import annotations

from itertools import product

import pytest

from kneewall.explain import Explainer
from tests.trade import wiring
from tests.trade.asking import Trade

Given = dict[str, str]


def circuit(**more: str) -> Given:
    given = {
        "nameplate.mca": "20 A", "nameplate.mocp": "30 A", "supply.load_kind": "air-conditioning",
        "supply.wiring_method": "raceway", "supply.material": "copper", "supply.insulation_rating": "90",
        "supply.termination_rating": "75", "supply.ambient": "30 °C", "supply.current_carrying": "2",
    }  # fmt: skip
    return given | {key.replace("__", "."): value for key, value in more.items()}


# -- the least wire, its breaker and its ground


@pytest.mark.parametrize("kind", ["air-conditioning", "electric-heat"])
@pytest.mark.parametrize("method", ["raceway", "nm-cable", "uf-cable", "se-cable"])
@pytest.mark.parametrize("material", ["copper", "aluminum"])
def test_least_wire_breaker_and_ground_by_hand(
    trade: Trade, kind: str, method: str, material: str
) -> None:
    grid = product((8, 16.1, 34.9, 84.4), ("60", "75"), ("60", "90"), (20, 50), (2, 5))
    for mca, terminals, insulation, celsius, count in grid:
        released = kind == "air-conditioning"
        least_breaker = wiring.standard_up(mca)

        over = {
            size: wiring.usable(size, material, method, insulation, terminals, celsius, count)
            for size in wiring.SIZES
        }
        wire = next(
            size
            for size in wiring.SIZES
            if over[size] >= mca - wiring.HAIR
            and (released or wiring.SMALL.get((material, size), 999) >= least_breaker)
        )
        most = wiring.standard_down(1.6 * mca + 10)
        if not released:
            above = wiring.standard_up(over[wire])
            most = min(most, above, wiring.SMALL.get((material, wire), 999))
        asked = trade.ask(
            circuit(
                nameplate__mca=f"{mca} A", nameplate__mocp=f"{1.6 * mca + 10} A", supply__load_kind=kind,
                supply__wiring_method=method, supply__material=material, supply__insulation_rating=insulation,
                supply__termination_rating=terminals, supply__ambient=f"{celsius} °C",
                supply__current_carrying=str(count),
            )
        )  # fmt: skip
        where = (mca, terminals, insulation, celsius, count)
        assert asked["supply.least_conductor"] == wire, where
        assert asked.number("supply.usable_ampacity") == pytest.approx(over[wire]), where
        assert asked["supply.breaker_least"] == least_breaker, where
        assert asked["supply.breaker_most"] == most, where
        assert asked["supply.least_ground"] == wiring.ground(most, material, wire), where
        assert asked.verdict("supply.breaker_exists") == "pass", where


def test_mca_gets_no_second_quarter(trade: Trade) -> None:
    asked = trade.ask(circuit(supply__termination_rating="60"))
    assert asked["supply.least_conductor"] == "12 AWG"
    asked = trade.ask(circuit(supply__termination_rating="60", nameplate__mca="20.1 A"))
    assert asked["supply.least_conductor"] == "10 AWG"


def test_the_wire_is_the_same_on_both_sides_of_no_edge(trade: Trade) -> None:
    """A whole MCA under a whole cell is not a hair over it, in whatever unit the heat was typed."""
    for ambient in ("104 °F", "40 °C"):
        asked = trade.ask(circuit(nameplate__mca="36.4 A", supply__ambient=ambient))
        # 10 AWG: 40·0.91 = 36.4, but 35 at the terminals; 8 AWG it is.
        assert asked["supply.least_conductor"] == "8 AWG"
        asked = trade.ask(circuit(nameplate__mca="27.3 A", supply__ambient=ambient))
        assert asked["supply.least_conductor"] == "10 AWG"


@pytest.mark.parametrize(
    ("mocp", "most"), [("24 A", 20), ("25 A", 25), ("29.9 A", 25), ("59 A", 50), ("60 A", 60)]
)
def test_mocp_is_only_rounded_down(trade: Trade, mocp: str, most: int) -> None:
    asked = trade.ask(circuit(nameplate__mca="15 A", nameplate__mocp=mocp))
    assert asked["supply.breaker_most"] == most


def test_a_plate_that_leaves_no_breaker_is_read_again(trade: Trade) -> None:
    asked = trade.ask(circuit(nameplate__mca="21 A", nameplate__mocp="24 A"))
    assert asked.verdict("supply.breaker_exists") == "fail"


def test_article_440_releases_small_wire_and_heat_does_not(trade: Trade) -> None:
    """The same plate: 14 AWG under 35 A as an air conditioner, 12 AWG under 20 A as heat."""
    plate = {"nameplate__mca": "19.9 A", "nameplate__mocp": "35 A"}
    cool = trade.ask(circuit(**plate))
    heat = trade.ask(circuit(supply__load_kind="electric-heat", **plate))
    assert (cool["supply.least_conductor"], cool["supply.breaker_most"]) == ("14 AWG", 35)
    assert (heat["supply.least_conductor"], heat["supply.breaker_most"]) == ("12 AWG", 20)


@pytest.mark.parametrize(
    ("breaker", "mocp", "wire", "least"),
    [
        ("35 A", "35 A", "", "14 AWG"),  # never larger than the circuit's wires
        ("35 A", "35 A", "10 AWG", "10 AWG"),
        ("20 A", "35 A", "10 AWG", "12 AWG"),  # by the breaker that is there
        ("", "35 A", "8 AWG", "10 AWG"),  # by the largest allowed
        ("70 A", "70 A", "6 AWG", "8 AWG"),
    ],
)
def test_ground_goes_by_the_breaker(
    trade: Trade, breaker: str, mocp: str, wire: str, least: str
) -> None:
    given = circuit(nameplate__mca="19.9 A", nameplate__mocp=mocp)
    given |= {"breaker.rating": breaker} if breaker else {}
    given |= {"conductor.size": wire} if wire else {}
    assert trade.ask(given)["supply.least_ground"] == least


def test_a_wire_made_thicker_for_heat_needs_no_thicker_ground(trade: Trade) -> None:
    """250.122(B): 10 AWG carries 20 A at 60 °C among six wires, 12 AWG would in a cool place; 12 AWG grounds both."""
    hot = circuit(nameplate__mocp="20 A", supply__ambient="60 °C", supply__current_carrying="6")
    cool = circuit(nameplate__mocp="20 A") | {"conductor.size": "10 AWG", "ground.size": "12 AWG"}
    asked = trade.ask(hot | {"conductor.size": "10 AWG", "ground.size": "12 AWG"})
    assert asked["supply.least_conductor"] == "10 AWG"
    assert asked["supply.grown_ground"] == "12 AWG"
    assert asked.verdict("ground.large_enough") == "pass"
    # The same wire in a cool place was made thicker by choice, from 14 AWG.
    assert trade.ask(cool).verdict("ground.large_enough") == "caution"


def test_every_size_of_breaker_is_outside_the_plate_by_one_step(trade: Trade) -> None:
    """Whatever the plate, its own maximum passes and the next standard size fails."""
    for below, above in zip(wiring.STANDARD[3:], wiring.STANDARD[4:], strict=False):
        given = circuit(nameplate__mca="12 A", nameplate__mocp=f"{below} A")
        assert (
            trade.ask(given | {"breaker.rating": f"{below} A"}).verdict("breaker.within_plate")
            == "pass"
        )
        assert (
            trade.ask(given | {"breaker.rating": f"{above} A"}).verdict("breaker.within_plate")
            == "fail"
        )


@pytest.mark.parametrize(
    ("rating", "verdict"),
    [("10 A", "pass"), ("45 A", "pass"), ("110 A", "pass"), ("41 A", "caution"), ("55 A", "caution"),
     ("601 A", "caution"), ("5 A", "caution")],
)  # fmt: skip
def test_a_breaker_of_no_standard_size_was_misread(trade: Trade, rating: str, verdict: str) -> None:
    """NFPA 70-2023 240.6(A)."""
    assert trade.ask(circuit() | {"breaker.rating": rating}).verdict("breaker.is_standard") == (
        verdict
    )
    assert trade.ask(circuit()).verdict("breaker.is_standard") == "not-applicable"


def test_without_the_mocp_the_wire_is_still_known(trade: Trade) -> None:
    given = circuit()
    del given["nameplate.mocp"]
    asked = trade.ask(given)
    assert asked["supply.least_conductor"] == "14 AWG"
    assert asked.why("supply.breaker_most") == ("missing", ["nameplate.mocp"])


@pytest.mark.parametrize("missing", ["supply.wiring_method", "supply.termination_rating"])
def test_what_the_wire_rests_on_is_asked_for(trade: Trade, missing: str) -> None:
    given = circuit()
    del given[missing]
    assert trade.ask(given).why("supply.least_conductor") == ("missing", [missing])


# -- heat on a roof, cables


def test_a_roof_adds_33_kelvin_only_on_its_surface(trade: Trade) -> None:
    for celsius in range(-5, 48):
        lying = trade.ask(circuit(supply__ambient=f"{celsius} °C", supply__on_roof_surface="yes"))
        assert lying.number("supply.ambient_factor") == pytest.approx(
            wiring.heat("90", celsius + 33)
        )
        raised = trade.ask(circuit(supply__ambient=f"{celsius} °C"))
        assert raised.number("supply.ambient_factor") == pytest.approx(wiring.heat("90", celsius))
    # The printed °F bands end at 140, 149 and 158 °F: 80, 89 and 98 °F on the roof.
    for fahrenheit, factor in (
        (80, 0.71),
        (81, 0.65),
        (89, 0.65),
        (90, 0.58),
        (98, 0.58),
        (99, 0.5),
    ):
        asked = trade.ask(
            circuit(supply__ambient=f"{fahrenheit} °F", supply__on_roof_surface="yes")
        )
        assert asked.number("supply.ambient_factor") == factor, fahrenheit


@pytest.mark.parametrize(
    ("method", "outdoor", "dwelling", "verdict"),
    [
        ("nm-cable", "yes", "yes", "fail"),
        ("nm-cable", "no", "yes", "pass"),
        ("raceway", "yes", "yes", "pass"),
        ("liquidtight-whip", "yes", "no", "pass"),
        ("uf-cable", "yes", "yes", "caution"),
        ("uf-cable", "no", "yes", "pass"),
        ("mc-cable", "yes", "no", "caution"),
        ("tc-er-jp-cable", "yes", "yes", "caution"),
        ("tc-er-jp-cable", "no", "yes", "caution"),
        ("tc-er-jp-cable", "yes", "no", "fail"),
    ],
)
def test_cables_where_they_are_permitted(
    trade: Trade, method: str, outdoor: str, dwelling: str, verdict: str
) -> None:
    given = circuit(supply__wiring_method=method, supply__outdoor=outdoor)
    assert trade.ask(given | {"site.dwelling": dwelling}).verdict("supply.cable_permitted") == (
        verdict
    )


def test_tray_cable_is_read_off_its_jacket(trade: Trade) -> None:
    """The -JP mark, power and control in the one cable, marked for sun, no building of many families."""
    given = circuit(supply__wiring_method="tc-er-jp-cable", supply__outdoor="yes")
    (found,) = (asked := trade.ask(given | {"site.dwelling": "yes"})).answer.checks(
        ["supply.cable_permitted"]
    )
    said = Explainer(asked.answer).message(found)
    for words in ("-JP mark", "power and control wires", "sun", "one- or two-family"):
        assert words in said


def test_nm_outdoors_fails_whatever_the_house(trade: Trade) -> None:
    given = circuit(supply__wiring_method="nm-cable", supply__outdoor="yes")
    assert trade.ask(given).verdict("supply.cable_permitted") == "fail"


def test_nm_and_uf_in_a_hot_attic(trade: Trade) -> None:
    """NM derates from 90 °C and stays capped at 60 °C; UF has no factor from 56 °C on."""
    nm = trade.ask(circuit(supply__wiring_method="nm-cable", supply__ambient="140 °F"))
    # 10 AWG: 40·0.71 = 28.4 under its cap of 30; 12 AWG: 30·0.71 = 21.3, capped at 20.
    assert nm["supply.least_conductor"] == "12 AWG"
    assert nm.number("supply.usable_ampacity") == 20
    over = circuit(supply__wiring_method="nm-cable", supply__ambient="140 °F")
    over["nameplate.mca"] = "20.5 A"
    assert trade.ask(over).number("supply.usable_ampacity") == pytest.approx(28.4)
    uf = trade.ask(circuit(supply__wiring_method="uf-cable", supply__ambient="133 °F"))
    assert uf.why("supply.least_conductor") == ("outside", [])


def test_only_wires_that_carry_current_count(trade: Trade) -> None:
    """Three still count as no bundle; the fourth brings 0.8. Who counts is said beside the field."""
    for count, factor in ((2, 1.0), (3, 1.0), (4, 0.8)):
        asked = trade.ask(circuit(supply__current_carrying=str(count)))
        assert asked.number("supply.grouping_factor") == factor
    field = next(q for q in trade.bundle.quantities if q.id == "supply.current_carrying")
    assert "ground does not count" in field.note
    assert "wye" in field.note


# -- what is there already


@pytest.mark.parametrize(
    ("there", "verdicts"),
    [
        ({"breaker.rating": "40 A"}, {"breaker.within_plate": "fail", "breaker.carries_plate": "pass"}),
        ({"breaker.rating": "25 A"}, {"breaker.within_plate": "pass", "breaker.carries_plate": "pass"}),
        ({"breaker.rating": "15 A"}, {"breaker.within_plate": "pass", "breaker.carries_plate": "fail"}),
        ({"conductor.size": "14 AWG"}, {"conductor.carries_plate": "pass"}),
        ({"conductor.size": "16 AWG"}, {"conductor.carries_plate": "fail"}),
        ({}, {"conductor.carries_plate": "not-applicable", "ground.large_enough": "not-applicable"}),
        ({"ground.size": "14 AWG", "conductor.size": "14 AWG"}, {"ground.large_enough": "pass"}),
        ({"ground.size": "14 AWG", "conductor.size": "12 AWG"}, {"ground.large_enough": "fail"}),
        ({"ground.size": "12 AWG", "breaker.rating": "20 A", "conductor.size": "12 AWG"},
         {"ground.large_enough": "pass"}),
        ({"ground.size": "10 AWG", "conductor.size": "6 AWG"}, {"ground.large_enough": "caution"}),
        ({"ground.size": "6 AWG", "conductor.size": "6 AWG"}, {"ground.large_enough": "pass"}),
    ],
)  # fmt: skip
def test_existing_work_is_judged(trade: Trade, there: Given, verdicts: dict[str, str]) -> None:
    """MCA 18 A and a new maximum of 25 A."""
    asked = trade.ask(circuit(nameplate__mca="18 A", nameplate__mocp="25 A") | there)
    assert {name: asked.verdict(name) for name in verdicts} == verdicts


def test_a_heat_breaker_is_judged_by_the_wire_that_is_there(trade: Trade) -> None:
    given = circuit(
        nameplate__mca="24 A", nameplate__mocp="60 A", supply__load_kind="electric-heat"
    )
    given |= {"breaker.rating": "40 A"}
    assert trade.ask(given).verdict("breaker.within_plate") == "fail"
    assert trade.ask(given | {"conductor.size": "8 AWG"}).verdict("breaker.within_plate") == "pass"
    assert trade.ask(given | {"conductor.size": "10 AWG"}).verdict("breaker.within_plate") == "fail"


# -- ground-fault protection: a rule with a last day


@pytest.mark.parametrize(
    ("day", "edition", "kind", "found"),
    [
        ("2024-05-01", "2023", "air-conditioning", "not-required"),
        ("2026-08-31", "2023", "air-conditioning", "not-required"),
        ("2026-09-01", "2023", "air-conditioning", "required"),
        ("2031-01-01", "2023", "air-conditioning", "required"),
        ("2026-08-31", "2023", "other", "required"),
        ("2026-08-31", "2020", "air-conditioning", "ask"),
        ("2026-09-01", "2020", "air-conditioning", "ask"),
        ("2026-11-25", "2026", "air-conditioning", "ask"),
        ("2026-11-25", "2017", "air-conditioning", "not-required"),
        ("2026-11-25", "2014", "other", "not-required"),
    ],
)
def test_ground_fault_protection_by_day_and_edition(
    trade: Trade, day: str, edition: str, kind: str, found: str
) -> None:
    given = circuit(supply__outdoor="yes", supply__load_kind=kind)
    given |= {"site.dwelling": "yes", "site.code_edition": edition, "visit.date": day}
    assert trade.ask(given)["supply.gfci"] == found
    assert trade.ask(given).verdict("supply.gfci_needed") == (
        "pass" if found == "not-required" else "caution"
    )
    # Indoors, at no dwelling, or above 50 A up to the 2023 edition, the rule asks for nothing.
    assert trade.ask(given | {"supply.outdoor": "no"})["supply.gfci"] == "not-required"
    assert trade.ask(given | {"site.dwelling": "no"})["supply.gfci"] == "not-required"
    large = trade.ask(given | {"breaker.rating": "60 A"})["supply.gfci"]
    assert large == (found if edition == "2026" else "not-required")
    assert trade.ask(given | {"breaker.rating": "50 A"})["supply.gfci"] == found


def test_ground_fault_protection_asks_for_day_and_edition(trade: Trade) -> None:
    given = circuit(supply__outdoor="yes") | {"site.dwelling": "yes"}
    assert trade.ask(given).why("supply.gfci")[0] == "missing"
    assert set(trade.ask(given).why("supply.gfci")[1]) == {"site.code_edition", "visit.date"}
    needs = trade.ask(given | {"site.code_edition": "2023"}).why("supply.gfci")
    assert needs == ("missing", ["visit.date"])
    assert trade.ask(given | {"site.code_edition": "2017"})["supply.gfci"] == "not-required"


@pytest.mark.parametrize(
    ("edition", "verdict"),
    [("2023", "pass"), ("NEC 2023", "pass"), ("2017", "caution"), ("2026", "caution")],
)
def test_another_edition_in_force_is_said(trade: Trade, edition: str, verdict: str) -> None:
    assert trade.ask(circuit()).verdict("site.edition_held") == "not-applicable"
    given = circuit() | {"site.code_edition": edition}
    assert trade.ask(given).verdict("site.edition_held") == verdict


# -- MCA and MOCP from the parts


@pytest.mark.parametrize("rla", [0, 7.5, 24])
@pytest.mark.parametrize("heat", [0, 20.83, 41.67])
@pytest.mark.parametrize("others", [(0,), (0.9,), (4, 2), (30, 1.5)])
def test_mca_and_mocp_by_hand(
    trade: Trade, rla: float, heat: float, others: tuple[float, ...]
) -> None:
    """440.33, 440.34, 440.22(B)(1), 440.12; heat as in the equipment standard that the trade press quotes."""
    largest, motors = max(rla, *others), rla + sum(others)
    mca = motors + 0.25 * largest + 1.25 * heat if rla else 1.25 * (motors + heat)
    ceiling = motors + 1.25 * largest + heat
    mocp = wiring.standard_down(max(ceiling, 15))
    if mocp < mca - wiring.HAIR:
        mocp = wiring.standard_up(mca)
    asked = trade.ask(
        {
            "compressor.rla": f"{rla} A",
            "other_motors.fla": "; ".join(map(str, others)),
            "heater.amps_on_circuit": f"{heat} A",
        }
    )
    assert asked.number("parts.mca") == pytest.approx(mca)
    assert asked["parts.mocp"] == mocp
    share = 1.25 if heat and not rla else 1.15
    assert asked.number("parts.least_disconnect") == pytest.approx(share * (motors + heat))


def test_the_larger_of_rated_and_selection_current_counts(trade: Trade) -> None:
    given = {"compressor.rla": "20 A", "other_motors.fla": "0"}
    assert trade.ask(given).number("parts.mca") == 25
    assert trade.ask(given | {"compressor.bcsc": "24 A"}).number("parts.mca") == 30
    assert trade.ask(given | {"compressor.bcsc": "18 A"}).number("parts.mca") == 25


def test_175_percent_goes_up_and_225_percent_goes_down(trade: Trade) -> None:
    """24 A: 42 becomes 45 and 54 becomes 50. 16 A: 28 becomes 30 and 36 becomes 35. Neither falls below 15 A."""
    for rla, up, down in ((24, 45, 50), (16, 30, 35), (20, 35, 45), (5, 15, 15), (8, 15, 15)):
        asked = trade.ask({"compressor.rla": f"{rla} A", "other_motors.fla": "0"})
        assert (asked["parts.starting_breaker"], asked["parts.mocp"]) == (up, down)


def test_the_disconnect_can_need_more_than_the_mca(trade: Trade) -> None:
    """A small compressor among many other loads: 115 % of all is more than 125 % of the largest."""
    asked = trade.ask({"compressor.rla": "5 A", "other_motors.fla": "5, 5, 5, 5"})
    assert asked.number("parts.mca") == pytest.approx(26.25)
    assert asked.number("parts.least_disconnect") == pytest.approx(28.75)


def test_parts_are_held_against_the_plate(trade: Trade) -> None:
    given = {"compressor.rla": "15.2 A", "other_motors.fla": "0.9"}
    assert trade.ask(given).verdict("parts.agree_with_plate") == "not-applicable"
    assert trade.ask(given | {"nameplate.mca": "20 A"}).verdict("parts.agree_with_plate") == "pass"
    low = trade.ask(given | {"nameplate.mca": "15 A"})
    assert low.verdict("parts.agree_with_plate") == "caution"


@pytest.mark.parametrize(
    ("heat", "stocked"),
    [("15 A", 30), ("24 A", 30), ("24.1 A", 60), ("62.5 A", 100), ("161 A", 400)],
)
def test_the_disconnect_is_one_that_is_stocked(trade: Trade, heat: str, stocked: int) -> None:
    """125 % of electric heat: 24 A is 30 A, a hair more asks for the 60 A switch."""
    asked = trade.ask({"other_motors.fla": "0", "heater.amps_on_circuit": heat})
    assert asked["parts.disconnect"] == stocked
