"""`handsfree licences`: what the tool is made of, for people, or as a bill of materials."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from typing import Annotated, Any

import typer

from handsfree.cli.options import Json
from handsfree.cli.output import console, print_json
from handsfree.cli.supply import Supplied, supplied


def register(app: typer.Typer) -> None:
    """Add this command."""
    app.command(epilog="Example: handsfree licences --sbom > handsfree.cdx.json")(licences)


def licences(
    as_json: Json = False,
    sbom: Annotated[
        bool, typer.Option("--sbom", help="A software bill of materials, CycloneDX 1.6 in JSON.")
    ] = False,
) -> None:
    """List the libraries, weights and voices that the tool is made of, with their licences."""
    things = supplied()
    if sbom:
        sys.stdout.write(json.dumps(bill_of_materials(things), indent=1) + "\n")
        return
    if as_json:
        for thing in things:
            print_json(asdict(thing))
        return
    for thing in things:
        name = f"{thing.name} {thing.version}".rstrip()
        console.print(f"{thing.kind:8} {thing.licence:24} {name}   {thing.source}", markup=False)
        if thing.remark:
            console.print(f"         {thing.remark}", markup=False)


def bill_of_materials(things: list[Supplied]) -> dict[str, Any]:
    """A CycloneDX document (ECMA-424, version 1.6 of the format).

    It holds neither a time nor a serial number, so that what is the same reads the same.

    Args:
        things: with handsfree itself among them.
    """
    whole = next(thing for thing in things if thing.name == "handsfree")
    parts = [thing for thing in things if thing is not whole]
    listed = {thing.name for thing in things}
    return {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {"component": _component(whole) | {"type": "application"}},
        "components": [_component(part) for part in parts],
        "dependencies": [
            {
                "ref": _reference(thing),
                "dependsOn": [
                    _reference(other)
                    for other in things
                    if other.name in listed.intersection(thing.needs)
                    or (thing is whole and other.kind != "library")
                ],
            }
            for thing in things
        ],
    }


def _reference(thing: Supplied) -> str:
    if thing.kind == "library":
        return f"pkg:pypi/{thing.name}@{thing.version}"
    return f"{thing.kind}: {thing.name}"


def _component(thing: Supplied) -> dict[str, Any]:
    library = thing.kind == "library"
    whole: dict[str, Any] = {
        "type": "library" if library else "machine-learning-model",
        "bom-ref": _reference(thing),
        "name": thing.name,
        "licenses": [{"expression": thing.licence}],
    }
    if thing.version:
        whole["version"] = thing.version
    if thing.remark:
        whole["description"] = thing.remark
    if library:
        whole["purl"] = _reference(thing)
    if thing.source.startswith("https:"):
        whole["externalReferences"] = [{"type": "distribution", "url": thing.source}]
    if thing.sha256:
        whole["components"] = [
            {"type": "file", "name": name, "hashes": [{"alg": "SHA-256", "content": digest}]}
            for name, digest in thing.sha256.items()
        ]
    return whole
