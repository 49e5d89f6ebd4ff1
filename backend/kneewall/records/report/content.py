"""What a visit's report says, section by section, before it is laid out.

The sections and their order are those of the phone's own report.
"""

from __future__ import annotations

from collections.abc import Mapping

from kneewall import __version__
from kneewall.bundle import Calculator, Quantity
from kneewall.records.clock import stamp
from kneewall.records.editions import Editions, Publication
from kneewall.records.envelope import Photo, Signed
from kneewall.records.errors import EditionError
from kneewall.records.folder import DataFolder
from kneewall.records.ledger import Ledger, Reading, Source, Visit
from kneewall.records.plots import Plot, Plotter
from kneewall.records.present import (
    VERDICTS,
    ReadingLine,
    ResultLine,
    VerdictLine,
    VisitPage,
    look_at,
)
from kneewall.records.report.parts import Picture, Plate, Report, Row, Signature, Topic
from kneewall.records.told import checklists_of, worst_on
from kneewall.records.wording import day, moment

PLATE = frozenset({"indoor", "nameplate", "outdoor", "site", "system"})
"""What stands on plates and on the house: quantities of these names that are kept from visit to visit."""
SETTINGS = "controls"
"""Topic of the calculators whose entries and results are settings made."""
_ORIGINS = {
    "typed": "",
    "picked": "",
    "offered": "taken as computed",
    "timer": "timed",
    "table": "from a table",
}
VERDICT_WORDS: Mapping[str, str] = {
    "fail": "Failed",
    "caution": "Look again",
    "unknown": "Not known yet",
    "pass": "Within",
}


def report_of(
    ledger: Ledger,
    visit: Visit,
    editions: Editions,
    folder: DataFolder,
    names: Mapping[str, str],
    office: str,
) -> Report:
    """The report of a visit under its own edition.

    Args:
        names: of the devices, by id.
        office: what the office is called.
    """
    trouble, page = "", None
    try:
        page = look_at(editions, ledger, visit)
    except EditionError as error:
        trouble = str(error)
    if page is None and not trouble:
        trouble = "No edition of the rules is published yet."
    edition = page.found.edition if page else visit.edition
    published = next((one for one in editions.all() if one.hash == edition), None)
    plotter = Plotter(page, editions) if page else None
    return _Writer(ledger, visit, page, plotter, names).write(
        office, trouble, folder, edition, published
    )


class _Writer:
    def __init__(
        self,
        ledger: Ledger,
        visit: Visit,
        page: VisitPage | None,
        plotter: Plotter | None,
        names: Mapping[str, str],
    ) -> None:
        self.ledger = ledger
        self.visit = visit
        self.page = page
        self.plotter = plotter
        self.names = names
        self.verdicts = page.verdicts() if page else []
        self.lines = page.readings() if page else []
        self.first_in: dict[str, Calculator] = {}
        for calculator in page.bundle.calculators if page else ():
            for quantity in (*calculator.enter, *calculator.if_known):
                self.first_in.setdefault(quantity, calculator)

    def write(
        self,
        office: str,
        trouble: str,
        folder: DataFolder,
        edition: str | None,
        published: Publication | None,
    ) -> Report:
        visit = self.visit
        site = self.ledger.sites.get(visit.site)
        name = site.name if site and site.name else "Site without a name"
        return Report(
            office=office,
            title=visit.title or "Visit without a plan",
            place=", ".join(part for part in (name, site.address if site else "") if part),
            visit=visit.id,
            facts=self._facts(),
            plates=self._plates(),
            trouble=trouble,
            agrees=self._agrees(),
            findings=self._findings(),
            readings=self._readings(),
            settings=self._settings(),
            photos=[self._photo(kept.source, kept.body, folder) for kept in visit.photos],
            cautions=self._cautions(),
            notes=[(note.text, self._who(note.source)) for note in visit.notes],
            signatures=[self._signature(kept.source, kept.body) for kept in visit.signatures],
            rules=_rules(edition, published, self.page),
        )

    def _facts(self) -> list[tuple[str, str]]:
        visit = self.visit
        by = ", ".join(self.names.get(one, one[:8]) for one in visit.devices) or "nobody yet"
        done = moment(visit.closed.source.when) if visit.closed else ""
        facts = [
            ("Kind", (visit.visit_kind or "").capitalize()),
            ("Planned for", day(visit.date) if visit.date else ""),
            ("First reading", moment(visit.first) if visit.first else ""),
            ("State", f"closed {done}" if done else "signed" if visit.signatures else visit.state),
            ("Technician", by),
        ]
        return [(label, text) for label, text in facts if text]

    # --- system ----------------------------------------------------------------------------------

    def _plates(self) -> list[Plate]:
        system = self.ledger.systems.get(self.visit.system)
        label = system.label if system and system.label else "System without a label"
        by_member: dict[str | None, list[tuple[str, str]]] = {None: []}
        for member in system.members if system else ():
            by_member[member.id] = []
        for line in filter(self._on_plate, self.lines):
            facts = by_member.setdefault(line.reading.member, [])
            facts.append((line.label, line.typed))
        return [
            Plate(label if member is None else self._member(member), facts)
            for member, facts in by_member.items()
        ]

    def _on_plate(self, line: ReadingLine) -> bool:
        quantity = self._quantity(line.reading)
        return (
            quantity is not None
            and quantity.id.partition(".")[0] in PLATE
            and quantity.scope != "visit"
            and not quantity.each_visit
            and quantity.type != "series"
        )

    def _member(self, member: str) -> str:
        system = self.ledger.systems.get(self.visit.system)
        known = {one.id: one for one in system.members} if system else {}
        if member not in known:
            return member[:8]
        one = known[member]
        collection = self.page.bundle.collections.get(one.collection) if self.page else None
        return f"{collection.label}: {one.label}" if collection else one.label

    # --- findings, readings, settings ------------------------------------------------------------

    def _findings(self) -> list[VerdictLine]:
        """Verdicts, worst first; a step left out is one to look at."""
        found = list(self.verdicts)
        for block in self.page.checklists() if self.page else ():
            for step in block.steps:
                if step.state and step.state.outcome == "skipped":
                    said = f"Skipped, because {step.state.reason}"
                    parts = ("caution", step.title, step.member, said, block.title, "")
                    found.append(VerdictLine("", *parts, borderline=False, until="", phone=None))
        return sorted(found, key=lambda line: VERDICTS.index(line.verdict))

    def _agrees(self) -> str:
        if self.page is None or not self.page.found.compared:
            return ""
        number = len(self.page.found.differences)
        if not number:
            return "The office computed the visit again and finds what the phone found."
        return f"The office computed the visit again and finds {number} otherwise than the phone."

    def _readings(self) -> list[Topic]:
        if self.page is None:
            rows = [
                Row(quantity, _typed(reading), self._who(reading.source))
                for (quantity, _), reading in self.visit.readings.items()
            ]
            return [Topic("As recorded", rows)] if rows else []
        by_topic: dict[str, list[Row]] = {}
        order = list(dict.fromkeys(c.topic for c in self.page.bundle.calculators))
        for line in self.lines:
            if not self._on_plate(line) and self._topic(line) != SETTINGS:
                by_topic.setdefault(self._topic(line), []).append(self._row(line))
        topics = sorted(by_topic, key=lambda one: order.index(one) if one in order else len(order))
        drawn = self.plotter.curves() if self.plotter else []
        return [
            Topic(
                _title(topic),
                by_topic[topic],
                [plot for calculator, plot in drawn if calculator.topic == topic],
            )
            for topic in topics
        ]

    def _settings(self) -> list[Row]:
        if self.page is None:
            return []
        rows = [
            self._row(line)
            for line in self.lines
            if not self._on_plate(line) and self._topic(line) == SETTINGS
        ]
        for block in self.page.results:
            if block.calculator.topic == SETTINGS:
                rows += [
                    Row(_with(line.label, line.member), line.value, _source(line))
                    for line in block.results
                    if line.value
                ]
        return rows

    def _topic(self, line: ReadingLine) -> str:
        quantity = self._quantity(line.reading)
        first = self.first_in.get(quantity.id) if quantity else None
        return first.topic if first else "other"

    def _row(self, line: ReadingLine) -> Row:
        reading = line.reading
        quantity = self._quantity(reading)
        # Another phone may show the same choice in another language.
        picked = quantity is not None and quantity.type in ("choice", "flag")
        under = ["" if picked or not line.shown else f"that is {line.shown}", _origin(reading)]
        under.append(self._who(reading.source))
        if not line.here:
            under.append("from an earlier visit")
        if not line.fits:
            under.append("no value this quantity can have; left out of the findings")
        if reading.corrections:
            last = reading.corrections[-1]
            why = f": {last.reason}" if last.reason else ""
            under.append(f"corrected {moment(last.source.when)}{why}")
        under += [
            f"also read as {_typed(other)} by {self._who(other.source)}"
            for other in reading.conflicts
        ]
        return Row(
            _with(line.label, line.member),
            line.shown or line.typed if picked else line.typed,
            " · ".join(part for part in under if part),
            worst_on(self.page.found, self.page.told, quantity, reading.member) or ""
            if self.page and quantity
            else "",
            self._chart(line),
        )

    def _chart(self, line: ReadingLine) -> Plot | None:
        quantity = self._quantity(line.reading)
        if self.plotter is None or quantity is None or not line.fits:
            return None
        return self.plotter.series(quantity, line.reading.member, line.reading.si)

    # --- the rest --------------------------------------------------------------------------------

    def _photo(self, source: Source, body: Photo, folder: DataFolder) -> Picture:
        file = folder.photo_file(body.photo)
        content = file.read_bytes() if file.is_file() else None
        return Picture(body.caption, self._who(source), content)

    def _cautions(self) -> list[tuple[str, str]]:
        """What the owner is told: cautions of the visit's checklists and calculators."""
        if self.page is None:
            return []
        bundle = self.page.bundle
        named = {caution for calculator in self.page.calculators for caution in calculator.cautions}
        named |= {
            step.caution
            for checklist in checklists_of(bundle, self.visit)
            for step in checklist.steps
        }
        return [
            (caution.text, self.page.source(caution.source))
            for caution in bundle.cautions
            if caution.owner and caution.id in named
        ]

    def _signature(self, source: Source, body: Signed) -> Signature:
        return Signature(body.name, body.statement, self._who(source), body.strokes or "")

    def _who(self, source: Source) -> str:
        doubt = ", clock not sure" if source.when.doubtful else ""
        return f"{self.names.get(source.device, source.device[:8])}, {moment(source.when)}{doubt}"

    def _quantity(self, reading: Reading) -> Quantity | None:
        return self.page.found.quantity(reading.quantity) if self.page else None


def _rules(
    edition: str | None, published: Publication | None, page: VisitPage | None
) -> list[tuple[str, str]]:
    lines = []
    if published:
        lines.append(("Edition", f"{published.number}, {day(published.date[:10])}"))
        lines.append(("Says of itself", published.note))
    lines.append(("Hash of its bytes", edition or "none"))
    if page:
        lines += [(pack.rank.capitalize() + " pack", pack.title) for pack in page.bundle.packs]
    lines.append(("Computed by", f"Kneewall {__version__}, {moment(stamp())}"))
    return lines


def _source(line: ResultLine) -> str:
    dispute = f"rests on a figure in dispute: {line.disputed}" if line.disputed else ""
    return " · ".join(part for part in (line.source, dispute) if part)


def _typed(reading: Reading) -> str:
    return f"{reading.text} {reading.unit or ''}".strip() or "cleared"


def _origin(reading: Reading) -> str:
    return _ORIGINS.get(reading.origin, reading.origin)


def _with(label: str, member: str) -> str:
    return f"{label} · {member}" if member else label


def _title(topic: str) -> str:
    return topic.replace("-", " ").capitalize()
