"""The words of another language as a list for a native speaker, and what was seen of it.

A pack keeps beside its words `LANGUAGE.seen.csv`: for every text the hash of the English it stands for, the hash of
the words themselves, and who has reviewed them; and, if it likes, `LANGUAGE.terms.csv`, one term for one term.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from html import escape
from pathlib import Path
from typing import Final

from kneewall.bundle import Bundle, Piece
from kneewall.compiler.command import BadInput
from kneewall.compiler.languages import texts_of
from kneewall.compiler.link import compile_items
from kneewall.tools.words import Words

SEEN: Final = ("path", "english", "words", "reviewed")
TERMS: Final = ("english", "spanish", "note")
COLUMNS: Final = (
    *("path", "place", "english", "words", "figures", "state"),
    *("of", "better", "reviewed by"),
)
"""Of the list. A reviewer fills in the last two; `of` is the hash of the English they have read."""


@dataclass(frozen=True)
class Seen:
    """What words stood for when they were last looked at."""

    english: str
    words: str
    reviewed: str = ""


@dataclass(frozen=True)
class Line:
    """One text in both languages, and where it stands."""

    path: str
    place: str
    english: str
    words: str
    figures: str
    """What the names in braces stand for."""
    seen: Seen | None

    @property
    def now(self) -> Seen:
        return Seen(_hash(self.english), _hash(self.words))

    @property
    def state(self) -> str:
        if self.seen is None or self.seen.words != self.now.words:
            return "new"
        if self.seen.english != self.now.english:
            return "English changed since"
        return f"reviewed by {self.seen.reviewed}" if self.seen.reviewed else "translated"


class Translation:
    """The words that these packs have in one language. Raises CompileError, and BadInput when they have none."""

    def __init__(self, folders: Sequence[Path], language: str) -> None:
        compiled = compile_items(list(folders))
        self.language = language
        self.bundle = compiled.bundle
        if language not in self.bundle.words:
            known = ", ".join(self.bundle.words) or "none"
            raise BadInput(f"{language}: no words in this language; there is {known}")
        self.folders = dict(zip((pack.id for pack in self.bundle.packs), folders, strict=True))
        self.packs: dict[str, str] = {}
        """By path, the pack whose words count."""
        for file in compiled.items.words:
            if file.language == language:
                self.packs |= dict.fromkeys(_paths(file.document.data), file.pack)
        self.seen = {pack: _read_seen(self._file(pack, "seen")) for pack in self.folders}

    def lines(self) -> list[Line]:
        words = Words(self.bundle)
        places = _Places(self.bundle)
        texts = texts_of(self.bundle)
        return [
            Line(
                path=path,
                place=places.of(path),
                english=_plain(words, texts[path].said),
                words=_plain(words, said),
                figures=places.figures(texts[path].said),
                seen=self.seen[self.packs[path]].get(path),
            )
            for path, said in self.bundle.words[self.language].texts.items()
        ]

    def terms(self) -> list[dict[str, str]]:
        return [
            row
            for pack in self.folders
            for row in _read(self._file(pack, "terms"), TERMS, missing=True)
        ]

    def note(self) -> int:
        """Note what new and changed words stand for. Gives how many."""
        fresh = [line for line in self.lines() if line.state == "new"]
        for line in fresh:
            self.seen[self.packs[line.path]][line.path] = line.now
        self._write()
        return len(fresh)

    def reviewed(self, file: Path) -> tuple[int, list[str]]:
        """Take over a list that came back: how many texts it approves, and what it would say better.

        A row whose English is no longer what the reviewer has read is not approved.
        """
        lines = {line.path: line for line in self.lines()}
        taken, better = 0, []
        for row in _read(file, COLUMNS):
            line = lines.get(row["path"])
            if line and row["better"].strip():
                better.append(f"{line.path}: {row['better'].strip()}")
            elif line and row["reviewed by"].strip() and row["of"] == line.now.english:
                seen = replace(line.now, reviewed=row["reviewed by"].strip())
                self.seen[self.packs[line.path]][line.path] = seen
                taken += 1
        self._write()
        return taken, better

    def _file(self, pack: str, what: str) -> Path:
        return self.folders[pack] / f"{self.language}.{what}.csv"

    def _write(self) -> None:
        for pack, seen in self.seen.items():
            if not seen:
                continue
            rows = [
                {"path": path, "english": of.english, "words": of.words, "reviewed": of.reviewed}
                for path, of in sorted(seen.items())
            ]
            write(self._file(pack, "seen"), _csv(SEEN, rows))


class _Places:
    """Where texts stand, said for somebody who has no Kneewall."""

    def __init__(self, bundle: Bundle) -> None:
        self.bundle = bundle
        self.names = {f"quantities/{each.id}": each.label for each in bundle.quantities}
        self.names |= {f"checks/{each.id}": each.label for each in bundle.checks}
        self.names |= {f"calculators/{each.id}": each.title for each in bundle.calculators}
        for checklist in bundle.checklists:
            of = f"checklists/{checklist.id}"
            self.names[of] = checklist.title
            self.names |= {f"{of}/steps/{step.id}": step.title for step in checklist.steps}

    def of(self, path: str) -> str:
        section, name, *rest = path.split("/")
        item = self.names.get(f"{section}/{name}", name.replace("_", " "))
        parts = [f"{section.removesuffix('s')} “{item}”"]
        if rest[:1] == ["steps"]:
            parts.append(f"step “{self.names['/'.join((section, name, *rest[:2]))]}”")
            rest = rest[2:]
        return ", ".join((*parts, *rest))

    def figures(self, said: str | list[Piece]) -> str:
        slots = (
            [] if isinstance(said, str) else [piece for piece in said if isinstance(piece, list)]
        )
        named = [self.bundle.quantities[int(slot[1])] for slot in slots]  # type: ignore[arg-type]
        return "; ".join(f"{{{each.id}}} {each.label}" for each in named)


def as_csv(translation: Translation) -> str:
    """The list as a spreadsheet reads it, its terms first."""
    terms = [
        {"path": "term", "english": row["english"], "words": row["spanish"], "figures": row["note"]}
        for row in translation.terms()
    ]
    return _csv(COLUMNS, [*terms, *map(_row, translation.lines())])


def as_html(translation: Translation) -> str:
    """The list as a page that stands alone and can be printed."""
    terms = [[row[name] for name in TERMS] for row in translation.terms()]
    shown = [name for name in COLUMNS if name != "of"]
    lines = [[_row(line).get(name, "") for name in shown] for line in translation.lines()]
    title = f"Words in {translation.language}"
    return f"""<!doctype html>
<html lang="en"><meta charset="utf-8"><title>{escape(title)}</title>
<style>body{{font:15px/1.4 sans-serif;margin:24px}}table{{border-collapse:collapse;width:100%}}
th,td{{border:1px solid #999;padding:4px 8px;text-align:left;vertical-align:top}}</style>
<h1>{escape(title)}</h1>
<p>{len(lines)} texts. What stands in braces is filled in with a figure and its unit.</p>
<h2>One term for one term</h2>
{_table(TERMS, terms)}
<h2>Texts</h2>
{_table(shown, lines)}
</html>
"""


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    def cells(tag: str, row: Sequence[str]) -> str:
        return "<tr>" + "".join(f"<{tag}>{escape(cell)}</{tag}>" for cell in row) + "</tr>"

    return "\n".join(
        ["<table>", cells("th", head), *(cells("td", row) for row in rows), "</table>"]
    )


def _row(line: Line) -> dict[str, str]:
    return {
        "path": line.path,
        "place": line.place,
        "english": line.english,
        "words": line.words,
        "figures": line.figures,
        "state": line.state,
        "of": line.now.english,
    }


def _plain(words: Words, said: str | list[Piece]) -> str:
    return said if isinstance(said, str) else words.pieces(said)


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def _paths(data: object, path: tuple[str, ...] = ()) -> Iterator[str]:
    if isinstance(data, dict):
        for key, inside in data.items():
            yield from _paths(inside, (*path, key))
    else:
        yield "/".join(path)


def _read_seen(file: Path) -> dict[str, Seen]:
    return {
        row["path"]: Seen(row["english"], row["words"], row["reviewed"])
        for row in _read(file, SEEN, missing=True)
    }


def _read(file: Path, columns: Sequence[str], *, missing: bool = False) -> list[dict[str, str]]:
    """The rows of a CSV file. Raises BadInput when it is not there or has other columns."""
    try:
        # Spreadsheets like to put a mark of the byte order first.
        reader = csv.DictReader(io.StringIO(file.read_text(encoding="utf-8-sig")))
        lacking = [name for name in columns if name not in (reader.fieldnames or ())]
        if lacking:
            raise BadInput(f"{file}:1: no column {lacking[0]}; keep the columns of the list")
        return [{name: row[name] or "" for name in columns} for row in reader]
    except FileNotFoundError:
        if missing:
            return []
        raise BadInput(f"{file}: no such file") from None
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise BadInput(f"{file}: cannot be read as CSV in UTF-8: {error}") from None


def write(file: Path, text: str) -> None:
    """Raises BadInput when it cannot be written."""
    try:
        file.write_text(text, encoding="utf-8")
    except OSError as error:
        raise BadInput(f"{file}: cannot be written: {error.strerror}") from None


def _csv(columns: Sequence[str], rows: Sequence[Mapping[str, str]]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
