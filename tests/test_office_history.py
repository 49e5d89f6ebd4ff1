"""Looking back at the office: what each visit on a system found, on the page and on paper."""

from __future__ import annotations

import io
import json
import re
import uuid
from collections.abc import Iterator
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from kneewall.records.drawing import Box, lay_out
from kneewall.records.plots import Curve, Limit, Mark, Plot, Plotter, VisitLine
from kneewall.records.present import look_at
from tests.office_double import DROP_AT_24_A, OfficeDouble, Wire, worked_visit

TITLE = "Drop from visit to visit"


@pytest.fixture
def office(tmp_path: Path) -> Iterator[OfficeDouble]:
    opened = OfficeDouble.furnished(tmp_path / "data")
    yield opened
    opened.close()


def visit_again(wire: Wire, circuit: str, current: float | None) -> str:
    """Another visit on the same system, 30 days later."""
    phone = wire.phone
    phone.clock += timedelta(days=30)
    phone.visit = str(uuid.uuid4())
    body = {"title": "Maintenance", "visit_kind": "maintenance", "date": "2026-12-25"}
    phone.write("visit-opened", body)
    phone.write("note", {"text": "Here again."})
    if current is not None:
        phone.set("run.current", current, unit="A", member=circuit, calculator="run-drop")
    return phone.visit


def close(wire: Wire, circuit: str, drop: float, verdict: str) -> None:
    """Closed with what the phone says it found."""
    results = {
        "results": [{"quantity": "run.drop", "member": circuit, "si": drop}],
        "checks": [{"id": "run.drop_small", "member": circuit, "verdict": verdict}],
    }
    wire.phone.write("closed", {"results": results})


def looked_back(office: OfficeDouble, wire: Wire) -> str:
    wire.send()
    page = office.page(f"visits/{wire.phone.visit}")
    found = re.search(r'<section aria-labelledby="over-visits">.*?</section>', page, re.DOTALL)
    return found[0] if found else ""


def lines(section: str) -> list[str]:
    """The list beside the chart, a text a visit."""
    (body,) = re.findall(r"<tbody>(.*?)</tbody>", section, re.DOTALL)
    rows = re.findall(r"<tr>(.*?)</tr>", body, re.DOTALL)
    return [" ".join(re.sub(r"<[^>]*>", " ", row).split()) for row in rows]


def paper(office: OfficeDouble, wire: Wire) -> str:
    content = office.desk.get(f"/office/visits/{wire.phone.visit}/report.pdf").data
    return " ".join(
        " ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(content)).pages
    )


def test_every_visit_of_the_system_stands_in_the_chart_and_in_its_list(
    office: OfficeDouble,
) -> None:
    wire = office.enrol()
    circuit = worked_visit(wire)
    assert looked_back(office, wire) == "", "one visit has nothing to look back on"
    visit_again(wire, circuit, None)
    visit_again(wire, circuit, 48)
    section = looked_back(office, wire)
    assert section.count('class="dot"') == 2
    assert section.count('class="ring"') == 1
    assert section.count('class="ink"') == 0, "no line over a visit that read nothing"
    assert f"{DROP_AT_24_A:.2f} V when new" in section
    assert lines(section) == [
        "25 Nov 2026 put into service 4.46 V Within",
        "25 Dec 2026 not read",
        "24 Jan 2027 8.93 V Failed",
        "Most drop 7.2 V",
    ]
    text = paper(office, wire)
    assert TITLE in text
    assert "4.46 V when new" in text
    assert "Most drop 7.2 V" in text
    assert re.search(r"not read\s*25 Dec 2026", text)
    assert text.index("25 Nov 2026 Within · put into service") < text.index("24 Jan 2027 Failed")


def test_a_later_visit_is_not_told_on_an_earlier_one(office: OfficeDouble) -> None:
    wire = office.enrol()
    circuit = worked_visit(wire)
    first = wire.phone.visit
    visit_again(wire, circuit, 30)
    second = wire.phone.visit
    visit_again(wire, circuit, 48)
    assert len(lines(looked_back(office, wire))) == 4
    wire.phone.visit = second
    assert len(lines(looked_back(office, wire))) == 3
    wire.phone.visit = first
    assert looked_back(office, wire) == ""


def test_a_visit_that_read_nothing_new_draws_nothing(office: OfficeDouble) -> None:
    wire = office.enrol()
    circuit = worked_visit(wire)
    visit_again(wire, circuit, 30)
    visit_again(wire, circuit, None)
    wire.phone.set("run.size", "12 AWG", member=circuit)
    assert looked_back(office, wire) == ""


def test_each_is_judged_by_its_own_rules(office: OfficeDouble) -> None:
    wire = office.enrol()
    circuit = worked_visit(wire)
    wire.phone.edition = office.publish("3").hash
    visit_again(wire, circuit, 20)
    assert lines(looked_back(office, wire)) == [
        "25 Nov 2026 put into service by the rules of then 4.46 V Within",
        "25 Dec 2026 3.72 V Failed",
        "Most drop 3 V",
    ]
    assert "by the rules of then" in paper(office, wire)


def test_without_its_rules_a_visit_is_what_its_phone_sent(office: OfficeDouble) -> None:
    wire = office.enrol()
    wire.phone.edition = "c" * 64
    circuit = worked_visit(wire)
    close(wire, circuit, 6.5, "caution")
    first = wire.phone.visit
    live = office.office.editions.live()
    assert live
    wire.phone.edition = live.hash
    second = visit_again(wire, circuit, 20)
    assert lines(looked_back(office, wire))[0].endswith("by the rules of then 6.50 V Look again")
    # What was found before a correction is no longer so, and nobody here can compute it.
    read = next(r for r in map(decoded, wire.phone.lines) if is_current(r, first))
    wire.phone.visit = first
    wire.phone.write(
        "corrected",
        {"record": read["id"], "text": "20", "unit": "A", "si": 20.0, "reason": "misread"},
    )
    wire.phone.visit = second
    assert looked_back(office, wire) == ""


def decoded(line: bytes) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(line)
    return found


def is_current(record: dict[str, Any], visit: str) -> bool:
    return bool(record["visit"] == visit and record["body"].get("quantity") == "run.current")


def test_a_curve_is_asked_again_at_each_step_and_has_the_present_point(
    office: OfficeDouble,
) -> None:
    """The drop is 2 · 24 A · length · 1.24 ohm/kft."""
    wire = office.enrol()
    worked_visit(wire)
    wire.send()
    assert "Drop over the run · Outdoor unit" in (text := paper(office, wire))
    assert "One-way run, ft" in text
    found = office.office.view.of_visit(wire.phone.visit)
    assert found
    page = look_at(office.office.editions, found[1], found[1].visits[wire.phone.visit])
    assert page
    ((calculator, plot),) = Plotter(page, office.office.editions).curves()
    assert calculator.id == "run-drop"
    ((label, points),) = [(curve.label, curve.points) for curve in plot.curves]
    assert label == ""
    lengths = [10, 60, 110, 160, 210]
    assert [x for x, _ in points] == pytest.approx(lengths)
    assert [y for _, y in points] == pytest.approx([2 * 24 * 1.24 * x / 1000 for x in lengths])
    (mark,) = plot.marks
    assert (mark.x, mark.y) == pytest.approx((75, DROP_AT_24_A))
    assert mark.said == "4.46 V"


BOX = Box(width=600, height=240, letter=7, line=16)


def test_gaps_break_the_line_and_a_point_alone_is_a_dot() -> None:
    points = [(0.0, 1.0), (1.0, 2.0), (2.0, None), (3.0, 3.0)]
    marks = [Mark(x, y, "") for x, y in points if y is not None]
    drawn = lay_out(Plot("T", "", "", [Curve("", points)], marks=marks), BOX)
    ink = [stroke.points for stroke in drawn.strokes if stroke.kind == "ink"]
    assert [len(run) for run in ink] == [2]
    assert len(drawn.dots) == 3
    xs = [dot.at[0] for dot in drawn.dots]
    assert xs[1] - xs[0] == pytest.approx((xs[2] - xs[0]) / 3)


def test_a_figure_stands_on_the_scale_where_its_ticks_say() -> None:
    plot = Plot("T", "x", "y", [Curve("", [(0.0, 0.0), (10.0, 8.0)])], [Limit("Most", "9", 9.0)])
    drawn = lay_out(plot, BOX)
    ticks = {t.text: t.at[1] for t in drawn.texts if t.kind == "axis" and t.anchor == "end"}
    (limit,) = [stroke.points[0][1] for stroke in drawn.strokes if stroke.kind == "limit"]
    step = (ticks["0"] - ticks["5"]) / 5
    assert limit == pytest.approx(ticks["0"] - 9 * step - BOX.line / 3.5)


def test_words_do_not_lie_on_each_other() -> None:
    limits = [Limit("One", "5", 5.0), Limit("Other", "5.1", 5.1), Limit("Third", "5.2", 5.2)]
    drawn = lay_out(Plot("T", "", "", [Curve("", [(0.0, 0.0), (1.0, 6.0)])], limits), BOX)
    heights = sorted(text.at[1] for text in drawn.texts if text.kind == "name")
    assert all(b - a >= BOX.line * 0.99 for a, b in pairwise(heights))


def test_days_stand_below_where_there_is_room() -> None:
    days = [VisitLine(float(at), f"{at + 1} Jan 2027", False, False, [None]) for at in range(28)]
    plot = Plot("T", "", "", [Curve("", [(v.at, 1.0) for v in days])], visits=days)
    said = [text for text in lay_out(plot, BOX).texts if text.text.endswith("2027")]
    assert [said[0].text, said[-1].text] == ["1 Jan 2027", "28 Jan 2027"]
    assert 3 <= len(said) < 10
