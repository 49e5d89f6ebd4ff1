"""The running check by hand, and the known traps."""

from __future__ import annotations

import pytest

from tests.trade.asking import Trade


def running(**more: str) -> dict[str, str]:
    given = {
        "run.mode": "cooling",
        "running.volts_at_rest": "243 V",
        "running.volts_loaded": "238 V",
        "running.amps": "14.2 A",
        "running.plate_amps": "18 A",
        "running.vapor_line": "52 °F",
        "air.return_temperature": "75 °F",
    }
    return given | {key.replace("__", "."): value for key, value in more.items()}


@pytest.mark.parametrize(
    ("rest", "loaded", "window", "sag"),
    # 187 to 253 V: 10 % under 208 and over 230. 5 % of 208 V is 10.4 V.
    [(240, 235, "pass", "pass"), (208, 197.6, "pass", "pass"), (208, 197.5, "pass", "caution"),
     (200, 186.9, "fail", "caution"), (195, 187, "pass", "pass"), (254, 250, "fail", "pass"),
     (253, 252, "pass", "pass"), (238, 240, "pass", "caution")],
)  # fmt: skip
def test_voltage(trade: Trade, rest: float, loaded: float, window: str, sag: str) -> None:
    asked = trade.ask(
        running(running__volts_at_rest=f"{rest} V", running__volts_loaded=f"{loaded} V")
    )
    assert asked.verdict("running.voltage_in_window") == window
    assert asked.verdict("running.sag_small") == sag
    assert asked.number("running.sag", "V") == pytest.approx(rest - loaded)
    assert asked.number("running.sag_share", "percent") == pytest.approx(
        100 * (rest - loaded) / rest
    )


def test_the_plate_window_counts_before_the_custom(trade: Trade) -> None:
    asked = trade.ask(
        running(
            running__volts_at_rest="212 V",
            running__volts_loaded="206 V",
            nameplate__least_voltage="207 V",
        )
    )
    assert asked.verdict("running.voltage_in_window") == "fail"


@pytest.mark.parametrize(
    ("amps", "mca", "verdict"),
    [("18 A", None, "pass"), ("18.1 A", None, "caution"), ("30 A", None, "caution"),
     ("22 A", "22.5 A", "caution"), ("23 A", "22.5 A", "fail")],
)  # fmt: skip
def test_amps_against_the_plate(trade: Trade, amps: str, mca: str | None, verdict: str) -> None:
    given = running(running__amps=amps) | ({"nameplate.mca": mca} if mca else {})
    assert trade.ask(given).verdict("running.amps_within_plate") == verdict


@pytest.mark.parametrize(
    ("mode", "line", "verdict"),
    [("cooling", 52, "pass"), ("cooling", 65, "pass"), ("cooling", 66, "caution"),
     ("cooling", 32, "fail"), ("cooling", 33, "pass"), ("heating", 95, "pass"),
     ("heating", 94, "caution"), ("heating", 30, "caution")],
)  # fmt: skip
def test_vapor_line(trade: Trade, mode: str, line: float, verdict: str) -> None:
    asked = trade.ask(running(run__mode=mode, running__vapor_line=f"{line} °F"))
    assert asked.verdict("running.vapor_line_right") == verdict


@pytest.mark.parametrize(
    ("mode", "metering", "line", "verdict"),
    # Return 75, outdoors 95, vapor line 52 in cooling and 105 °F in heating.
    [("cooling", "outdoor-unit", 55, "pass"), ("cooling", "outdoor-unit", 100, "caution"),
     ("cooling", "indoor-unit", 100, "pass"), ("cooling", "indoor-unit", 90, "caution"),
     ("cooling", "indoor-unit", 126, "caution"), ("heating", "outdoor-unit", 88, "pass"),
     ("heating", "indoor-unit", 70, "caution"), ("heating", "outdoor-unit", 110, "caution")],
)  # fmt: skip
def test_small_line(trade: Trade, mode: str, metering: str, line: float, verdict: str) -> None:
    """With metering in the outdoor unit the small line is cold in cooling, and that is right."""
    asked = trade.ask(
        running(
            run__mode=mode,
            metering__place=metering,
            running__small_line=f"{line} °F",
            running__vapor_line="52 °F" if mode == "cooling" else "105 °F",
            outdoor__temperature="95 °F",
        )
    )
    assert asked.verdict("running.small_line_right") == verdict


def test_the_small_line_is_not_judged_without_knowing_where_it_meters(trade: Trade) -> None:
    asked = trade.ask(running(running__small_line="55 °F"))
    assert asked.verdict("running.small_line_right") == "unknown"
    assert trade.ask(running()).verdict("running.small_line_right") == "not-applicable"


def test_a_missing_reading_leaves_only_its_own_verdict_open(trade: Trade) -> None:
    given = running()
    del given["running.plate_amps"]
    asked = trade.ask(given)
    assert asked.verdict("running.amps_within_plate") == "unknown"
    assert asked.verdict("running.voltage_in_window") == "pass"
    assert asked.verdict("running.vapor_line_right") == "pass"
