"""Match-ups of the invented maker's units, judged here once more from the tables as they are written."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kneewall.engine import Answer, Unknown
from tests.trade.asking import Trade
from tests.trade.catalogue import Plan, Row, by_model, rows, verdicts

OUTDOOR = by_model("outdoor_units")
INDOOR = by_model("indoor_units")
LINES = by_model("line_sets")
LISTED = {(row["outdoor"], row["indoor"]) for row in rows("listed_pairs")}
PORTS: dict[str, dict[str, Row]] = {}
for each in rows("outdoor_ports"):
    PORTS.setdefault(each["model"], {})[each["port"]] = each
ADAPTERS = {(row["port"], row["line"]): row["adapter"] for row in rows("port_adapters")}
CHECKS = {
    "zoning": "zoning", "listing": "listing", "ports": "ports", "least-units": "least_units",
    "least-capacity": "least_capacity", "most-capacity": "most_capacity",
    "refrigerant": "refrigerant", "voltage": "voltage", "link": "link",
    "connections": "connections", "length": "length", "all-lines": "all_lines", "lift": "lift",
}  # fmt: skip
"""Each rule and the check that speaks of it."""


def refused_by(plan: Plan) -> set[str]:
    """The rules that a plan breaks, from the written tables."""
    unit = OUTDOOR[plan.outdoor]
    share = sum(float(INDOOR[m]["capacity"]) for m in plan.indoor) / float(unit["capacity"])
    found = {
        "ports": len(plan.indoor) > int(unit["ports"]),
        "least-units": len(plan.indoor) < int(unit["least_units"]),
        "least-capacity": share < float(unit["least_share"]) / 100 - 1e-12,
        "most-capacity": share > float(unit["most_share"]) / 100 + 1e-12,
        "all-lines": sum(plan.length) > float(unit["all_lines"]),
    }
    broken = {rule for rule, breaks in found.items() if breaks}
    for place, model in enumerate(plan.indoor):
        length = plan.length[place] if plan.length else None
        lift = plan.lift[place] if plan.lift else None
        port = plan.ports[place] if plan.ports else ""
        broken |= _refused_unit(unit, plan, model, length, lift)
        broken |= set() if goes_on(plan.outdoor, model, port) else {"connections"}
    return broken


def _refused_unit(
    unit: Row, plan: Plan, model: str, length: float | None, lift: float | None
) -> set[str]:
    indoor, line = INDOOR[model], LINES[model]
    low = max(float(unit["volts_low"]), float(indoor["volts_low"]))
    high = min(float(unit["volts_high"]), float(indoor["volts_high"]))
    way = "outdoor_above" if lift is not None and lift >= 0 else "outdoor_below"
    found = {
        "zoning": indoor["zoning"] != unit["zoning"],
        "listing": (plan.outdoor, model) not in LISTED,
        "refrigerant": indoor["refrigerant"] != unit["refrigerant"],
        "voltage": low > high or (plan.volts is not None and not low <= plan.volts <= high),
        "link": indoor["link"] != unit["link"],
        "length": length is not None
        and not float(line["shortest"])
        <= length
        <= min(float(line["longest"]), float(unit["longest_line"])),
        "lift": lift is not None and abs(lift) > min(float(line[way]), float(unit[way])),
    }
    return {rule for rule, breaks in found.items() if breaks}


def goes_on(outdoor: str, model: str, port: str) -> bool:
    """Whether the line of a unit goes on this port, or on any where none is named."""
    line = LINES[model]
    return any(
        p["liquid"] == line["liquid"]
        and (p["vapor"] == line["vapor"] or (p["vapor"], line["vapor"]) in ADAPTERS)
        for name, p in PORTS[outdoor].items()
        if port in ("", name)
    )


def needs_no_adapter(plan: Plan) -> bool:
    """Whether each line is on a port of its own size; before the ports are known, whether there are enough."""
    ports = PORTS[plan.outdoor]
    if plan.ports and all(port in ports for port in plan.ports):
        vapors = [ports[port]["vapor"] for port in plan.ports]
        return vapors == [LINES[model]["vapor"] for model in plan.indoor]
    there = Counter(port["vapor"] for port in PORTS[plan.outdoor].values())
    return not Counter(LINES[model]["vapor"] for model in plan.indoor) - there


def text(answer: Answer, quantity: str, member: str | None = None) -> str:
    value = answer.value(quantity, member)
    assert isinstance(value, str), f"{quantity} is {value!r}"
    return value


def judge(maker: Trade, plan: Plan) -> set[str]:
    """Hold verdict, broken rules and checks of a plan to the written tables; return the rules it breaks."""
    answer, expected = plan.ask(maker), refused_by(plan)
    found = answer.value("pairing.broken_rules")
    assert isinstance(found, list)
    assert set(found) == expected, plan
    fitting = "pairs" if needs_no_adapter(plan) else "pairs-with-adapters"
    kind = "does-not-pair" if expected else fitting
    assert text(answer, "pairing.verdict") == kind, plan
    failed = {name for name, verdict in verdicts(answer) if verdict == "fail"}
    for rule, check in CHECKS.items():
        assert (f"pairing.{check}" in failed) == (rule in expected), (plan, rule)
    return expected


@pytest.mark.parametrize("outdoor", OUTDOOR)
def test_every_outdoor_unit_with_every_indoor_unit(maker: Trade, outdoor: str) -> None:
    for indoor in INDOOR:
        judge(maker, Plan(outdoor, [indoor]))


plans = st.builds(
    lambda outdoor, units, volts, on_ports: Plan(
        outdoor, [u[0] for u in units], [u[1] for u in units], [u[2] for u in units], volts,
        "".join(u[3] for u in units) if on_ports else "",
    ),
    st.sampled_from(sorted(OUTDOOR)),
    st.lists(
        st.tuples(
            st.sampled_from(sorted(INDOOR)),
            st.integers(5, 170).map(float),
            st.integers(-100, 110).map(float),
            st.sampled_from("ABCDEF"),
        ),
        min_size=1,
        max_size=6,
    ),
    st.sampled_from([None, 208.0, 240.0]),
    st.booleans(),
)  # fmt: skip


@given(plan=plans)
@settings(deadline=None, max_examples=50)
def test_any_plan_is_refused_for_its_own_reasons(maker: Trade, plan: Plan) -> None:
    judge(maker, plan)


@given(data=st.data())
@settings(deadline=None, max_examples=40)
def test_what_would_do_does(maker: Trade, data: st.DataObject) -> None:
    """A unit that is named instead is one that the written tables take."""
    outdoor = data.draw(st.sampled_from(sorted(OUTDOOR)))
    same = sorted(m for m in INDOOR if INDOOR[m]["zoning"] == OUTDOOR[outdoor]["zoning"])
    indoor = data.draw(st.lists(st.sampled_from(same), min_size=1, max_size=5))
    feet = data.draw(st.lists(st.sampled_from([20.0, 60.0, 90.0]), min_size=5, max_size=5))
    lift = data.draw(st.sampled_from([-75.0, -60.0, -40.0, 20.0, 60.0, 90.0]))
    volts = data.draw(st.sampled_from([None, 208.0, 240.0]))
    plan = Plan(outdoor, indoor, feet[: len(indoor)], [lift] * len(indoor), volts)
    answer, broken = plan.ask(maker), refused_by(plan)
    fits = [name for name in OUTDOOR if not refused_by(replace(plan, outdoor=name))]
    instead = answer.value("pairing.outdoor_instead")
    if broken and fits:
        assert instead == fits[0]
    else:
        assert isinstance(instead, Unknown)
    for member, model in zip(plan.members(), indoor, strict=True):
        alternative = answer.value("pairing.alternatives", member)
        if not broken or ((outdoor, model) in LISTED and not fits):
            assert isinstance(alternative, Unknown)
        elif (outdoor, model) in LISTED:
            assert alternative == fits[0]
        else:
            assert (outdoor, str(alternative)) in LISTED


@pytest.mark.parametrize(
    ("plan", "instead"),
    [
        (Plan("OU-S24-B", ["AH-36-S"], volts=208.0), "OU-S36-B"),
        (Plan("OU-S36-B", ["AH-48-S"], volts=208.0), None),
        (Plan("OU-S36-B", ["AH-48-S"], volts=240.0), "OU-S48-B"),
        # The indoor unit itself is listed for 82 ft above and 66 ft below, whatever stands outdoors.
        (Plan("OU-S24-A", ["AH-24-S"], [60.0], [-66.0]), "OU-S24-B"),
        (Plan("OU-S24-A", ["AH-24-S"], [60.0], [-70.0]), None),
        (Plan("OU-S24-B", ["AH-24-S"], [60.0], [90.0]), None),
        (Plan("OU-S12-B", ["AH-24-S"], [125.0], [0.0]), "OU-S24-B"),
        (Plan("OU-S24-B", ["AH-24-S"], [140.0], [0.0]), None),
    ],
)
def test_another_outdoor_unit_must_do_in_every_way(
    maker: Trade, plan: Plan, instead: str | None
) -> None:
    value = plan.ask(maker).value("pairing.outdoor_instead")
    assert isinstance(value, Unknown) if instead is None else value == instead


def test_a_variant_is_told_by_its_last_letter(maker: Trade) -> None:
    for size in ("12", "18", "24"):
        single, multi = f"AH-{size}-S", f"AH-{size}-M"
        outdoor = {"12": "OU-S12-B", "18": "OU-S24-B", "24": "OU-S24-B"}[size]
        assert judge(maker, Plan(outdoor, [single])) == set()
        wrong = Plan(outdoor, [multi])
        assert "zoning" in judge(maker, wrong)
        assert text(wrong.ask(maker), "pairing.alternatives", "1") == single


def test_an_older_generation_takes_fewer_sizes(maker: Trade) -> None:
    assert judge(maker, Plan("OU-M36-B", ["AH-18-M", "AH-12-M"])) == set()
    older = Plan("OU-M36-A", ["AH-18-M", "AH-12-M"])
    assert judge(maker, older) == {"listing"}
    assert text(older.ask(maker), "pairing.outdoor_instead") == "OU-M36-B"
    assert judge(maker, Plan("OU-S36-A", ["AH-24-T"])) == {"listing"}


def test_four_zones_and_their_adapters(maker: Trade) -> None:
    """9 + 9 + 12 + 12 on 36 is 42/36; a 1/2 in line on a 3/8 in port keeps its size all the way."""
    answer = Plan("OU-M36-B", ["AH-09-M", "AH-09-M", "AH-12-M", "AH-12-M"]).ask(maker)
    assert answer.value("pairing.connected_share") == pytest.approx(42 / 36)
    assert adapters(answer) == [[], [], ["3/8 to 1/2 in"], ["3/8 to 1/2 in"]]
    assert answer.value("line.listed_vapor_size", "3") == "1/2 in"


def adapters(answer: Answer) -> list[list[str]]:
    """Those of four indoor units; none where a line fits its port as it is."""
    found = []
    for member in "1234":
        value = answer.value("pairing.adapters", member)
        if isinstance(value, Unknown):
            assert value.why == "not-applicable"
        found.append([str(each) for each in value] if isinstance(value, list) else [])
    return found


def test_ports_of_two_sizes(maker: Trade) -> None:
    """A, B and C of 3/8 in, D and E of 1/2 in."""
    zones = ["AH-09-M", "AH-09-M", "AH-12-M", "AH-18-M"]
    answer = Plan("OU-M48-B", zones).ask(maker)
    assert text(answer, "pairing.verdict") == "pairs"
    assert adapters(answer) == [[], [], [], []]
    for ports, found in (
        ("ABDE", [[], [], [], []]),
        ("ADBE", [[], ["1/2 to 3/8 in"], ["3/8 to 1/2 in"], []]),
    ):
        answer = Plan("OU-M48-B", zones, ports=ports).ask(maker)
        assert adapters(answer) == found
    crowded = Plan("OU-M48-B", ["AH-12-M", "AH-12-M", "AH-18-M"]).ask(maker)
    assert text(crowded, "pairing.verdict") == "pairs-with-adapters"
    which = crowded.value("pairing.adapters", "1")
    assert isinstance(which, Unknown)
    assert ("zone.port", "1") in crowded.needs(which)
    large = Plan("OU-M48-B", ["AH-24-M", "AH-09-M"], ports="EA")
    assert judge(maker, large) == set()
    assert large.ask(maker).value("pairing.adapters", "1") == ["1/2 to 5/8 in"]
    assert judge(maker, replace(large, ports="AE")) == {"connections"}


def test_every_rule_refuses_somebody(maker: Trade) -> None:
    refused = set()
    for example in maker.bundle.examples:
        if example.calculator == "pairing":
            for expected in example.expect:
                if expected.quantity == "pairing.broken_rules":
                    refused |= set(expected.value)  # type: ignore[arg-type]
    refused |= judge(maker, Plan("OU-S24-B", ["AH-24-M"]))
    assert refused == set(CHECKS)


def test_nothing_is_said_of_units_that_no_catalogue_holds(trade: Trade, maker: Trade) -> None:
    for ask, verdict in ((maker, "fail"), (trade, "caution")):
        answer = Plan("OU-S24", ["AH-24"]).ask(ask)
        for name in ("pairing.verdict", "pairing.broken_rules", "pairing.connected_share"):
            value = answer.value(name)
            assert isinstance(value, Unknown)
            assert value.why == "outside"
        found = dict(verdicts(answer))
        assert found["pairing.outdoor_in_catalogue"] == verdict
        assert found["pairing.indoor_in_catalogue"] == verdict
        assert found["pairing.listing"] == "unknown"


def test_a_missing_model_is_asked_for(maker: Trade) -> None:
    answer = maker.engine.evaluate(
        {"outdoor.model": "OU-S24-B"}, {"indoor": ["1"], "circuit": ["1"]}
    )
    value = answer.value("pairing.verdict")
    assert isinstance(value, Unknown)
    assert (value.why, [name for name, _ in answer.needs(value)]) == ("missing", ["indoor.model"])


def test_one_refusal_is_enough_while_another_unit_is_unknown(maker: Trade) -> None:
    answer = Plan("OU-S24-B", ["AH-24-M", "AH-24"]).ask(maker)
    assert text(answer, "pairing.verdict") == "does-not-pair"


def test_a_branch_is_sized_by_its_indoor_unit_whatever_the_outdoor_unit(maker: Trade) -> None:
    """A branch carries the flow of its own indoor unit: the outdoor unit's size says nothing of it."""
    sizes: dict[str, set[str]] = {}
    outdoor: Counter[str] = Counter()
    for row in rows("listed_pairs"):
        answer = Plan(row["outdoor"], [row["indoor"]]).ask(maker)
        found = [answer.value(f"line.listed_{pipe}_size", "1") for pipe in ("liquid", "vapor")]
        sizes.setdefault(row["indoor"], set()).add(str(found))
        outdoor[row["indoor"]] += 1
    assert all(len(found) == 1 for found in sizes.values())
    assert max(outdoor.values()) > 1
