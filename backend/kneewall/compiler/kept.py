"""What is kept between compilations of the same folders, and taken again where it would come out the same.

Nothing here decides what is right: everything kept names all it was made of, and is made anew when any of that
differs. A compilation with something kept gives the same bytes and the same faults as one without.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from operator import is_
from typing import Any, TypeVar

from kneewall.bundle import FORMAT, Bundle, Example, Part, canonical_json, spelled
from kneewall.compiler.examples import Ground, failures
from kneewall.compiler.names import Names, Uses
from kneewall.packed import pack

T = TypeVar("T")


@dataclass(frozen=True)
class _Made:
    """Something made, all it was made of, and what that used of the declarations."""

    of: tuple[object, ...]
    value: Any
    uses: Uses


@dataclass(frozen=True)
class _Pressed:
    """A drafted part, its canonical text, what that says, and the part that is read from it."""

    draft: Part
    text: bytes
    document: dict[str, Any]
    part: Any


_Read = dict[tuple[type[Part], bytes], _Pressed]


class Kept:
    """Give the same one to every compilation of the same folders. Not for two compilations at once."""

    def __init__(self) -> None:
        self._texts: dict[tuple[str, ...], tuple[str, Any]] = {}
        self._world: tuple[object, ...] = ()
        self._made: dict[tuple[str, ...], _Made] = {}
        self._pressed: dict[int, _Pressed] = {}
        self._read: _Read = {}
        self._held: dict[int, tuple[Example, list[Part]]] = {}
        self._first: dict[int, Kept] = {}

    def first(self, count: int) -> Kept:
        """The same for the first so many of these folders alone."""
        return self._first.setdefault(count, Kept())

    def text(self, key: tuple[str, ...], text: str, read: Callable[[], T]) -> T:
        """What is read of the text that stands under a name; read again when the text is another one."""
        known = self._texts.get(key)
        if known is None or known[0] != text:
            self._texts[key] = text, read()
        found: T = self._texts[key][1]
        return found

    def begin(self, world: tuple[object, ...]) -> None:
        """All declarations of this run. Under other ones nothing made before is taken again."""
        if world != self._world:
            self._world = world
            self._made.clear()
            self._held.clear()

    def make(
        self,
        names: Names,
        key: tuple[str, ...],
        of: tuple[object, ...],
        make: Callable[[], T | None],
    ) -> T | None:
        """What `make` gives, or gave of the same things. None is what has a fault, and is not kept."""
        known = self._made.get(key)
        if known is None or known.of != of:
            with names.recording() as uses:
                value = make()
            if value is None:
                return None
            known = self._made[key] = _Made(of, value, uses)
        else:
            names.uses.add(known.uses)
        found: T = known.value
        return found

    def press(self, draft: Bundle) -> Bundle:
        """The bundle as it is read from its bytes: part by part, each pressed once."""
        before, self._pressed = self._pressed, {}
        read, self._read = self._read, {}
        document: dict[str, Any] = {"format": FORMAT}
        loaded: dict[str, Any] = {"format": FORMAT}
        for name, field in Bundle.model_fields.items():
            value = getattr(draft, name)
            if name == "format" or value == field.default:
                continue
            if isinstance(value, dict):
                pairs = {key: self._part(part, before, read) for key, part in sorted(value.items())}
                document[name] = {key: pressed.document for key, pressed in pairs.items()}
                loaded[name] = {key: pressed.part for key, pressed in pairs.items()}
            else:
                parts = [self._part(part, before, read) for part in value]
                document[name] = [pressed.document for pressed in parts]
                loaded[name] = [pressed.part for pressed in parts]
        bundle = Bundle(**loaded)
        # Every part was read from canonical JSON, and packing makes no whole float.
        bundle._raw = spelled(pack(document, Bundle))
        return bundle

    def failing(self, bundle: Bundle) -> list[tuple[int, str]]:
        """What `failures` finds; an example that held, and rests on the very same parts, holds again."""
        ground = Ground(bundle)
        rests = [ground.of(example) for example in bundle.examples]
        now: dict[int, tuple[Example, list[Part]]] = {}
        due: list[int] = []
        for index, example in enumerate(bundle.examples):
            known = self._held.get(id(example))
            if known and known[0] is example and _same(known[1], rests[index]):
                now[id(example)] = known
            else:
                due.append(index)
        found = list(failures(bundle, due))
        wrong = {index for index, _ in found}
        for index in due:
            if index not in wrong:
                now[id(bundle.examples[index])] = bundle.examples[index], rests[index]
        self._held = now
        return found

    def _part(self, part: Part, before: dict[int, _Pressed], read: _Read) -> _Pressed:
        """A part as it is read from its bytes: the very same as before for the same ones."""
        known = before.get(id(part))
        if known is None or known.draft is not part:
            text = canonical_json(
                part.model_dump(mode="json", exclude_defaults=True, warnings=False)
            )
            there = read.get((type(part), text))
            document = there.document if there else json.loads(text)
            known = _Pressed(
                part, text, document, there.part if there else type(part).model_validate(document)
            )
        self._pressed[id(part)] = known
        self._read[type(part), known.text] = known
        return known


def _same(before: list[Part], now: list[Part]) -> bool:
    return len(before) == len(now) and all(map(is_, before, now))
