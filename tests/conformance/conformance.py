"""Cases as data: a small pack and what it must give, for any engine.

A case file holds the sections of a rule file and `cases`: `given` as people write it, `expect` as in worked examples,
`checks` as verdicts. A third engine needs only the compiled bundle and the SI values that `load` returns.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

from kneewall.bundle import Bundle, Example
from kneewall.compiler import compile_packs

HERE = Path(__file__).parent
FILES = sorted((HERE / "cases").glob("*.yaml"))
UNITS = (HERE.parents[1] / "rules" / "units.csv").read_text(encoding="utf-8")


@dataclass(frozen=True)
class CaseFile:
    name: str
    bundle: Bundle

    @property
    def cases(self) -> list[Example]:
        return self.bundle.examples


def load(path: Path, folder: Path, *, run: bool = True) -> CaseFile:
    """Compile a case file; its cases become the worked examples of one calculator over everything.

    With `run` the compiler proves them on the Python engine.
    """
    yaml = YAML(typ="rt")
    yaml.width = 100_000
    data: Any = yaml.load(path.read_text(encoding="utf-8"))
    cases = data.pop("cases")
    quantities = data["quantities"]
    data["calculators"] = {
        "all": {
            "title": "All",
            "topic": "demo",
            "enter": [name for name, q in quantities.items() if "formula" not in q],
            "show": list(quantities),
            "checks": list(data.get("checks", {})),
        }
    }
    examples = [
        {"name": f"case {number}", "calculator": "all", "source": "demo", **case}
        for number, case in enumerate(cases, 1)
    ]
    if run:
        data["examples"] = examples
    with (folder / "rules.yaml").open("w", encoding="utf-8") as out:
        yaml.dump(data, out)
    (folder / "units.csv").write_text(UNITS, encoding="utf-8")
    (folder / "pack.yaml").write_text("id: trade\nrank: trade\ntitle: Cases\nformat: 1\n")
    return CaseFile(path.stem, compile_packs([folder]))
