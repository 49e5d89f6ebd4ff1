"""The house rules: who may know whom, how large an engine may be, and that engines know no trade."""

from __future__ import annotations

import ast
import builtins
import importlib.metadata
import io
import json
import keyword
import re
import subprocess
import tokenize
from collections.abc import Iterator
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from ruamel.yaml import YAML

import kneewall

ROOT = Path(__file__).resolve().parents[1]
BACKEND = ROOT / "backend" / "kneewall"
PWA = ROOT / "pwa" / "src"

TOP_LEVEL = {
    ".ci", ".editorconfig", ".gitattributes", ".gitignore", "DEVELOPERS.md", "LICENSE", "README.md",
    "backend", "demo", "pwa", "pyproject.toml", "rules", "tests",
}  # fmt: skip

MAY_KNOW = {
    "amounts": set(),
    "packed": {"amounts"},
    "bundle": {"packed"},
    "engine": {"bundle"},
    "reading": {"bundle"},
    "explain": {"bundle", "engine", "reading"},
    "compiler": {"bundle", "engine", "explain", "packed", "reading"},
    "records": {"bundle", "engine", "explain", "reading"},
    "tools": {"bundle", "compiler", "engine", "explain", "reading"},
    "web": {"bundle", "compiler", "engine", "explain", "reading", "records", "tools"},
}
"""Parts of the package, and the parts each may import besides itself."""

PHONE_MAY_KNOW = {
    "generated": set(),
    "engine": {"generated"},
    "bundle": {"engine", "generated"},
    "ledger": {"bundle", "engine", "generated"},
    "sync": {"bundle", "engine", "generated", "ledger"},
    "words": {"bundle", "engine", "generated", "ledger", "sync"},
    "parts": {"bundle", "engine", "generated", "ledger", "sync", "words"},
    "screens": {"bundle", "engine", "generated", "ledger", "parts", "sync", "words"},
}
NO_PAGE = ("engine", "bundle", "ledger", "sync")

ENGINE_LINES = {"python": 500, "phone": 800}
"""Of code in what turns trees into results; blank lines, comments and docstrings do not count."""
AROUND_IT = {"__init__.py", "engine.py", "written.py", "index.ts", "answer.ts", "written.ts"}
"""What takes values in and reads results out by name, and prints trees for people."""
ENGINES = {"python": BACKEND / "engine", "phone": PWA / "engine"}

NAMED_IN_RULES = ("quantities", "checks", "calculators", "checklists", "collections")
JAVASCRIPT_WORDS = (
    "call",
    "flat",
    "group",
    "map",
    "number",
    "options",
    "switch",
    "trace",
    "type",
    "value",
    "values",
)
PLAIN_WORDS = {
    "above", "and", "ask", "at", "built", "by", "check", "code", "constant", "corner", "count", "depth", "end",
    "filter", "first", "fit", "for", "free", "from", "held", "high", "holds", "in", "keep", "last", "least",
    "left", "length", "line", "low", "most", "near", "next", "no", "none", "nothing", "of", "off",
    "old", "on", "only", "other", "out", "over", "own", "pair", "pairs", "part", "parts", "path",
    "place", "power", "release", "replace", "right", "run", "second", "side", "single", "size",
    "source", "start", "test", "the", "third", "to", "together", "too", "twelve", "two", "under", "units", "weight",
    "whole", "with", "within",
}  # fmt: skip
"""Words in ids of the rules that are plain English, mathematics or the rule language itself."""


def files_in(folder: Path, pattern: str) -> list[Path]:
    found = sorted(folder.rglob(pattern))
    assert found, f"{folder.relative_to(ROOT)} has no {pattern}"
    return found


# --- what may know what -----------------------------------------------------------------------


def python_imports(path: Path) -> Iterator[str]:
    """Dotted names a file imports, wherever in it; relative ones are made absolute."""
    package = ["kneewall", *path.relative_to(BACKEND).parent.parts]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            module = ".".join([*base, *(node.module or "").split(".")]).strip(".")
            yield from (f"{module}.{alias.name}" for alias in node.names)


@pytest.mark.parametrize("part", MAY_KNOW)
def test_a_part_imports_only_what_it_may_know(part: str) -> None:
    place = BACKEND / part
    paths = files_in(place, "*.py") if place.is_dir() else [place.with_suffix(".py")]
    allowed = MAY_KNOW[part] | {part, "__version__"}
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in paths
        for name in python_imports(path)
        if name.startswith("kneewall.") and name.split(".")[1] not in allowed
    ]
    assert not wrong


def test_only_web_and_the_command_line_know_flask() -> None:
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in files_in(BACKEND, "*.py")
        if path.relative_to(BACKEND).parts[0] not in ("web", "cli.py")
        for name in python_imports(path)
        if name.split(".")[0] in ("flask", "werkzeug", "jinja2", "waitress")
    ]
    assert not wrong


IMPORT = re.compile(r"""(?:\bfrom|\bimport)\s*\(?\s*["']([^"']+)["']""")


def phone_imports(path: Path) -> list[str]:
    return IMPORT.findall(path.read_text(encoding="utf-8"))


def phone_targets(path: Path) -> list[Path]:
    """Our own files a file imports."""
    return [(path.parent / name).resolve() for name in phone_imports(path) if name[0] == "."]


@pytest.mark.parametrize("part", PHONE_MAY_KNOW)
def test_a_part_of_the_phone_imports_only_what_it_may_know(part: str) -> None:
    wrong = []
    for path in files_in(PWA / part, "*.ts"):
        for target in phone_targets(path):
            folder = target.relative_to(PWA).parts[:-1]
            if folder and folder[0] not in PHONE_MAY_KNOW[part] | {part}:
                wrong.append(f"{path.relative_to(ROOT)} imports {target.relative_to(PWA)}")
    assert not wrong


def reached_from(part: str) -> set[Path]:
    """Files of a part of the phone and all they import, near and far."""
    open_ends = files_in(PWA / part, "*.ts")
    reached: set[Path] = set()
    while open_ends:
        path = open_ends.pop()
        if path not in reached:
            reached.add(path)
            open_ends += [target for target in phone_targets(path) if target.suffix == ".ts"]
    return reached


def test_nothing_below_a_screen_knows_a_screen() -> None:
    reached = set().union(*(reached_from(part) for part in ("parts", "words", *NO_PAGE)))
    assert not [path for path in reached if (PWA / "screens") in path.parents]


@pytest.mark.parametrize("part", NO_PAGE)
def test_a_part_below_the_page_knows_neither_lit_nor_the_page(part: str) -> None:
    page = re.compile(r"\b(document|window|HTML\w*Element|customElements)\b")
    wrong = []
    for path in reached_from(part):
        code = without_comments(path.read_text(encoding="utf-8"))
        libraries = {name.split("/")[0] for name in phone_imports(path)}
        known = [*page.findall(code), *libraries & {"lit", "@lit", "d3-scale", "d3-shape"}]
        wrong += [f"{path.relative_to(ROOT)} knows {word}" for word in known]
    assert not wrong


# --- engines ----------------------------------------------------------------------------------

TS_TOKEN = re.compile(
    r"""(?P<comment>//[^\n]*|/\*.*?\*/)|(?P<text>"(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*'|`(?:\\.|[^`\\])*`)""",
    re.DOTALL,
)


def without_comments(source: str) -> str:
    return TS_TOKEN.sub(lambda found: found["text"] or " ", source)


def words_of(text: str) -> set[str]:
    """Words of three letters or more in identifiers and texts: `leastConductor` is two."""
    split = re.sub(r"([a-z0-9])([A-Z])", r"\1 \2", text)
    return {word.lower() for word in re.findall(r"[A-Za-z]{3,}", split)}


def prose_lines(source: str) -> set[int]:
    """Numbers of the lines that docstrings take."""
    return {
        line
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        for line in range(node.lineno, (node.end_lineno or node.lineno) + 1)
    }


def python_words(path: Path) -> set[str]:
    """Words of names and strings; docstrings and comments may explain with examples."""
    source = path.read_text(encoding="utf-8")
    prose = prose_lines(source)
    kinds = {tokenize.NAME, tokenize.STRING, getattr(tokenize, "FSTRING_MIDDLE", tokenize.STRING)}
    return {
        word
        for token in tokenize.generate_tokens(io.StringIO(source).readline)
        if token.type in kinds and token.start[0] not in prose
        for word in words_of(token.string)
    }


def trade_words() -> set[str]:
    """Every topic of the rules' names, every calculator, checklist, collection and value of a choice."""
    words: set[str] = set()
    for path in files_in(ROOT / "rules", "*.yaml"):
        document = YAML(typ="safe", pure=True).load(path.read_text(encoding="utf-8")) or {}
        for section in NAMED_IN_RULES:
            for name in document.get(section) or {}:
                words |= words_of(str(name).partition(".")[0])
        for choice in (document.get("choices") or {}).values():
            words |= words_of(" ".join(map(str, choice.get("values", []))))
    assert len(words) > 60, "the rules name next to nothing; has their format changed?"
    return words - PLAIN_WORDS - language_words()


def language_words() -> set[str]:
    """Words of the rule language's own page and of the two programming languages."""
    page = (ROOT / "rules" / "LANGUAGE.md").read_text(encoding="utf-8")
    spans = [span for span in re.findall(r"`([^`\n]+)`", page) if "." not in span]
    return words_of(" ".join([*spans, *keyword.kwlist, *dir(builtins), *JAVASCRIPT_WORDS]))


@pytest.mark.parametrize("engine", ENGINES)
def test_an_engine_knows_no_word_of_the_trade(engine: str) -> None:
    trade = trade_words()
    known: dict[str, set[str]] = {}
    for path in files_in(ENGINES[engine], "*.py" if engine == "python" else "*.ts"):
        if engine == "python":
            words = python_words(path)
        else:
            words = words_of(without_comments(path.read_text(encoding="utf-8")))
        if words & trade:
            known[path.name] = words & trade
    assert not known


def python_lines(path: Path) -> int:
    source = path.read_text(encoding="utf-8")
    layout = {tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT}
    lines: set[int] = set()
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type not in layout | {tokenize.ENDMARKER}:
            lines.update(range(token.start[0], token.end[0] + 1))
    return len(lines - prose_lines(source))


def phone_lines(path: Path) -> int:
    code = without_comments(path.read_text(encoding="utf-8"))
    return sum(1 for line in code.splitlines() if line.strip())


@pytest.mark.parametrize("engine", ENGINES)
def test_an_engine_stays_small(engine: str) -> None:
    pattern, count = ("*.py", python_lines) if engine == "python" else ("*.ts", phone_lines)
    paths = [path for path in files_in(ENGINES[engine], pattern) if path.name not in AROUND_IT]
    lines = {path.name: count(path) for path in paths}
    assert sum(lines.values()) <= ENGINE_LINES[engine], lines


def test_nothing_evaluates_text_as_code() -> None:
    python = re.compile(r"(?<![.\w])(?:eval|exec|compile)\(")
    phone = re.compile(r"(?<![.\w])(?:eval|Function)\(|\binnerHTML\b|\bunsafeHTML\b")
    wrong = [p for p in files_in(BACKEND, "*.py") if python.search(p.read_text(encoding="utf-8"))]
    wrong += [p for p in files_in(PWA, "*.ts") if phone.search(p.read_text(encoding="utf-8"))]
    assert not wrong


# --- the repository ---------------------------------------------------------------------------


def tracked() -> list[str]:
    listing = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return [name for name in listing.stdout.split("\0") if name]


def test_the_top_level_holds_only_what_belongs_there() -> None:
    assert {name.split("/")[0] for name in tracked()} <= TOP_LEVEL


def test_no_package_registry_is_named() -> None:
    # Spelled so that this file does not name them either.
    host = re.compile(
        r"pypi\.{0}|pythonhosted\.{0}|registry\.npmjs|npmjs\.{0}".format("(?:org|com)")
    )
    wrong = []
    for name in tracked():
        path = ROOT / name
        if path.is_file() and host.search(path.read_bytes().decode("utf-8", "ignore")):
            wrong.append(name)
    assert not wrong


def test_office_and_phone_carry_the_same_version() -> None:
    package = json.loads((ROOT / "pwa" / "package.json").read_text(encoding="utf-8"))
    lock = json.loads((ROOT / "pwa" / "package-lock.json").read_text(encoding="utf-8"))
    assert package["version"] == lock["version"] == kneewall.__version__


def test_every_python_package_is_pinned() -> None:
    pins = (ROOT / "backend" / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pinned = {canonicalize_name(line.split("==")[0]) for line in pins if "==" in line}
    open_ends = [("kneewall", {"", "test"})]
    seen: set[str] = set()
    while open_ends:
        name, extras = open_ends.pop()
        for text in importlib.metadata.requires(name) or []:
            requirement = Requirement(text)
            marker = requirement.marker
            if marker and not any(marker.evaluate({"extra": extra}) for extra in extras or {""}):
                continue
            if name == "kneewall":
                assert str(requirement.specifier).startswith("=="), text
            else:
                package = canonicalize_name(requirement.name)
                assert package in pinned | seen, f"{requirement.name}, needed by {name}"
            seen.add(canonicalize_name(requirement.name))
            open_ends.append((requirement.name, requirement.extras))
    assert pinned <= seen, "pinned, but nothing needs it"
