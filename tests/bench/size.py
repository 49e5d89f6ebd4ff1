"""What an edition of the trade's rules with the demo packs weighs on the way to a phone, with words and without.

python tests/bench/size.py
"""

from __future__ import annotations

import gzip
from pathlib import Path
from typing import Final

import brotli

from kneewall.bundle import bytes_of, document_of
from kneewall.compiler import compile_packs

ROOT: Final = Path(__file__).parents[2]
PACKS: Final = [ROOT / "rules", *(ROOT / "demo" / "packs" / name for name in ("maker", "house"))]
ASKED: Final = 120_000
"""Bytes by brotli, in one language."""


def main() -> None:
    document = document_of(compile_packs(PACKS).raw)
    english = {name: section for name, section in document.items() if name != "words"}
    for what, held in (
        ("in one language", english),
        (f"with words of {', '.join(document['words'])}", document),
    ):
        raw = bytes_of(held)
        packed = len(brotli.compress(raw, mode=brotli.MODE_TEXT))
        print(
            f"{what:22} raw {len(raw):9,}  gzip {len(gzip.compress(raw, 9)):9,}  brotli {packed:9,}"
            f"  asked {ASKED:,}  {packed / ASKED:.3f} of it"
        )


if __name__ == "__main__":
    main()
