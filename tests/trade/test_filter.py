"""The filter by hand, by fluids where it has something, and the known traps."""

from __future__ import annotations

from itertools import product

import pytest

from tests.trade.asking import Trade


def filters(**more: str) -> dict[str, str]:
    given = {
        "air.flow": "1200 cfm", "filter.width": "20 in", "filter.height": "25 in", "filter.depth": "1 in",
        "filter.count": "1", "filter.rated_flow": "1024.3 cfm", "filter.rated_drop": "0.18 in w.c.",
    }  # fmt: skip
    return given | {key.replace("__", "."): value for key, value in more.items()}


def test_velocity_area_and_drop_by_hand(trade: Trade) -> None:
    for flow, (width, height), count, exponent in product(
        (400, 900, 1600), ((16, 25), (20, 20), (24, 30)), (1, 2, 3), (1, 1.4, 2)
    ):
        asked = trade.ask(
            filters(
                air__flow=f"{flow} cfm", filter__width=f"{width} in", filter__height=f"{height} in"
            )
            | {
                "filter.count": str(count),
                "filter.exponent": str(exponent),
                "filter.rated_flow": "800 cfm",
            }
        )
        square_feet = width * height / 144
        assert asked.number("filter.face_velocity", "ft/min") == pytest.approx(
            flow / count / square_feet
        )
        assert asked.number("filter.drop", "in w.c.") == pytest.approx(
            0.18 * (flow / count / 800) ** exponent
        )
        assert asked.number("filter.least_area", "in2") == pytest.approx(flow / 300 * 144)


def test_two_square_inches_a_cfm_is_288_feet_a_minute(trade: Trade) -> None:
    """The rule of 2 cfm per in² of face, from articles on filter area, is 288 ft/min."""
    asked = trade.ask(filters(air__flow="1000 cfm", filter__width="20 in", filter__height="25 in"))
    assert asked.number("filter.face_velocity", "ft/min") == pytest.approx(288)
    assert asked.verdict("filter.velocity_within_limit") == "pass"


@pytest.mark.parametrize(
    ("count", "velocity", "drop", "verdict"),
    # 20 × 25 × 1 in, 1200 cfm, 0.18 in w.c. at 295 ft/min: 346 ft/min and 0.225; two of them 173 and 0.085.
    [("1", 346, 0.225, "caution"), ("2", 173, 0.085, "pass")],
)
def test_worked_example(
    trade: Trade, count: str, velocity: float, drop: float, verdict: str
) -> None:
    asked = trade.ask(filters(filter__count=count))
    assert asked.number("filter.face_velocity", "ft/min") == pytest.approx(velocity, abs=0.5)
    assert asked.number("filter.drop", "in w.c.") == pytest.approx(drop, abs=0.0005)
    assert asked.verdict("filter.velocity_within_limit") == verdict


def test_deeper_media_have_no_velocity_of_their_own(trade: Trade) -> None:
    deep = filters(filter__depth="4 in")
    assert trade.ask(deep).why("filter.least_area") == ("missing", ["filter.most_velocity"])
    assert trade.ask(deep).verdict("filter.velocity_within_limit") == "unknown"
    assert trade.ask(deep).number("filter.drop", "in w.c.") == pytest.approx(0.225, abs=0.0005)
    stated = trade.ask(deep | {"filter.most_velocity": "500 ft/min"})
    assert stated.number("filter.least_area", "in2") == pytest.approx(1200 / 500 * 144)
    assert stated.verdict("filter.velocity_within_limit") == "pass"


def test_a_stated_velocity_wins_over_the_custom(trade: Trade) -> None:
    asked = trade.ask(filters(filter__most_velocity="350 ft/min"))
    assert asked.verdict("filter.velocity_within_limit") == "pass"


@pytest.mark.parametrize(
    ("most", "verdict"), [("0.23 in w.c.", "pass"), ("0.22 in w.c.", "caution")]
)
def test_most_drop(trade: Trade, most: str, verdict: str) -> None:
    asked = trade.ask(filters(filter__most_drop=most))
    assert asked.verdict("filter.drop_within_limit") == verdict


def test_without_a_most_drop_there_is_nothing_to_judge(trade: Trade) -> None:
    assert trade.ask(filters()).verdict("filter.drop_within_limit") == "not-applicable"


def test_without_a_listed_point_only_the_drop_is_unknown(trade: Trade) -> None:
    given = filters()
    del given["filter.rated_drop"]
    asked = trade.ask(given)
    assert asked.why("filter.drop") == ("missing", ["filter.rated_drop"])
    assert asked.number("filter.face_velocity", "ft/min") == pytest.approx(345.6)


def test_metric_readings_give_the_same(trade: Trade) -> None:
    metric = trade.ask(
        filters(
            air__flow="566.336931 L/s",
            filter__width="508 mm",
            filter__height="635 mm",
            filter__depth="25.4 mm",
        )
    )
    inch = trade.ask(filters())
    assert metric.number("filter.face_velocity", "m/s") == pytest.approx(
        inch.number("filter.face_velocity", "m/s")
    )
