"""The page as PDF: the same markup set on paper, its fonts embedded, its text selectable.

WeasyPrint sets it, an extra, for it needs Pango of the system; fonts are those of the system, by
fontconfig: DejaVu Sans where it is there (its licence allows embedding).
"""

from __future__ import annotations

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
    made: bytes = HTML(string=page, url_fetcher=within).write_pdf(pdf_tags=True)
    return made
