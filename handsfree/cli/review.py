"""`handsfree review` and `publish`: all jobs of a shop on one page."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from handsfree.cli.output import console
from handsfree.errors import BadInput, Missing
from handsfree.review.places import REVIEW_PORT
from handsfree.showable import showable

if TYPE_CHECKING:
    from handsfree.review.index import JobIndex

IndexUrl = Annotated[
    str | None,
    typer.Option("--index", help="Of several workshops: postgresql://USER@HOST/DATABASE"),
]


def register(app: typer.Typer) -> None:
    """Add these commands."""
    app.command("review", epilog="Example: handsfree review jobs")(review_jobs)
    app.command(
        "publish", epilog="Example: handsfree publish jobs/* --index postgresql://shop@db/jobs"
    )(publish_jobs)


def review_jobs(
    jobs: Annotated[Path, typer.Argument(help="The folder that holds the job folders.")],
    index: IndexUrl = None,
    port: Annotated[
        int, typer.Option("--port", help="Port of the page.", min=0, max=65535)
    ] = REVIEW_PORT,
    share: Annotated[
        bool, typer.Option("--share", help="Open the page to the network, with a pairing code.")
    ] = False,
    https: Annotated[bool, typer.Option("--https", help="With a certificate made here.")] = False,
) -> None:
    """Show all jobs of a folder on a page: find, listen, correct, compare. Ends with Ctrl-C."""
    _needs_libraries()
    from handsfree.display.pairing import written_code
    from handsfree.review.jobs import Shop, local_index
    from handsfree.review.serving import ReviewSite

    if not jobs.is_dir():
        raise BadInput("there is no such folder", where=str(jobs))
    opened = _shared(index) if index else local_index(jobs)
    shop = Shop(jobs, opened, shared=index is not None)
    site = ReviewSite.prepare(shop, port, share=share, https=https)
    shop.look(lambda done, of: console.print(f"read {done} of {of} jobs"))
    console.print(site.invitation)
    if site.pairing:
        site.pairing.announce = lambda code: console.print(f"new code: {written_code(code)}")
    try:
        site.serve()
    except KeyboardInterrupt:
        pass
    finally:
        opened.close()


def publish_jobs(
    jobs: Annotated[list[Path], typer.Argument(help="Job folders.")],
    index: Annotated[str, typer.Option("--index", help="postgresql://USER@HOST/DATABASE")],
    workshop: Annotated[str, typer.Option("--workshop", help="Name of this workshop.")] = "",
) -> None:
    """Put jobs into the index of several workshops; a job that is there already is not doubled.

    What is published of a job is its log and its plan; its sound stays where it is.
    """
    _needs_libraries()
    from handsfree.review.jobs import publish

    opened = _shared(index)
    try:
        for job in jobs:
            new = publish(job, opened, showable(workshop.strip())[:80])
            console.print(f"{job}: {'published' if new else 'there already'}", markup=False)
    finally:
        opened.close()


def _shared(url: str) -> JobIndex:
    from handsfree.review.index import JobIndex
    from handsfree.review.tables import shared_engine

    return JobIndex(shared_engine(url))


def _needs_libraries() -> None:
    """Nothing, if the extra is installed.

    Raises:
        Missing: it is not.
    """
    lacking = [name for name in ("sqlalchemy", "starlette", "uvicorn") if find_spec(name) is None]
    if lacking:
        raise Missing(
            f"{' and '.join(lacking)} not installed", remedy="pip install 'handsfree[review]'"
        )
