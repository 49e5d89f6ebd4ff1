"""Static pressure and its trend, by subtraction and by the square law, and the known traps."""

from __future__ import annotations

from itertools import product

import pytest

from tests.trade.asking import Trade

PLACES = ("before_filter", "after_filter", "supply_reading", "before_coil", "after_coil")


def gauge(
    *readings: float, rated: float = 0.5, in_rating: bool = False, unit: str = "in w.c."
) -> dict[str, str]:
    """Readings in the order of `PLACES`."""
    given = {
        f"static.{place}": f"{reading} {unit}"
        for place, reading in zip(PLACES, readings, strict=False)
    }
    return given | {
        "blower.rated_static": f"{rated} in w.c.",
        "filter.in_rating": "yes" if in_rating else "no",
    }


@pytest.mark.parametrize("in_rating", [False, True])
def test_total_and_parts_by_subtraction(trade: Trade, in_rating: bool) -> None:
    for suction, drop, supply, rated in product(
        (0, 0.08, 0.25), (0.05, 0.2), (0.02, 0.3), (0.3, 0.5, 0.8)
    ):
        asked = trade.ask(
            gauge(-suction, -suction - drop, supply, rated=rated, in_rating=in_rating)
        )
        total = supply + suction + (0 if in_rating else drop)
        assert asked.number("static.total_external", "in w.c.") == pytest.approx(total)
        assert asked.number("static.share_of_rated", "percent") == pytest.approx(
            100 * total / rated
        )
        assert asked.number("static.filter", "in w.c.") == pytest.approx(drop)
        assert asked.number("static.return", "in w.c.") == pytest.approx(suction, abs=1e-12)
        assert asked.number("static.supply", "in w.c.") == pytest.approx(supply)
        assert asked.verdict("static.within_rating") == ("fail" if total > rated + 1e-9 else "pass")
        loads = {
            "filter": drop / 0.25,
            "return-duct": suction / 0.25,
            "supply-duct": supply / 0.5,
        }
        assert asked["static.look_first"] == max(loads, key=lambda part: loads[part])


def test_a_return_in_suction_is_subtracted_with_its_sign(trade: Trade) -> None:
    asked = trade.ask(gauge(-0.2, -0.3, 0.3, in_rating=True))
    assert asked.number("static.total_external", "in w.c.") == pytest.approx(0.5)
    assert asked.verdict("static.within_rating") == "pass"


@pytest.mark.parametrize(
    "readings",
    # Sign of the return left out; hoses swapped at the filter; supply in suction.
    [(0.2, 0.3, 0.3), (-0.3, -0.2, 0.3), (-0.2, -0.3, -0.3)],
)
def test_wrong_signs_give_no_total(trade: Trade, readings: tuple[float, ...]) -> None:
    asked = trade.ask(gauge(*readings))
    assert asked.why("static.total_external")[0] == "outside"
    assert asked.verdict("static.signs") == "fail"
    assert asked.verdict("static.within_rating") == "unknown"


def test_the_filter_counts_once(trade: Trade) -> None:
    """0.12 of filter is the difference between a unit within its rating and one over it."""
    inside = trade.ask(gauge(-0.2, -0.32, 0.3, in_rating=True))
    outside = trade.ask(gauge(-0.2, -0.32, 0.3))
    assert inside.verdict("static.within_rating") == "pass"
    assert outside.verdict("static.within_rating") == "fail"
    assert outside.number("static.total_external", "in w.c.") == pytest.approx(0.62)


def test_with_the_filter_in_the_rating_its_drop_is_not_needed_for_the_total(trade: Trade) -> None:
    given = gauge(-0.2, -0.32, 0.3, in_rating=True)
    del given["static.after_filter"]
    asked = trade.ask(given)
    assert asked.number("static.total_external", "in w.c.") == pytest.approx(0.5)
    assert asked.why("static.filter") == ("missing", ["static.after_filter"])


@pytest.mark.parametrize("missing", ["before_filter", "after_filter", "supply_reading"])
def test_a_missing_reading_leaves_the_total_unknown(trade: Trade, missing: str) -> None:
    given = gauge(-0.2, -0.32, 0.3)
    del given[f"static.{missing}"]
    assert trade.ask(given).why("static.total_external") == ("missing", [f"static.{missing}"])


def test_coil_on_either_side_of_the_blower(trade: Trade) -> None:
    drawn = trade.ask(gauge(-0.1, -0.2, 0.2, -0.2, -0.42))
    blown = trade.ask(gauge(-0.1, -0.2, 0.2, 0.5, 0.28))
    for asked in (drawn, blown):
        assert asked.number("static.coil", "in w.c.") == pytest.approx(0.22)
        assert asked.verdict("static.signs") == "pass"
    swapped = trade.ask(gauge(-0.1, -0.2, 0.2, -0.42, -0.2))
    assert swapped.verdict("static.signs") == "fail"
    assert trade.ask(gauge(-0.1, -0.2, 0.2)).why("static.coil")[0] == "not-applicable"
    assert trade.ask(gauge(-0.1, -0.2, 0.2, -0.2)).why("static.coil") == (
        "missing",
        ["static.after_coil"],
    )


@pytest.mark.parametrize(("drop", "verdict"), [(0.12, "pass"), (0.13, "caution")])
def test_a_filter_over_a_quarter_of_the_rating(trade: Trade, drop: float, verdict: str) -> None:
    asked = trade.ask(gauge(-0.05, -0.05 - drop, 0.1))
    assert asked.verdict("static.filter_share") == verdict


def test_pascals_and_a_decimal_comma(trade: Trade) -> None:
    asked = trade.ask(gauge(-50, -75, 60, unit="Pa") | {"static.supply_reading": "60,5 Pa"})
    assert asked.number("static.total_external", "Pa") == pytest.approx(135.5)


# -- the trend


def trend(then: tuple[float, float], now: tuple[float, float], **parts: float) -> dict[str, str]:
    """(cfm, in w.c.) at the first reading and today."""
    given = {
        "trend.flow_then": f"{then[0]} cfm",
        "trend.total_then": f"{then[1]} in w.c.",
        "air.flow": f"{now[0]} cfm",
        "trend.total_now": f"{now[1]} in w.c.",
    }
    return given | {f"trend.{part}": f"{value} in w.c." for part, value in parts.items()}


@pytest.mark.parametrize(
    ("now", "ratio", "verdict"),
    # Fan laws: the same duct at 10 % more speed is unchanged. 0.62 in w.c. at 1000 and at 1100 cfm.
    [
        ((1210, 0.48 * 1.21), 1.0, "pass"),
        ((1000, 0.62), 1.563, "fail"),
        ((1100, 0.62), 1.292, "caution"),
        ((1100, 0.48), 1.0, "pass"),
        ((1100, 0.3), 0.625, "caution"),
    ],
)
def test_resistance_ratio(
    trade: Trade, now: tuple[float, float], ratio: float, verdict: str
) -> None:
    asked = trade.ask(trend((1100, 0.48), now))
    assert asked.number("trend.resistance_ratio") == pytest.approx(ratio, abs=0.001)
    assert asked.verdict("trend.resistance") == verdict


def test_static_alone_would_mislead(trade: Trade) -> None:
    """A blower turned down reads less static on a dirtier path."""
    asked = trade.ask(trend((1100, 0.48), (900, 0.46)))
    assert asked.number("trend.resistance_ratio") > 1.4


def test_the_part_that_changed_most(trade: Trade) -> None:
    for worst in ("filter", "coil", "return", "supply"):
        parts = {f"{part}_then": 0.1 for part in ("filter", "coil", "return", "supply")}
        parts |= {f"{part}_now": 0.12 for part in ("filter", "coil", "return", "supply")}
        asked = trade.ask(trend((1000, 0.4), (1000, 0.5), **parts | {f"{worst}_now": 0.2}))
        name = {"return": "return-duct", "supply": "supply-duct"}.get(worst, worst)
        assert asked["trend.look_first"] == name
        assert asked.number(f"trend.{worst}_ratio") == pytest.approx(2)


def test_a_part_read_once_says_what_is_missing(trade: Trade) -> None:
    asked = trade.ask(trend((1000, 0.4), (1000, 0.5), filter_now=0.2))
    assert asked.why("trend.filter_ratio") == ("missing", ["trend.filter_then"])
    assert asked.why("trend.coil_ratio")[0] == "not-applicable"
    assert asked.why("trend.look_first")[0] == "not-applicable"


def test_todays_readings_are_offered_to_the_trend(trade: Trade) -> None:
    trend = {q.id: q.offers for q in trade.bundle.quantities if q.offers.startswith("trend.")}
    offers = {name: offered for name, offered in trend.items() if name.startswith("static.")}
    assert offers == {
        "static.total_external": "trend.total_now",
        "static.filter": "trend.filter_now",
        "static.coil": "trend.coil_now",
        "static.return": "trend.return_now",
        "static.supply": "trend.supply_now",
    }
