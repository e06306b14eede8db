"""A job as one self-contained HTML page, with the sound behind every reading.

The page needs no network and no script, and its policy allows none; clips, photos and drawings are
in it.  Whatever was spoken or typed is escaped: by Jinja, and by ElementTree in the drawings.
"""

from __future__ import annotations

import base64
from datetime import tzinfo
from hashlib import sha256
from typing import Literal

from jinja2 import Environment, PackageLoader
from markupsafe import Markup

from handsfree import __version__
from handsfree.log import JobRecord, Verification
from handsfree.plan import COMMON_PRACTICE, FreePlan
from handsfree.report.circuit import circuit
from handsfree.report.compared import compared
from handsfree.report.connector import connector
from handsfree.report.first import first_page
from handsfree.report.photos import photos
from handsfree.report.plots import plots
from handsfree.report.readings import sources, tables
from handsfree.report.reasoning import reasoning
from handsfree.report.sounds import Files, PageSounds
from handsfree.report.times import Clock
from handsfree.report.transcript import notes, transcript
from handsfree.report.watched import watched
from handsfree.seal import LIMITS
from handsfree.showable import showable

#: Sizes of paper (ISO 216; ANSI/ASME Y14.1).
Paper = Literal["a4", "letter"]

#: Damages that are listed at the head of the page; the others are counted.
MOST_PROBLEMS = 20


def render(
    record: JobRecord,
    check: Verification,
    files: Files,
    *,
    zone: tzinfo | None = None,
    seal: str | None = None,
    paper: Paper = "a4",
    printed: bool = False,
) -> str:
    """The page.

    Args:
        record: the job.
        check: from `verify`; its state and fingerprint are printed.
        files: gives the sounds and photos of the job.
        zone: in which times are told; None for that of this machine.
        seal: the state of its seal in a sentence; None if it has none.
        paper: on which it is printed.
        printed: whether it is made for paper alone, without what unfolds on a screen only.
    """
    clock, sounds = Clock(zone), PageSounds(files)
    environment = Environment(
        loader=PackageLoader("handsfree.report"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_shown,
    )
    source = environment.loader.get_source(environment, "report.css")[0]  # type: ignore[union-attr]
    style = source.replace("PAPER", "A4" if paper == "a4" else "Letter")
    return environment.get_template("report.html.j2").render(
        plan=record.plan,
        style=Markup(style),
        style_hash=base64.b64encode(sha256(style.encode()).digest()).decode("ascii"),
        began=clock.day(record.began),
        first=first_page(record, clock, seal),
        tables=tables(record, clock, sounds),
        sources=sources(record),
        compared=compared(record, clock),
        connector=connector(record),
        circuit=circuit(record),
        plots=plots(record),
        watched=watched(record),
        reasoning=reasoning(record),
        photos=photos(record, clock, files),
        notes=notes(record, clock, sounds),
        transcript=transcript(record, clock, sounds),
        recovered=record.recovered,
        check=check,
        most=MOST_PROBLEMS,
        silent=sounds.silent,
        limits=LIMITS if seal else "",
        printed=printed,
        nothing_expected=isinstance(record.plan, FreePlan),
        common=COMMON_PRACTICE,
        version=__version__,
    )


def _shown(value: object) -> object:
    """What a text may show: nothing that turns the direction of the page, nor controls."""
    return showable(value) if type(value) is str else value
