"""Rules and numbers of the aligner, found by reading its modules, and how to put something else in their place."""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
import sys
from collections import defaultdict
from dataclasses import dataclass
from functools import wraps
from typing import TYPE_CHECKING

import assembler.aligner

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping
    from types import ModuleType

_ANSWERS: dict[str, tuple[object, ...]] = {"bool": (False, True), "list": ([],)}
"""By what a function returns: what may be put in place of its answer."""


@dataclass(frozen=True)
class Rule:
    """A function that decides something.

    Args:
        name: room, module and function.
        function: as it is.
        owner: the class that it is a method of.
        answers: what may stand in place of its answer.
    """

    name: str
    function: Callable[..., object]
    owner: type | None
    answers: tuple[object, ...]


@dataclass(frozen=True)
class Change:
    """One thing made otherwise: an attribute of modules or of a class, by name, and what stands there instead."""

    name: str
    attribute: str
    old: object
    new: object
    owner: type | None = None

    def make(self) -> None:
        """Make the change in this process, wherever the old thing is known by its name."""
        if self.owner is not None:
            setattr(self.owner, self.attribute, self.new)
            return
        for module in list(sys.modules.values()):
            if module.__name__.startswith("assembler.") and getattr(module, self.attribute, None) is self.old:
                setattr(module, self.attribute, self.new)


def rules_of(rooms: Iterable[str]) -> list[Rule]:
    """Return every function of some rooms that answers yes or no, or that finds something."""
    prefix = assembler.aligner.__name__ + "."
    found = [one.name for one in pkgutil.walk_packages(assembler.aligner.__path__, prefix)]
    modules = [importlib.import_module(name) for name in found if name.split(".")[2] in rooms]
    return [rule for module in modules for rule in _rules_in(module)]


def _rules_in(module: ModuleType) -> Iterator[Rule]:
    for node in ast.parse(inspect.getsource(module)).body:
        if isinstance(node, ast.FunctionDef):
            yield from _rule(module, node, None)
        if isinstance(node, ast.ClassDef):
            for inner in node.body:
                if isinstance(inner, ast.FunctionDef) and not inner.decorator_list:
                    yield from _rule(module, inner, getattr(module, node.name))


def _rule(module: ModuleType, node: ast.FunctionDef, owner: type | None) -> Iterator[Rule]:
    answers = _ANSWERS.get(ast.unparse(node.returns).split("[")[0] if node.returns else "")
    if answers and not node.name.startswith("__"):
        inside = f"{owner.__name__}." if owner else ""
        name = f"{module.__name__.removeprefix('assembler.aligner.')}.{inside}{node.name}"
        yield Rule(name, getattr(owner or module, node.name), owner, answers)


def answers_given(rules: Iterable[Rule], work: Callable[[], object]) -> dict[str, set[bool]]:
    """Return which answers each rule gives during some work: whether yes, or something. Spoils this process."""
    answers: dict[str, set[bool]] = defaultdict(set)

    def spied(rule: Rule) -> Callable[..., object]:
        @wraps(rule.function)
        def spy(*args: object, **named: object) -> object:
            given = rule.function(*args, **named)
            answers[rule.name].add(bool(given))
            return given

        return spy

    for rule in rules:
        Change(rule.name, rule.function.__name__, rule.function, spied(rule), rule.owner).make()
    work()
    return dict(answers)


def changes_of_rules(rules: Iterable[Rule], answers: Mapping[str, set[bool]]) -> Iterator[Change | str]:
    """Return each rule taken out, or a line on one that decided nothing."""
    for rule in rules:
        given = answers.get(rule.name, set())
        if not given:
            yield f"{rule.name:58} nothing calls it"
            continue
        for new in rule.answers:
            if given == {bool(new)}:
                yield f"{rule.name:58} answers always {'yes' if new else 'no, or nothing'}"
                continue
            said = {False: "no", True: "yes"}[new] if isinstance(new, bool) else "nothing"
            yield Change(
                f"{rule.name} {said}", rule.function.__name__, rule.function, _always(new), rule.owner
            )


def changes_of_numbers(rooms: Iterable[str]) -> Iterator[Change]:
    """Return each number of the rooms' limits halved and doubled."""
    for room in rooms:
        limits = importlib.import_module(f"assembler.aligner.{room}.limits")
        for node in ast.walk(ast.parse(inspect.getsource(limits))):
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
                old = getattr(limits, node.id, None)
                if isinstance(old, (int, float)) and old:
                    for new in (type(old)(old * 0.5), type(old)(old * 2)):
                        yield Change(f"{room}.{node.id} = {new:g}", node.id, old, new)


def _always(answer: object) -> Callable[..., object]:
    return lambda *_args, **_named: list(answer) if isinstance(answer, list) else answer
