"""One name means one thing in the whole house: none is defined at the top of two modules."""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import handsfree

#: What every module of commands has: `handsfree.cli.commands` calls it.
SHARED = {"register"}


def defined(module: ast.Module) -> Iterator[str]:
    """Classes, functions and values at the top of a module."""
    for node in module.body:
        match node:
            case ast.ClassDef(name=name) | ast.FunctionDef(name=name):
                yield name
            case ast.AnnAssign(target=ast.Name(id=name)):
                yield name
            case ast.Assign(targets=targets):
                for target in targets:
                    parts = target.elts if isinstance(target, ast.Tuple) else [target]
                    yield from (part.id for part in parts if isinstance(part, ast.Name))


def test_no_public_name_is_defined_twice() -> None:
    places: dict[str, list[str]] = defaultdict(list)
    package = Path(handsfree.__file__).parent
    for path in sorted(package.rglob("*.py")):
        module = ast.parse(path.read_text(encoding="utf-8"))
        for name in defined(module):
            if not name.startswith("_"):
                places[name].append(str(path.relative_to(package)))
    twice = {name: where for name, where in places.items() if len(where) > 1}
    assert not {name: where for name, where in twice.items() if name not in SHARED}
    assert set(twice) >= SHARED, "a name that stands once needs no exception"
