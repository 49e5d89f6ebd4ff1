"""When maintenance is due, against the calendar of the standard library."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import product

import pytest

from kneewall.bundle import Value
from kneewall.engine import Unknown
from tests.trade.asking import Trade

LAST = date(2026, 2, 12)


@pytest.mark.parametrize("use", ["heating-and-cooling", "cooling-only", "heating-only"])
@pytest.mark.parametrize("salt", [None, "none", "near", "shore"])
@pytest.mark.parametrize("dust", [None, "normal", "heavy"])
def test_interval(trade: Trade, use: str, salt: str | None, dust: str | None) -> None:
    given = {"maintenance.last": LAST.isoformat(), "system.use": use}
    given |= {"site.salt_air": salt} if salt else {}
    given |= {"site.dust": dust} if dust else {}
    hard = salt in ("near", "shore") or dust == "heavy"
    days = 182 if hard or use == "heating-and-cooling" else 365
    asked = trade.ask(given)
    assert asked.number("maintenance.interval", "day") == pytest.approx(days)
    assert asked["maintenance.due"] == (LAST + timedelta(days=days)).isoformat()
    assert asked["maintenance.because"] == "calendar"


@pytest.mark.parametrize(
    ("left", "verdict"),
    [(200, "pass"), (15, "pass"), (14, "caution"), (0, "caution"), (-30, "caution"), (-31, "fail")],
)
def test_verdict_by_the_days_left(trade: Trade, left: int, verdict: str) -> None:
    today = LAST + timedelta(days=365 - left)
    given = {
        "maintenance.last": LAST.isoformat(), "system.use": "cooling-only",
        "visit.date": today.isoformat(),
    }  # fmt: skip
    asked = trade.ask(given)
    assert asked.number("maintenance.days_left", "day") == pytest.approx(left)
    assert asked.verdict("maintenance.not_due") == verdict


def test_the_first_filter_decides(trade: Trade) -> None:
    """Two indoor units; the dirtier house of the two has its filter due first."""
    for changed, hours in product((0, 40), (4.0, 24.0)):
        first = LAST + timedelta(days=changed)
        values: dict[str, Value | dict[str, Value]] = {
            "maintenance.last": LAST.isoformat(),
            "system.use": "cooling-only",
            "site.dust": "normal",
            "filter.kind": {"1": "thin-pleated", "2": "deep-pleated"},
            "filter.last_change": {"1": first.isoformat(), "2": LAST.isoformat()},
            "filter.run_hours": {"1": hours / 24, "2": 8 / 24},
        }
        answer = trade.engine.evaluate(values, {"indoor": ["1", "2"], "circuit": []})
        thin = first + timedelta(days=min(90, int(720 / hours)))
        deep = LAST + timedelta(days=270)
        assert answer.value("maintenance.due") == min(thin, deep).isoformat()
        assert answer.value("maintenance.because") == "filter"


@pytest.mark.parametrize(("there", "days"), [(["1", "2"], 90), (["2"], 365), ([], 365)])
def test_a_filter_of_which_nothing_is_known_does_not_count(
    trade: Trade, there: list[str], days: int
) -> None:
    values: dict[str, Value | dict[str, Value]] = {
        "maintenance.last": LAST.isoformat(),
        "system.use": "cooling-only",
        "site.dust": "normal",
        "filter.kind": {"1": "thin-pleated", "2": "thin-pleated"},
        "filter.last_change": {"1": LAST.isoformat()},
        "filter.run_hours": {"1": 8 / 24},
    }
    answer = trade.engine.evaluate(values, {"indoor": there, "circuit": []})
    assert answer.value("maintenance.due") == (LAST + timedelta(days=days)).isoformat()


def test_a_new_system_counts_from_its_start(trade: Trade) -> None:
    started = {"system.start_date": "2026-05-01", "system.use": "heating-and-cooling"}
    assert trade.ask(started)["maintenance.due"] == "2026-10-30"
    visited = trade.ask(started | {"maintenance.last": "2026-09-01"})
    assert visited["maintenance.due"] == "2027-03-02"
    nothing = trade.ask({"system.use": "cooling-only"})["maintenance.due"]
    assert isinstance(nothing, Unknown)
    assert nothing.why == "missing"


def test_a_visit_that_was_made_is_the_last_one(trade: Trade) -> None:
    """The maintenance list takes its own day over, so that the calendar does not stand still."""
    (offered,) = [q for q in trade.bundle.quantities if q.offers == "maintenance.last"]
    today = trade.ask({"visit.date": "2026-11-09"})[offered.id]
    assert today == "2026-11-09"
    (visit,) = [c for c in trade.bundle.checklists if c.id == "maintenance-visit"]
    step = next(step for step in visit.steps if "maintenance.last" in step.enter)
    assert "maintenance.due" in step.show
    (sign,) = [step for step in visit.steps if step.act == "sign"]
    assert step.id in sign.after
