"""A YAML document as plain data, with the line of every field.

Read is the YAML that people write by hand: the core schema of YAML 1.2, in which
`yes`, `no`, `on` and `off` are words.  Anchors, aliases and tags are refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import yaml

from handsfree.fields import FieldPath

_READERS: dict[str, tuple[str, str, Callable[[str], Any]]] = {
    "null": (r"null|Null|NULL|~|", "~nN\0", lambda _: None),
    "bool": (r"true|True|TRUE|false|False|FALSE", "tTfF", lambda word: word.lower() == "true"),
    "int": (r"[-+]?[0-9]{1,15}", "-+0123456789", int),
    "float": (
        r"[-+]?(\.[0-9]+|[0-9]+\.[0-9]*)([eE][-+]?[0-9]{1,3})?|[-+]?[0-9]+[eE][-+]?[0-9]{1,3}",
        "-+.0123456789",
        float,
    ),
}
_TAG = "tag:yaml.org,2002:"


#: Names and values of a document, at most.
MOST_PARTS = 30_000


class _Loader(yaml.SafeLoader):
    """YAML's parser with the scalars of the 1.2 core schema, and without aliases."""

    yaml_implicit_resolvers: dict[str, Any] = {}  # noqa: RUF012 - the parent's own way
    parts = 0

    def compose_node(self, parent: yaml.Node | None, index: int) -> yaml.Node | None:
        self.parts += 1
        if self.parts > MOST_PARTS:
            mark = self.peek_event().start_mark  # type: ignore[no-untyped-call]
            raise yaml.MarkedYAMLError(
                problem=f"more than {MOST_PARTS} names and values; a plan has a tenth of that",
                problem_mark=mark,
            )
        if self.check_event(yaml.AliasEvent):
            mark = self.peek_event().start_mark  # type: ignore[no-untyped-call]
            raise yaml.MarkedYAMLError(
                problem="an alias (*name) is not read here; write the part out", problem_mark=mark
            )
        return super().compose_node(parent, index)


for _name, (_pattern, _first, _) in _READERS.items():
    _firsts = [c if c != "\0" else "" for c in _first]
    _Loader.add_implicit_resolver(_TAG + _name, re.compile(rf"(?:{_pattern})\Z"), _firsts)


class _Dumper(yaml.SafeDumper):
    """Writes what `_Loader` reads: text that it takes for a number is quoted."""

    yaml_implicit_resolvers: dict[str, Any] = {}  # noqa: RUF012 - the parent's own way


for _name, (_pattern, _first, _) in _READERS.items():
    _firsts = [c if c != "\0" else "" for c in _first]
    _Dumper.add_implicit_resolver(_TAG + _name, re.compile(rf"(?:{_pattern})\Z"), _firsts)


def write_document(data: Any, *, inline: bool = True) -> str:
    """Plain data as YAML, in its own order; `read_document` reads the same data from it.

    Args:
        data: dicts, lists, text, numbers, True, False, None.
        inline: write what holds no further parts in one line.
    """
    text: str = yaml.dump(
        data, Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=110,
        default_flow_style=None if inline else False,
    )  # fmt: skip
    return text


@dataclass(frozen=True, slots=True)
class Mistake:
    """Something wrong in a document.

    Attributes:
        line: where, from 1.
        path: way to the field; empty for the document as a whole.
        message: what is wrong.
    """

    line: int
    path: FieldPath
    message: str


@dataclass(frozen=True, slots=True)
class Document:
    """A document as read.

    Attributes:
        data: dicts, lists, text, numbers, True, False, None; None if there is nothing.
        lines: line (from 1) of each field, by its path.
        faults: what could not be read; `data` holds the rest.
    """

    data: Any
    lines: dict[FieldPath, int] = field(default_factory=dict)
    faults: tuple[Mistake, ...] = ()

    def line(self, path: FieldPath) -> int:
        """The line of `path`, or of the nearest part around it."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 1)

    def existing(self, path: FieldPath) -> FieldPath:
        """`path` without the parts that the document does not have."""
        known: FieldPath = ()
        for part in path:
            if (*known, part) in self.lines:
                known = (*known, part)
        return known


def read_document(text: str) -> Document:
    """Read YAML; what is wrong is in `faults` of the result."""
    try:
        root = yaml.compose(text, Loader=_Loader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        message = f"this is not YAML: {error.problem or error.context}"
        return Document(None, faults=(Mistake(mark.line + 1 if mark else 1, (), message),))
    except yaml.reader.ReaderError as error:
        line = text.count("\n", 0, int(error.position)) + 1
        message = f"the character U+{ord(str(text[error.position])):04X} cannot stand in a plan"
        return Document(None, faults=(Mistake(line, (), message),))
    except RecursionError:
        return Document(None, faults=(Mistake(1, (), "nested too deeply"),))
    if root is None:
        return Document(None)
    lines: dict[FieldPath, int] = {}
    faults: list[Mistake] = []
    data = _data(root, (), lines, faults)
    return Document(data, lines, tuple(faults))


def _data(
    node: yaml.Node, path: FieldPath, lines: dict[FieldPath, int], faults: list[Mistake]
) -> Any:
    line = node.start_mark.line + 1
    lines.setdefault(path, line)
    match node:
        case yaml.MappingNode() if node.tag == _TAG + "map":
            found: dict[str, Any] = {}
            for key, value in node.value:
                key_line = key.start_mark.line + 1
                if not isinstance(key, yaml.ScalarNode):
                    faults.append(Mistake(key_line, path, "the name of a field must be a word"))
                    continue
                here = (*path, key.value)
                if key.value in found:
                    first = lines[here]
                    faults.append(Mistake(key_line, here, f"given twice, first in line {first}"))
                    continue
                lines[here] = key_line
                found[key.value] = _data(value, here, lines, faults)
            return found
        case yaml.SequenceNode() if node.tag == _TAG + "seq":
            return [_data(v, (*path, i), lines, faults) for i, v in enumerate(node.value)]
        case yaml.ScalarNode() if node.tag.startswith(_TAG):
            kind = node.tag.removeprefix(_TAG)
            if kind == "str":
                return node.value
            if kind in _READERS and re.fullmatch(_READERS[kind][0], node.value):
                return _READERS[kind][2](node.value)
    faults.append(Mistake(line, path, f"the tag {node.tag!r} is not read here; leave it out"))
    return None
