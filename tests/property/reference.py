"""The rule language over again, slow and plain, from rules/LANGUAGE.md: what the engines are compared with.

It walks the source formulas. A number carries how far two honest engines may be apart: every step adds 1e-12 of its
largest operand and passes on what its operands bring. Where such a difference could decide something (a comparison, a
row, a floor), the result and all that rests on it is `soft` and not compared.
"""

import ast
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any

from tests.property.lookup import EPOCH, Env, Lookup, day
from tests.property.reckoning import Choice, N, U, whole
from tests.property.units import UNITS, twelve


class Reference(Lookup):
    """One evaluation of a pack, given as the sections of a rule file; every result is worked out when asked for."""

    def __init__(
        self,
        pack: Mapping[str, Any],
        values: Mapping[str, Any],
        members: Mapping[str, Sequence[str]],
        calendar: tuple[str, str] = ("", ""),
    ) -> None:
        super().__init__(pack, calendar)
        self.values = values
        self.members = members
        self.done: dict[tuple[str, int], tuple[Any, bool, bool]] = {}

    def result(self, name: str, at: int = -1) -> tuple[Any, bool, bool]:
        """(value, whether it is soft, whether a comparison lay on an edge) of a quantity."""
        if (name, at) not in self.done:
            kept, self.soft, self.edge = (self.soft, self.edge), False, False
            value = self.quantity(name, at)
            self.done[name, at] = value, self.soft, self.edge
            self.soft, self.edge = kept
        return self.done[name, at]

    def seen(self, name: str, at: int) -> Any:
        value, soft, edge = self.result(name, at)
        self.soft |= soft
        self.edge |= edge
        return value

    def env(self, scope: str, at: int) -> Env:
        return Env(scope, {scope: at} if scope in self.members else {})

    def applies(self, form: Mapping[str, Any], env: Env) -> Any:
        parts = [self.holds(form["holds"])] if "holds" in form else []
        if "when" in form:
            parts.append(self.formula(form["when"], env))
        return self.every(parts, decides=False)

    def holds(self, form: Mapping[str, Any]) -> Any:
        parts = []
        for key, sign in (("from", ">="), ("to", "<=")):
            if key in form:
                parts.append(self.compare(sign, self.seen(self.calendar[0], -1), day(form[key])))
        if "editions" in form:
            edition = self.seen(self.calendar[1], -1)
            equal = [self.compare("==", edition, text) for text in form["editions"]]
            parts.append(self.every(equal, decides=True))
        return self.every(parts, decides=False)

    def quantity(self, name: str, at: int) -> Any:
        form = self.pack["quantities"][name]
        env = self.env(form.get("scope", "visit"), at)
        applies = self.applies(form, env)
        if isinstance(applies, U):
            return applies
        if not applies:
            return U("not-applicable")
        if "cases" in form:
            value = self.cases(form["cases"], env)
        elif "formula" in form:
            value = self.formula(form["formula"], env)
        else:
            value = self.entered(name, form, at)
        found = self.within(form, whole(self.coerced(value, form.get("type", "number"))))
        if isinstance(found, U) and not {"cases", "formula"} & form.keys():
            return U(found.why, frozenset({(name, at)}))
        return found

    def cases(self, cases: Sequence[Mapping[str, Any]], env: Env) -> Any:
        for case in cases:
            held = self.holds(case["holds"]) if "holds" in case else True
            if held is not False:
                return held if isinstance(held, U) else self.formula(case["formula"], env)
        return U("not-applicable")

    def entered(self, name: str, form: Mapping[str, Any], at: int) -> Any:
        given = self.values.get(name)
        if at >= 0 and given is not None:
            given = given.get(self.members[form["scope"]][at])
        if given is None:
            if "default si" in form:
                return N(twelve(form["default si"]))
            return U("missing", frozenset({(name, at)}))
        return self.read(given, form.get("type", "number"))

    def read(self, given: Any, kind: str) -> Any:
        """A value of a record as formulas see it."""
        if isinstance(given, list):
            return [self.read(item, kind.removeprefix("list of ")) for item in given]
        if kind == "date":
            return day(given)
        if isinstance(given, float | int) and not isinstance(given, bool):
            return N(twelve(float(given)))
        return self.coerced(given, kind)

    def within(self, form: Mapping[str, Any], value: Any) -> Any:
        if "limits si" not in form or form.get("type") == "series":
            return value
        low, high = form["limits si"]
        for item in value if isinstance(value, list) else [value]:
            if isinstance(item, N) and (
                self.order(item, N(low)) < 0 or self.order(item, N(high)) > 0
            ):
                return U("outside")
        return value

    def verdict(self, name: str, at: int) -> tuple[str, U | None, bool, bool]:
        """(verdict, the unknown behind it, soft, on an edge) of a check."""
        form = self.pack["checks"][name]
        self.soft = self.edge = False
        env = self.env(form.get("scope", "visit"), at)
        found = self.applies(form, env)
        if found is False:
            return "not-applicable", None, self.soft, self.edge
        for verdict in ("fail", "caution"):
            if verdict in form and not isinstance(found, U):
                found = self.formula(form[verdict], env)
                if found is True:
                    return verdict, None, self.soft, self.edge
        if not isinstance(found, U):
            return "pass", None, self.soft, self.edge
        shown = found.why if found.why == "not-applicable" else "unknown"
        return shown, found, self.soft, self.edge

    def formula(self, text: str, env: Env) -> Any:
        return self.ev(ast.parse(str(text), mode="eval").body, env)

    def ev(self, node: ast.AST, env: Env) -> Any:
        match node:
            case ast.Constant(bool() | str() as value):
                return value
            case ast.Constant(int() | float() as value):
                return N(twelve(float(value)))
            case ast.Name(name):
                return env.columns[name] if name in env.columns else env.locals[name]
            case ast.Attribute(ast.Call() as call, column):
                return self.access(call, column, env)
            case ast.Attribute(ast.Name(topic), name):
                return self.named(f"{topic}.{name}", env)
            case ast.UnaryOp(ast.Not(), operand):
                value = self.ev(operand, env)
                return value if isinstance(value, U) else not value
            case ast.UnaryOp(ast.USub(), operand):
                return self.strictly(lambda a: N(-a.x, a.err), self.ev(operand, env))
            case ast.BinOp(left, op, right):
                sides = self.ev(left, env), self.ev(right, env)
                return self.strictly(lambda a, b: self.arithmetic(type(op).__name__, a, b), *sides)
            case ast.BoolOp(op, parts):
                return self.every((self.ev(part, env) for part in parts), isinstance(op, ast.Or))
            case ast.Compare():
                return self.every(self.pairs(node, env), decides=False)
            case ast.IfExp(test, body, orelse):
                held = self.ev(test, env)
                return held if isinstance(held, U) else self.ev(body if held else orelse, env)
            case ast.Call(ast.Name(name)):
                return self.call(name, node, env)
        raise AssertionError(ast.dump(node))

    def named(self, name: str, env: Env) -> Any:
        scope = self.pack["quantities"][name].get("scope", "visit")
        if scope not in self.members:
            return self.seen(name, -1)
        if scope == env.scope:
            return self.seen(name, env.at[scope])
        return [self.seen(name, at) for at in range(len(self.members[scope]))]

    def pairs(self, node: ast.Compare, env: Env) -> Iterable[Any]:
        signs = {"Eq": "==", "NotEq": "!=", "Lt": "<", "LtE": "<=", "Gt": ">", "GtE": ">="}
        left = node.left
        for op, right in zip(node.ops, node.comparators, strict=True):
            a = self.ev(left, env)
            if isinstance(right, ast.Tuple):
                equal = (self.compare("==", a, self.ev(item, env)) for item in right.elts)
                found = self.every(equal, decides=True)
                yield found if isinstance(op, ast.In) or isinstance(found, U) else not found
            else:
                yield self.compare(signs[type(op).__name__], a, self.ev(right, env))
            left = right

    def call(self, name: str, node: ast.Call, env: Env) -> Any:
        special = getattr(self, f"call_{name}", None)
        if special is not None:
            return special(node.args, env)
        values = [self.ev(arg, env) for arg in node.args]
        if name in ("abs", "sqrt", "exp", "ln", "log10"):
            return self.strictly(lambda a: self.single(name, a), *values)
        if name in ("round", "floor", "ceil"):
            values = values if len(values) == 2 else [*values, N(1)]
            return self.strictly(lambda a, b: self.step(name, a, b), *values)
        if name in ("min", "max"):
            items = values[0] if len(values) == 1 else values
            return self.over(items, lambda known: self.extreme(name, known))
        if name == "sum":
            return self.over(values[0], self.total)
        if name in ("any", "all"):
            if isinstance(values[0], U):
                return values[0]
            return self.every(values[0], decides=name == "any")
        if name in self.pack["functions"]:
            form = self.pack["functions"][name]
            kinds = form["parameters"].items()
            bound = {p: self.coerced(v, kind) for (p, kind), v in zip(kinds, values, strict=True)}
            value = self.formula(form["formula"], Env("", {}, bound))
            return self.coerced(value, form.get("unit", ""))
        # absolute(t), point, share say what something is; absolute(p, air) and gauge reckon
        if len(values) == 1:
            return values[0]
        op = "Sub" if name == "gauge" else "Add"
        return self.strictly(lambda a, b: self.arithmetic(op, a, b), *values)

    def extreme(self, name: str, items: list[Any]) -> Any:
        if not items:
            return U("domain")
        lists = [item.list for item in items if isinstance(item, Choice)]
        if lists:
            places = [self.coerced(item, lists[0]).place for item in items]
            return Choice(lists[0], (min if name == "min" else max)(places))
        value = (min if name == "min" else max)(item.x for item in items)
        return N(value, max(item.err for item in items))

    def call_quantity(self, args: list[ast.expr], env: Env) -> Any:
        unit = UNITS[ast.literal_eval(args[1])]
        try:
            return N(unit.to_si(float(ast.literal_eval(args[0]))))
        except ValueError:
            scale, offset = N(float(unit.scale)), N(float(unit.offset))
        scaled = self.strictly(lambda a: self.arithmetic("Mult", a, scale), self.ev(args[0], env))
        return self.strictly(lambda a: self.arithmetic("Add", a, offset), scaled)

    def call_number(self, args: list[ast.expr], env: Env) -> Any:
        unit = UNITS[ast.literal_eval(args[1])]
        scale, offset = N(float(unit.scale)), N(float(unit.offset))
        shifted = self.strictly(lambda a: self.arithmetic("Sub", a, offset), self.ev(args[0], env))
        return self.strictly(lambda a: self.arithmetic("Div", a, scale), shifted)

    def call_date(self, args: list[ast.expr], env: Env) -> Any:
        return day(ast.literal_eval(args[0]))

    def call_known(self, args: list[ast.expr], env: Env) -> Any:
        return not isinstance(whole(self.ev(args[0], env)), U)

    def call_not_applicable(self, args: list[ast.expr], env: Env) -> Any:
        return U("not-applicable")

    def call_count(self, args: list[ast.expr], env: Env) -> Any:
        if isinstance(args[0], ast.Name) and args[0].id in self.members:
            return N(float(len(self.members[args[0].id])))
        return self.strictly(lambda items: N(float(len(items))), self.ev(args[0], env))

    def call_at(self, args: list[ast.expr], env: Env) -> Any:
        def pick(items: list[Any], place: N) -> Any:
            lower = self.floor(place)
            if not self.same(lower, place) or not 1 <= lower.x <= len(items):
                return U("domain")
            return items[int(lower.x) - 1]

        return self.strictly(pick, self.ev(args[0], env), self.ev(args[1], env))

    def call_each(self, args: list[ast.expr], env: Env) -> Any:
        if isinstance(args[0], ast.Name) and args[0].id in self.members:
            name, found = args[0].id, []
            for at in range(len(self.members[name])):
                bound = {**env.locals, "position": N(at + 1.0)}
                inside = replace(env, scope=name, at={**env.at, name: at}, locals=bound)
                found.append(self.ev(args[1], inside))
            return found
        items = self.ev(args[0], env)
        if isinstance(items, U):
            return items
        return [
            self.ev(
                args[1], replace(env, locals={**env.locals, "item": item, "position": N(place)})
            )
            for place, item in enumerate(items, 1)
        ]

    def call_root(self, args: list[ast.expr], env: Env) -> Any:
        name = args[0].id  # type: ignore[attr-defined]

        def f(x: float) -> Any:
            return self.ev(args[3], replace(env, locals={**env.locals, name: N(x)}))

        return self.strictly(
            lambda low, high: self.bisect(f, low, high),
            self.ev(args[1], env),
            self.ev(args[2], env),
        )


def outer(reference: Reference, value: Any, kind: str) -> Any:
    """A value as records hold it, still with the error of its numbers."""
    if isinstance(value, list):
        return [outer(reference, item, kind) for item in value]
    if isinstance(value, Choice):
        return list(reference.pack["choices"][value.list]["values"])[value.place]
    if isinstance(value, N) and kind == "date":
        return (EPOCH + timedelta(seconds=value.x)).isoformat()
    return value
