"""Airflow from fan tables and registers, duct leakage, the life of a filter; by hand, and the known traps."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import product

import pytest

from kneewall.compiler import compile_packs
from tests.trade.asking import RULES, Trade

MAKER = """\
rows:
  fan_tables:
    source: demo
    rows: |
      model [text], setting [text], static [in w.c.], airflow [cfm]
      DEMO-36, low, 0.1, 1000
      DEMO-36, low, 0.5, 900
      DEMO-36, low, 0.9, 700
      DEMO-36, high, 0.1, 1300
      DEMO-36, high, 0.5, 1180
      DEMO-36, high, 0.9, 900
      DEMO-C36, steady, 0.1, 1150
      DEMO-C36, steady, 0.7, 1150
      DEMO-C36, steady, 0.9, 1000
  fan_table_bases:
    source: demo
    rows: |
      model [text], capacity [Btu/h], coil [table_coil], filter [table_part], heater [table_part], blower [blower_kind]
      DEMO-36, 36000, dry, left-out, left-out, fixed-speed
      DEMO-C36, 36000, wet, counted, left-out, constant-airflow
  cooling_capacities:
    source: demo
    rows: |
      outdoor [text], indoor [text], outdoor_temperature [degF], wet_bulb [degF], capacity [Btu/h]
      DEMO-O, DEMO-36, 85, 63, 34000
      DEMO-O, DEMO-36, 85, 67, 36000
      DEMO-O, DEMO-36, 95, 63, 32000
      DEMO-O, DEMO-36, 95, 67, 34000
"""


@pytest.fixture(scope="module")
def with_maker(tmp_path_factory: pytest.TempPathFactory) -> Trade:
    """The trade pack with a few invented rows of a maker."""
    folder = tmp_path_factory.mktemp("maker")
    pack = "id: demo-maker\nrank: maker\ntitle: Invented equipment\nformat: 1\n"
    (folder / "pack.yaml").write_text(pack, encoding="utf-8")
    (folder / "rows.yaml").write_text(MAKER, encoding="utf-8")
    return Trade(compile_packs([RULES, folder]))


def fan(model: str, setting: str, static: float, **more: str) -> dict[str, str]:
    given = {
        "indoor.model": model,
        "fan.setting": setting,
        "fan.static": f"{static} in w.c.",
    }
    return given | {key.replace("__", "."): value for key, value in more.items()}


@pytest.mark.parametrize(
    ("setting", "static", "cfm"),
    [("low", 0.1, 1000), ("low", 0.3, 950), ("low", 0.7, 800), ("high", 0.5, 1180),
     ("high", 0.6, 1110), ("high", 0.9, 900)],
)  # fmt: skip
def test_airflow_between_the_columns(
    with_maker: Trade, setting: str, static: float, cfm: int
) -> None:
    asked = with_maker.ask(fan("DEMO-36", setting, static))
    assert asked.number("fan.airflow", "cfm") == pytest.approx(cfm)
    assert asked.number("fan.airflow_per_ton", "cfm/ton") == pytest.approx(cfm / 3)
    right = 350 <= cfm / 3 <= 450
    assert asked.verdict("fan.per_ton_right") == ("pass" if right else "caution")


def test_what_the_table_leaves_out_is_added(with_maker: Trade) -> None:
    plain = with_maker.ask(fan("DEMO-36", "low", 0.3))
    added = with_maker.ask(fan("DEMO-36", "low", 0.3, fan__static_not_in_table="0.2 in w.c."))
    assert plain.number("fan.airflow", "cfm") == pytest.approx(950)
    assert added.number("fan.airflow", "cfm") == pytest.approx(900)
    assert plain["fan.filter_in_table"] == "left-out"
    assert plain["fan.coil_in_table"] == "dry"


@pytest.mark.parametrize("static", [0.05, 0.95])
def test_beyond_the_table_there_is_no_airflow(with_maker: Trade, static: float) -> None:
    assert with_maker.ask(fan("DEMO-36", "low", static)).why("fan.airflow")[0] == "outside"


def test_a_blower_that_holds_its_airflow_is_flat_up_to_its_limit(with_maker: Trade) -> None:
    for static, cfm in ((0.2, 1150), (0.7, 1150), (0.8, 1075)):
        asked = with_maker.ask(fan("DEMO-C36", "steady", static))
        assert asked.number("fan.airflow", "cfm") == pytest.approx(cfm)
        assert asked["fan.blower"] == "constant-airflow"


def test_static_readings_serve_where_no_static_was_entered(with_maker: Trade) -> None:
    given = fan("DEMO-36", "low", 0)
    del given["fan.static"]
    assert with_maker.ask(given).why("fan.airflow") == ("missing", ["fan.static"])
    readings = {
        "static.before_filter": "-0.1 in w.c.",
        "static.after_filter": "-0.2 in w.c.",
        "static.supply_reading": "0.1 in w.c.",
    }
    asked = with_maker.ask(given | readings)
    assert asked.number("fan.airflow", "cfm") == pytest.approx(950)


def test_without_a_makers_table_nothing_is_guessed(trade: Trade) -> None:
    asked = trade.ask(fan("DEMO-36", "low", 0.3))
    assert asked.why("fan.airflow")[0] == "outside"
    assert asked.verdict("fan.per_ton_right") == "unknown"


def test_expected_capacity_from_the_makers_table(with_maker: Trade) -> None:
    given = {
        "air.flow": "1150 cfm",
        "site.altitude": "0 ft",
        "air.entering_dry_bulb": "78 °F",
        "air.entering_wet_bulb": "65 °F",
        "air.leaving_dry_bulb": "58 °F",
        "air.leaving_wet_bulb": "56.5 °F",
        "outdoor.model": "DEMO-O",
        "indoor.model": "DEMO-36",
        "outdoor.temperature": "90 °F",
    }
    asked = with_maker.ask(given)
    assert asked.number("capacity.expected", "Btu/h") == pytest.approx(34000)
    assert asked.number("capacity.share_of_expected", "percent") == pytest.approx(85.4, abs=0.3)
    assert asked.verdict("capacity.near_listed") == "pass"
    listed = with_maker.ask(given | {"capacity.listed": "36000 Btu/h"})
    assert listed.verdict("capacity.near_listed") == "caution"
    hot = with_maker.ask(given | {"outdoor.temperature": "100 °F"})
    assert hot.why("capacity.expected")[0] == "outside"
    assert hot.verdict("capacity.near_listed") == "unknown"


# -- registers and ducts


@pytest.mark.parametrize(
    ("registers", "verdict"),
    [((450, 440), "caution"), ((450, 450), "pass"), ((500, 500, 100), "pass"),
     ((500, 500, 101), "caution"), ((), "caution")],
)  # fmt: skip
def test_registers_against_the_fan(trade: Trade, registers: tuple[int, ...], verdict: str) -> None:
    flows = "; ".join(f"{flow} cfm" for flow in registers) or "0 cfm"
    asked = trade.ask({"air.flow": "1000 cfm", "room.register_flows": flows})
    assert asked.number("room.total_flow", "cfm") == pytest.approx(sum(registers))
    assert asked.number("room.lost_flow", "cfm") == pytest.approx(1000 - sum(registers))
    assert asked.verdict("room.registers_match") == verdict


def test_leakage_by_hand(trade: Trade) -> None:
    for leak, area, limit in product((40, 72, 200), (900, 1800), (4, 8)):
        asked = trade.ask(
            {
                "duct.leakage_flow": f"{leak} cfm",
                "duct.served_area": f"{area} ft2",
                "duct.leakage_limit": str(limit),
            }
        )
        found = 100 * leak / area
        assert asked.number("duct.leakage_per_area") == pytest.approx(found)
        verdict = "fail" if found > limit + 1e-9 else "pass"
        assert asked.verdict("duct.leakage_within_limit") == verdict


# -- the life of a filter


def life(**more: str) -> dict[str, str]:
    given = {
        "filter.last_change": "2026-06-01",
        "filter.kind": "thin-pleated",
        "filter.run_hours": "8 h/day",
        "site.dust": "normal",
    }
    return given | {key.replace("__", "."): value for key, value in more.items()}


def due(days: int) -> str:
    return (date(2026, 6, 1) + timedelta(days=days)).isoformat()


@pytest.mark.parametrize(
    ("kind", "dust", "hours", "days"),
    [("thin-pleated", "normal", 8, 90), ("thin-pleated", "normal", 4, 90),
     ("thin-pleated", "normal", 24, 30), ("thin-pleated", "normal", 14, 51),
     ("thin-pleated", "heavy", 8, 30), ("thin-fiberglass", "normal", 8, 30),
     ("deep-pleated", "light", 8, 365), ("deep-pleated", "normal", 8, 270),
     ("deep-pleated", "heavy", 12, 120)],
)  # fmt: skip
def test_due_by_hours_and_calendar(
    trade: Trade, kind: str, dust: str, hours: int, days: int
) -> None:
    asked = trade.ask(life(filter__kind=kind, site__dust=dust, filter__run_hours=f"{hours} h/day"))
    assert asked["filter.due"] == due(days)


def test_life_stays_within_what_is_usual(trade: Trade) -> None:
    """30 to 90 days for 1 in, half a year to a year for 4 to 5 in, at 8 h a day."""
    for dust in ("light", "normal", "heavy"):
        for kind, least, most in (
            ("thin-pleated", 30, 90),
            ("thin-fiberglass", 30, 90),
            ("deep-pleated", 180, 365),
        ):
            asked = trade.ask(life(filter__kind=kind, site__dust=dust))
            assert least <= asked.number("filter.life", "day") <= most


def test_hours_and_calendar_end_together_at_8_h_a_day(trade: Trade) -> None:
    """Every row of the filter lives; a dustier house never lets one stay longer."""
    (table,) = [table for table in trade.bundle.tables if table.id == "filter_lives"]
    longest: dict[str, list[float]] = {}
    for kind, _, hours, days in zip(*table.cells, strict=True):
        assert isinstance(hours, float)
        assert isinstance(days, float)
        assert hours * 24 / 8 == pytest.approx(days), kind
        longest.setdefault(str(kind), []).append(days)
    assert all(days == sorted(days, reverse=True) for days in longest.values())


@pytest.mark.parametrize(
    ("drop", "verdict", "due_on"),
    # Clean 0.12 in w.c., read on day 100, due by the calendar on day 90: loaded from 0.24.
    [("0.24", "fail", 100), ("0.30", "fail", 100), ("0.23", "pass", 90), ("0.18", "pass", 130),
     ("0.13", "pass", 130)],
)  # fmt: skip
def test_a_drop_overrules_the_calendar(trade: Trade, drop: str, verdict: str, due_on: int) -> None:
    asked = trade.ask(
        life(
            visit__date=due(100),
            filter__clean_drop="0.12 in w.c.",
            filter__drop_today=f"{drop} in w.c.",
        )
    )
    assert asked.verdict("filter.not_loaded") == verdict
    assert asked["filter.due"] == due(due_on)
    assert asked.verdict("filter.in_time") == ("pass" if due_on > 100 else "caution")


def test_a_large_clean_drop_is_loaded_at_a_fixed_rise(trade: Trade) -> None:
    asked = trade.ask(life(filter__clean_drop="0.2 in w.c."))
    assert asked.number("filter.loaded_at", "in w.c.") == pytest.approx(0.35)


def test_todays_static_readings_are_the_drop(trade: Trade) -> None:
    given = life(
        visit__date=due(10),
        filter__clean_drop="0.12 in w.c.",
        static__before_filter="-0.1 in w.c.",
        static__after_filter="-0.35 in w.c.",
    )
    assert trade.ask(given).verdict("filter.not_loaded") == "fail"
    entered = trade.ask(given | {"filter.drop_today": "0.13 in w.c."})
    assert entered.verdict("filter.not_loaded") == "pass"


def test_without_a_reading_only_the_calendar_counts(trade: Trade) -> None:
    asked = trade.ask(life(visit__date=due(89), filter__clean_drop="0.12 in w.c."))
    assert asked["filter.due"] == due(90)
    assert asked.verdict("filter.not_loaded") == "not-applicable"
    assert asked.verdict("filter.in_time") == "pass"
