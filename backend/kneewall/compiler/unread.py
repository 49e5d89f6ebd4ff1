"""What is wrong with a text that is no YAML, in the words of whoever wrote it: where, what, how to mend it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

QUOTES: Final = "a text that holds : , # { } [ or ] may have to stand in quotes"
_ODD_SPACE: Final = re.compile("^[ \t]*([\u00a0\u1680\u2000-\u200b\u202f\u205f\u2060\u3000])")
_NO_KEY: Final = "this line has no key", "write key: value, with a colon and a space"
_CLOSERS: Final = {"{": "}", "[": "]"}

Said = tuple[int, int, str, str]
"""Line and column from 1, what is wrong, how to mend it."""


@dataclass(frozen=True)
class Quoted:
    """A text in quotes over several lines, by lines from 0: the place of its quote, and its last line."""

    line: int
    column: int
    last: int


def explained(error: Any, lines: list[str], quoted: Quoted | None) -> Said:
    """`error` is a `MarkedYAMLError`; `quoted` the last text in quotes over several lines that was read before it."""
    mark = error.problem_mark or error.context_mark
    if mark is None:
        return 1, 1, f"not YAML: {error.problem}", QUOTES
    one = _Broken(error, mark.line, mark.column, lines, quoted)
    return next(
        one.guesses(), (mark.line + 1, mark.column + 1, f"not YAML: {error.problem}", QUOTES)
    )


class _Broken:
    """The place where reading stopped, and guesses at what came before it, the surest first."""

    def __init__(
        self, error: Any, row: int, column: int, lines: list[str], quoted: Quoted | None
    ) -> None:
        self.problem, self.context = str(error.problem), str(error.context)
        opened = error.context_mark
        self.opened = (opened.line, opened.column) if opened else (row, column)
        self.row, self.column = row, column
        self.lines, self.quoted = lines, quoted
        self.line = lines[row] if row < len(lines) else ""
        self.before = self.line[:column]
        above = [at for at in range(min(row, len(lines)) - 1, -1, -1) if _says(lines[at])]
        self.above = above[0] if above else row

    def guesses(self) -> Iterator[Said]:
        yield from self._spaces()
        yield from self._signs()
        yield from self._unclosed()
        if "could not find expected ':'" in self.problem:
            row = self.opened[0]
            column = _indent(self.lines[row]) + 1
            yield row + 1, column, *_NO_KEY
        elif self.problem.startswith("mapping values are not allowed"):
            yield from self._colons()
        elif self.problem.startswith("did not find expected key"):
            yield from self._keys()
        elif "'-' indicator" in self.problem:
            what = "a key stands among the items of a list"
            yield self._here(
                what, "indent it like the keys of the item, or like the list's own key"
            )

    def _here(self, what: str, mend: str) -> Said:
        return self.row + 1, self.column + 1, what, mend

    def _spaces(self) -> Iterator[Said]:
        for row in (self.above, self.row):
            found = _ODD_SPACE.match(self.lines[row]) if row < len(self.lines) else None
            if found:
                what = f"a space that is none of the plain ones (U+{ord(found[1]):04X}) stands here"
                yield row + 1, found.start(1) + 1, what, "indent with plain spaces"
        if "tab" in self.problem or self.line[self.column : self.column + 1] == "\t":
            yield self._here("a tab stands here", "indent with spaces")

    def _signs(self) -> Iterator[Said]:
        mend = "put the text in quotes"
        if "cannot start any token" in self.problem:
            yield self._here(f"a text cannot begin with {self.line[self.column]}", mend)
        if "an alias" in self.context or "an anchor" in self.context:
            row, column = self.opened
            yield row + 1, column + 1, f"a text cannot begin with {self.lines[row][column]}", mend
        if "unknown escape" in self.problem:
            what = "a backslash in double quotes begins a code that is none"
            yield self._here(what, "use single quotes, or write two backslashes")
        if "a block scalar" in self.context:
            what = "a text after | or > begins on the next line"
            yield self._here(what, "put the text below, or in quotes")
        if "node content" in self.problem:
            yield self._here("an entry is empty here", "leave one comma out, or write the entry")

    def _unclosed(self) -> Iterator[Said]:
        row, column = self.opened
        if "a quoted scalar" in self.context and "end of stream" in self.problem:
            yield row + 1, column + 1, "the quotes that open here are not closed", "close them"
        if "a flow " in self.context and "expected ','" in self.problem:
            opener = self.lines[row][column]
            closer = _CLOSERS.get(opener, "}")
            if row == self.row:
                what = f"a comma or {closer} is missing before this"
                yield self._here(what, f"write it; {QUOTES}")
            else:
                what = f"the {opener} that opens here is not closed"
                yield row + 1, column + 1, what, f"write {closer} at its end"
        if self.quoted and self.quoted.last == self.row:
            what = f"the text in quotes that begins here ends in line {self.row + 1} only"
            yield self.quoted.line + 1, self.quoted.column + 1, what, "close the quotes"

    def _colons(self) -> Iterator[Said]:
        above = self.lines[self.above].strip()
        indents = [_indent(self.lines[at]) for at in (self.above, self.row)]
        if re.search(r":\s", self.before):
            what = "a second colon with a space stands in this line"
            yield self._here(what, "put the text in quotes")
        at = self.above + 1, indents[0] + 1
        if re.match(r"-[^\s-]", above):
            yield *at, "there is no space after the dash", "write a dash, a space, the entry"
        if not re.search(r":(\s|$)", above):
            yield *at, *_NO_KEY
        if indents[1] > indents[0]:
            what = "this line is indented further than the one above, which has its value"
            yield self.row + 1, indents[1] + 1, what, "begin it in the same column"

    def _keys(self) -> Iterator[Said]:
        value = re.match(r"\s*(?:- )?[^\s:]+:\s+(.)", self.before)
        if value and value[1] in "*&":
            mend = "put the text in quotes"
            yield self.row + 1, value.start(1) + 1, f"a text cannot begin with {value[1]}", mend
        if self.before.strip():
            what = (
                f"something follows where the text that begins with {value[1]} has ended"
                if value
                else ("something follows where the text has ended")
            )
            yield self._here(what, "put the whole text in quotes of a sort that it does not hold")
        if self.line[self.column : self.column + 2] == "- ":
            yield self._here("an item of a list stands among keys", "indent it like its list")
        what = "this line begins in a column where no line before it does"
        yield self._here(what, "begin it where the lines begin that it belongs with")


def _says(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip())
