"""The page as PDF: the same markup set on paper, its fonts embedded, its text selectable.

WeasyPrint sets it, an extra, for it needs Pango of the system; fonts are those of the system, by
fontconfig: DejaVu Sans where it is there (its licence allows embedding).
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager

from handsfree.errors import Missing


def to_pdf(page: str) -> bytes:
    """A page of `render` as PDF.

    Raises:
        Missing: WeasyPrint, or Pango, is not installed.
    """
    try:
        from weasyprint import HTML
        from weasyprint.urls import URLFetcher
    except (ImportError, OSError) as error:
        raise Missing(
            "a PDF needs WeasyPrint and Pango, which are not here",
            remedy="pip install 'handsfree[pdf]', and on Debian: apt install libpango-1.0-0 "
            "libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core. Or print the HTML from a "
            "browser.",
        ) from error
    within = URLFetcher(allowed_protocols=("data",))  # nothing is fetched from anywhere
    with _uncollected():
        made: bytes = HTML(string=page, url_fetcher=within).write_pdf(pdf_tags=True)
    return made


@contextmanager
def _uncollected() -> Iterator[None]:
    """Without the search for cycles, which takes a third of the time and finds nothing to free.

    All boxes of a page are kept until the last is drawn.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
