"""`kneewall sources`, `compare`, `explain`, `words` and `translation`: the rules looked at from outside."""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from textwrap import shorten
from typing import Any

from kneewall.bundle import Bundle
from kneewall.compiler.command import BadInput, read_bundle, trade_pack
from kneewall.compiler.errors import CompileError
from kneewall.compiler.languages import Text, missing, texts_of
from kneewall.compiler.link import compile_items
from kneewall.tools.compare import Comparison, compare
from kneewall.tools.felt import Felt
from kneewall.tools.origin import Origin, read_origin
from kneewall.tools.sources import Doubt, Worklist, places_of, worklist
from kneewall.tools.translation import Translation, as_csv, as_html, write
from kneewall.tools.words import Words


def register(subparsers: Any) -> None:
    """Add the five commands to the command line."""
    sources = subparsers.add_parser("sources", help="values whose source is still to be looked at")
    sources.add_argument(
        "bundle", nargs="?", type=Path, metavar="FILE", help="a bundle; without: the trade pack"
    )
    sources.add_argument("--json", action="store_true", help="print one JSON object")
    sources.set_defaults(run=_refusing(run_sources))
    comparison = subparsers.add_parser("compare", help="what changed between two bundles")
    comparison.add_argument("old", type=Path, metavar="OLD")
    comparison.add_argument("new", type=Path, metavar="NEW")
    comparison.add_argument("--json", action="store_true", help="print one JSON object")
    comparison.set_defaults(run=_refusing(run_compare))
    explain = subparsers.add_parser("explain", help="where a quantity of a bundle comes from")
    explain.add_argument("bundle", type=Path, metavar="BUNDLE")
    explain.add_argument("quantity", metavar="QUANTITY", help="of a second member: QUANTITY@2")
    explain.add_argument("values", nargs="*", metavar="name=value", help="fill the formulas in")
    explain.add_argument(
        "--mermaid", action="store_true", help="print the text of a Mermaid flowchart"
    )
    explain.set_defaults(run=_refusing(run_explain))
    words = subparsers.add_parser("words", help="texts without words in another language")
    words.add_argument("bundle", type=Path, metavar="FILE")
    words.set_defaults(run=_refusing(run_words))
    translation = subparsers.add_parser(
        "translation", help="the words of another language, listed for a native speaker"
    )
    translation.add_argument("language", metavar="LANGUAGE", help="as its files are named: es")
    translation.add_argument("packs", nargs="*", type=Path, metavar="PACK")
    what = translation.add_mutually_exclusive_group()
    what.add_argument("-o", dest="out", type=Path, metavar="FILE", help="FILE.csv or FILE.html")
    what.add_argument(
        "--note", action="store_true", help="note which English new and changed words stand for"
    )
    what.add_argument(
        "--reviewed", type=Path, metavar="FILE.csv", help="take over a list that came back"
    )
    translation.set_defaults(run=_refusing(run_translation))


def _refusing(run: Callable[[argparse.Namespace], int]) -> Callable[[argparse.Namespace], int]:
    """Bad input is a line a fault on stderr and exit 2."""

    def refusing(arguments: argparse.Namespace) -> int:
        try:
            return run(arguments)
        except BadInput as error:
            print(error, file=sys.stderr)
            return 2

    return refusing


def run_sources(arguments: argparse.Namespace) -> int:
    """Exit 0; 1 with a line a fault when the trade pack does not compile; 2 for bad input."""
    if arguments.bundle:
        found = worklist(read_bundle(arguments.bundle))
    else:
        try:
            compiled = compile_items([trade_pack()])
        except CompileError as error:
            print("\n".join(map(str, error.faults)), file=sys.stderr)
            return 1
        found = worklist(compiled.bundle, places_of(compiled.items))
    print(_json(found) if arguments.json else _sources_text(found))
    return 0


def run_compare(arguments: argparse.Namespace) -> int:
    """Exit 0, whether something changed or not; 2 for bad input."""
    found = compare(read_bundle(arguments.old), read_bundle(arguments.new))
    print(_json(found) if arguments.json else _comparison_text(found))
    return 0


def run_explain(arguments: argparse.Namespace) -> int:
    """Exit 0; 2 for bad input."""
    bundle: Bundle = read_bundle(arguments.bundle)
    origin: Origin = read_origin(bundle, arguments.quantity, arguments.values)
    print(origin.mermaid() if arguments.mermaid else origin.text())
    return 0


def run_words(arguments: argparse.Namespace) -> int:
    """Exit 0, whether words are missing or not; 2 for bad input."""
    bundle: Bundle = read_bundle(arguments.bundle)
    texts = texts_of(bundle)
    lines = (
        [] if bundle.words else ["No other language was begun: a file such as es.yaml begins one."]
    )
    for language, paths in missing(bundle).items():
        there = len(bundle.words[language].texts)
        lines.append(f"{language}: {there} texts have words, {len(paths)} have none")
        lines += [f"  {path}: {_said(bundle, texts[path])}" for path in paths]
    print("\n".join(lines))
    return 0


def run_translation(arguments: argparse.Namespace) -> int:
    """Exit 0; 1 with a line a fault when the packs do not compile; 2 for bad input."""
    try:
        found = Translation(arguments.packs or [trade_pack()], arguments.language)
    except CompileError as error:
        print("\n".join(map(str, error.faults)), file=sys.stderr)
        return 1
    out: Path | None = arguments.out
    if arguments.note:
        print(f"{arguments.language}: {found.note()} texts noted")
    elif arguments.reviewed:
        taken, better = found.reviewed(arguments.reviewed)
        print("\n".join((f"{arguments.language}: {taken} texts approved", *better)))
    elif out is None:
        print(as_csv(found), end="")
    elif out.suffix in (".csv", ".html"):
        write(out, (as_html if out.suffix == ".html" else as_csv)(found))
    else:
        raise BadInput(f"{out}: name a file that ends in .csv or .html")
    return 0


def _said(bundle: Bundle, text: Text) -> str:
    said = text.said if isinstance(text.said, str) else Words(bundle).pieces(text.said)
    return shorten(said, 90, placeholder=" …")


def _json(found: Worklist | Comparison) -> str:
    return json.dumps(asdict(found), ensure_ascii=False, indent=2)


def _sources_text(found: Worklist) -> str:
    if not found.open:
        return f"All {found.sourced} values rest on confirmed sources."
    why = Counter(why for group in found.groups for doubt in group.values for why in doubt.why)
    counts = ", ".join(f"{count} {reason}" for reason, count in why.most_common())
    lines = [f"{found.open} of {found.sourced} values to look at: {counts}"]
    for group in found.groups:
        title = f"{group.title}, {group.edition}" if group.edition else group.title
        lines += ["", f"{group.source}: {title} ({len(group.values)})"]
        lines += [f"  {_doubt(doubt)}" for doubt in group.values]
    return "\n".join(lines)


def _doubt(doubt: Doubt) -> str:
    label = f" ({shorten(doubt.label, 70, placeholder=' …')})" if doubt.label else ""
    place = f", {doubt.place}" if doubt.place else ""
    return f"{doubt.stands}: {doubt.what} {doubt.id}{label}{place}: {', '.join(doubt.why)}"


def _comparison_text(found: Comparison) -> str:
    if found.old == found.new:
        return "No change: the two are the same bundle."
    if not found.changes:
        return "No change that a person could see; the two differ in form only."
    count = len(found.changes)
    lines = [f"{count} change{'s' * (count != 1)}"]
    for topic, changes in found.by_topic().items():
        lines += ["", topic, *(f"  {change.line}" for change in changes)]
    lines += ["", "Results that can feel it"]
    if not found.felt:
        lines.append("  None.")
    for view in found.felt:
        lines += _felt(view)
    return "\n".join(lines)


def _felt(view: Felt) -> list[str]:
    title = f"{view.title} ({view.id})" if view.id else view.title
    return [
        f"  {title}",
        *(
            f"    {'' if result.of == 'quantity' else result.of + ' '}{result.label} ({result.id})"
            f", by {', '.join(result.by)}"
            for result in view.results
        ),
    ]
