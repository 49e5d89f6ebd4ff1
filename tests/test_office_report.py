"""A visit's report: what is read on paper, whatever was typed, drawn or photographed."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from pypdf import PdfReader

from kneewall.bundle import load_bundle
from kneewall.cli import main
from kneewall.commands.publish import prove
from kneewall.compiler import compile_packs
from kneewall.records.report.fonts import Letters
from kneewall.records.report.sheet import Sheet
from tests.office_double import OfficeDouble, Wire, worked_visit, write_pack

SECTIONS = [
    "System",
    "Findings",
    "Readings",
    "Settings",
    "Photos",
    "Cautions for the owner",
    "Notes",
    "Signature",
    "Rules",
]
STROKES = "M40 130 C90 20 120 190 160 90 L330 120 Q380 60 420 95"


@pytest.fixture
def office(tmp_path: Path) -> Iterator[OfficeDouble]:
    opened = OfficeDouble.furnished(tmp_path / "data")
    yield opened
    opened.close()


def read(content: bytes) -> str:
    """The text of all pages, blanks as one."""
    pages = PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def report(office: OfficeDouble, wire: Wire) -> bytes:
    wire.send()
    answer = office.desk.get(f"/office/visits/{wire.phone.visit}/report.pdf")
    assert answer.status_code == 200
    assert answer.mimetype == "application/pdf"
    return bytes(answer.data)


def note(office: OfficeDouble, text: str) -> str:
    wire = office.enrol()
    wire.phone.begin().write("note", {"text": text})
    return read(report(office, wire))


def test_a_report_says_what_was_found_and_read(office: OfficeDouble) -> None:
    wire = office.enrol("Rosa Quill")
    worked_visit(wire, current=45)
    wire.phone.write("note", {"text": "Whip is 4 ft."})
    signed = {"name": "J. Thornbury", "statement": "I was shown the filter.", "strokes": STROKES}
    wire.phone.write("signed", signed)
    text = read(report(office, wire))
    places = [text.index(section) for section in SECTIONS]
    assert places == sorted(places)
    parts = {
        name: text[start:end]
        for name, start, end in zip(SECTIONS, places, [*places[1:], None], strict=True)
    }
    assert "Attic" in parts["System"]
    assert "Circuit: Outdoor unit" in parts["System"]
    assert "Technician Rosa Quill" in parts["System"]
    assert "Failed" in parts["Findings"]
    assert "8.37 V is lost on the way. Fit a thicker wire." in parts["Findings"]
    assert "75 ft" in parts["Readings"]
    assert "45 A" in parts["Readings"]
    assert "Failed · Rosa Quill, 25 Nov 2026 08:02 (UTC−5)" in parts["Readings"]
    assert "Parts are live behind the cover." in parts["Cautions for the owner"]
    assert "Whip is 4 ft." in parts["Notes"]
    assert "J. Thornbury I was shown the filter." in parts["Signature"]
    live = office.office.editions.live()
    assert live
    assert f"Edition {live.number}" in parts["Rules"]
    assert live.hash in parts["Rules"].replace(" ", "")  # it may stand on two lines


def test_worst_findings_come_first_and_unknown_is_said(office: OfficeDouble) -> None:
    wire = office.enrol()
    worked_visit(wire)
    wire.phone.add_member("circuit", "0e7a1f6e-2f3c-4d6e-9a51-1f0a3f8f4b10", "Heater")
    text = read(report(office, wire))
    assert text.index("Not known yet") < text.index("Within")
    assert "Heater" in text[text.index("Findings") : text.index("Readings")]


def test_a_skipped_step_is_a_finding(office: OfficeDouble) -> None:
    wire = office.enrol()
    worked_visit(wire)
    step = {"checklist": "short", "step": "dead", "outcome": "skipped", "reason": "no key"}
    wire.phone.write("step-done", step)
    text = read(report(office, wire))
    found = text[text.index("Findings") : text.index("Readings")]
    assert "Switch off and prove dead" in found
    assert "Skipped, because no key" in found
    assert found.index("Skipped") < found.index("Within")


def test_a_figure_in_dispute_is_named_where_it_counts(office: OfficeDouble, tmp_path: Path) -> None:
    topic = write_pack(tmp_path / "trade") / "topic.yaml"
    text = topic.read_text().replace("[ohm/kft]\n", "[ohm/kft], source\n")
    for row, source in (("14 AWG, 3.14", ""), ("12 AWG, 1.98", "demo Page 9 (disputed)")):
        text = text.replace(row, f"{row}, {source}")
    topic.write_text(text.replace("10 AWG, 1.24", "10 AWG, 1.24, "))
    raw = compile_packs([topic.parent]).raw
    office.office.editions.publish(raw, author="t", note="n", least_app="0.1.0", prove=prove)
    wire = office.enrol()
    circuit = worked_visit(wire)
    says = f"Rests on a figure in dispute: {load_bundle(raw).sources['demo'].title}, Page 9"
    assert says not in read(report(office, wire))
    wire.phone.set("run.size", "12 AWG", member=circuit)
    found = read(report(office, wire))
    assert says in found[found.index("Findings") : found.index("Readings")]
    page = office.page(f"visits/{wire.phone.visit}")
    assert page.count(says) == 2, "once at the check and once at the result"


def test_a_series_is_drawn_as_lines(office: OfficeDouble) -> None:
    wire = office.enrol()
    wire.phone.begin()
    readings = [[0.0, 46.7], [240.0, 53.3], [600.0, 60.0]]
    wire.phone.set("hold.readings", readings, "0 min: 350 micron, …", calculator="hold")
    content = report(office, wire)
    text = read(content)
    assert "reading, micron" in text
    assert "time, min" in text
    assert "Limit of the hold 600" in text
    assert not [image for page in PdfReader(io.BytesIO(content)).pages for image in page.images]


def photographed(wire: Wire, picture: bytes, mime: str, *, bring: bool = True) -> None:
    digest = hashlib.sha256(picture).hexdigest()
    body = {"photo": digest, "mime": mime, "size": len(picture), "caption": "The filter box"}
    wire.phone.write("photo", body)
    wire.send()
    if bring:
        assert wire.put(f"photos/{digest}", picture).status_code in (200, 201, 204)


def png(width: int, height: int) -> bytes:
    out = io.BytesIO()
    Image.new("RGBA", (width, height), (20, 120, 60, 120)).save(out, "PNG")
    return out.getvalue()


def test_photos_stand_with_their_captions(office: OfficeDouble) -> None:
    wire = office.enrol()
    wire.phone.begin()
    photographed(wire, png(2400, 300), "image/png")
    content = report(office, wire)
    images = [image for page in PdfReader(io.BytesIO(content)).pages for image in page.images]
    assert [image.image.size for image in images if image.image] == [(1600, 200)]
    assert "The filter box" in read(content)


@pytest.mark.parametrize(
    ("picture", "mime", "bring", "says"),
    [
        (png(9, 9), "image/png", False, "Not here yet; the phone still has it."),
        (b"\x00\x00\x00\x18ftypheic" + bytes(40), "image/heic", True, "cannot be drawn"),
        (png(40, 40)[:60], "image/png", True, "cannot be drawn"),
        (b"\xff\xd8\xff" + bytes(30), "image/jpeg", True, "cannot be drawn"),
    ],
)
def test_a_photo_that_cannot_be_drawn_is_told(
    office: OfficeDouble, picture: bytes, mime: str, bring: bool, says: str
) -> None:
    wire = office.enrol()
    wire.phone.begin()
    photographed(wire, picture, mime, bring=bring)
    text = read(report(office, wire))
    assert says in text
    assert "The filter box" in text


@pytest.mark.parametrize("strokes", ["M", "ZZ", "M1 2 L", "1 2", "-.-.", "C1,2", ""])
def test_a_signature_that_cannot_be_drawn_is_told(office: OfficeDouble, strokes: str) -> None:
    wire = office.enrol()
    wire.phone.begin()
    wire.phone.write("signed", {"name": "J. T.", "statement": "Seen.", "strokes": strokes})
    text = read(report(office, wire))
    assert "J. T. Seen." in text
    assert ("What was drawn cannot be shown." in text) == bool(strokes)


def test_what_is_typed_is_read_on_paper(office: OfficeDouble) -> None:
    typed = """24 × 24 in, ½″ − 3 °F ≤ 5 Ω ✓ → µm
        Ząb Ñandú Łódź İstanbul Đà Nẵng Привет Αθήνα Երևան თბილისი
        中文 日本語 かな 한국어 🔧 😀 ⚠"""
    # Where a script ends, a reader of PDF may put a blank.
    assert "".join(typed.split()) in "".join(note(office, typed).split())


def test_shaped_scripts_have_their_letters(office: OfficeDouble) -> None:
    typed = "שלום לכולם السلام عليكم नमस्ते สวัสดี বাংলা አማርኛ"
    text = note(office, typed)
    assert set(typed) - set(text) == set()
    assert "[U+" not in text


def test_what_no_font_has_is_written_as_its_number(office: OfficeDouble) -> None:
    text = note(office, "rune \u16a0, own \ue001, bell \x07, joined\U000e0041 up")
    assert "rune [U+16A0], own [U+E001], bell [U+0007], joined up" in text


def test_long_words_and_notes_stay_on_the_paper(office: OfficeDouble) -> None:
    wire = office.enrol()
    wire.phone.begin()
    wire.phone.write("note", {"text": "W" * 900 + " " + "many lines\n" * 400})
    wire.phone.set("run.size", "10 AWG", "10 AWG " * 40)
    content = report(office, wire)
    assert len(PdfReader(io.BytesIO(content)).pages) > 3
    text = "".join(read(content).split())
    assert text.count("W") >= 900
    assert text.count("manylines") == 400


def test_a_report_of_a_visit_that_cannot_be_evaluated(office: OfficeDouble) -> None:
    wire = office.enrol()
    wire.phone.edition = "ab" * 32
    worked_visit(wire)
    text = read(report(office, wire))
    assert "Not evaluated. No edition abababababab is kept here." in text
    assert "75 ft" in text
    assert "ab" * 32 in "".join(text.split())


def test_a_report_from_the_command_line(
    office: OfficeDouble, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wire = office.enrol()
    worked_visit(wire)
    wire.send()
    place = ["--data", str(office.data)]
    out = tmp_path / "visit.pdf"
    assert main(["report", wire.phone.visit[:9], "-o", str(out), *place]) == 0
    assert "4.46 V is lost on the way." in read(out.read_bytes())
    capsys.readouterr()
    for visit, file, says in [
        ("zz", out, "no visit here begins with 'zz'; write more of its id."),
        ("", tmp_path, "cannot be written"),
    ]:
        assert main(["report", visit, "-o", str(file), *place]) == 2
        captured = capsys.readouterr()
        assert says in captured.err
        assert captured.err.count("\n") == 1
        assert not captured.out


def test_only_who_signed_in_reads_a_report(office: OfficeDouble) -> None:
    wire = office.enrol()
    wire.phone.begin()
    wire.send()
    address = f"/office/visits/{wire.phone.visit}/report.pdf"
    assert office.app.test_client().get(address).status_code == 302


def test_the_foot_of_a_page_keeps_clear_of_its_number(tmp_path: Path) -> None:
    note = "visit 1234 · " + "A very long name of a place " * 9
    sheet = Sheet(Letters(tmp_path, [note, "…0123456789"]), note)
    pieces: list[tuple[float, str]] = []
    reader = PdfReader(io.BytesIO(bytes(sheet.output())))
    reader.pages[0].extract_text(
        visitor_text=lambda text, _cm, tm, _font, _size: pieces.append((tm[4], text.strip()))
    )
    said = {text: x for x, text in pieces if text}
    (foot,) = (text for text in said if text.startswith("visit 1234"))
    (number,) = (text for text in said if text.startswith("page 1 of"))
    assert foot.endswith("…")
    sheet.set_font_size(8)
    width = sheet.get_string_width(foot) * sheet.k
    assert said[foot] + width < said[number]
