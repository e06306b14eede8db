"""The report as PDF: read by another library, and as text as a reader would select it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from handsfree.log import JobRecord, Verification
from handsfree.report import render
from handsfree.report.pdf import to_pdf

pikepdf = pytest.importorskip("pikepdf")
pytest.importorskip(
    "weasyprint", reason="the extra pdf is not installed", exc_type=(ImportError, OSError)
)

GOLDEN = Path(__file__).parent / "data" / "golden"
#: In points, 1/72 inch (ISO 32000-1, 8.3.2.3): 210 mm × 297 mm, and 8.5 × 11 inches.
SIZES = {"a4": (595.3, 841.9), "letter": (612.0, 792.0)}


@pytest.fixture(scope="module", params=SIZES)
def pdf(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    record = JobRecord.read(GOLDEN / "low-beam")
    check = Verification("finished", 3, "0123", (), ())
    page = render(record, check, lambda _: None, paper=request.param, printed=True)
    path = tmp_path_factory.mktemp("pdf") / f"{request.param}.pdf"
    path.write_bytes(to_pdf(page))
    return path


def fonts(resources: object) -> Iterator[object]:
    for font in dict(resources.get("/Font", {})).values():  # type: ignore[attr-defined]
        yield from font.get("/DescendantFonts", [font])


def test_it_is_a_pdf_of_that_paper_with_fonts_title_and_language(pdf: Path) -> None:
    width, height = SIZES[pdf.stem]
    with pikepdf.open(pdf) as file:
        assert file.check_pdf_syntax() == []
        assert str(file.docinfo["/Title"]) == "Headlamp levelling drive, five wires"
        assert str(file.Root.Lang) == "en"
        assert file.Root.MarkInfo.Marked, "tagged, so that it can be read aloud (ISO 14289-1)"
        assert "/JavaScript" not in file.Root.get("/Names", {})
        used = 0
        for page in file.pages:
            sides = sorted(float(side) for side in page.mediabox[2:])
            assert sides == pytest.approx(sorted((width, height)), abs=0.5)
            for font in fonts(page.Resources):
                used += 1
                descriptor = font.FontDescriptor  # type: ignore[attr-defined]
                assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(descriptor.keys())
        assert used
        first = pikepdf.parse_content_stream(file.pages[0])
        assert any(str(operator) in ("Tj", "TJ") for _, operator in first), "text, not a picture"


def test_its_text_can_be_selected(pdf: Path) -> None:
    program = shutil.which("pdftotext")
    if program is None:
        pytest.skip("poppler-utils is not installed")
    import subprocess

    text = subprocess.run([program, "-layout", pdf, "-"], capture_output=True, check=True).stdout
    told = text.decode()
    for words in ("levelling drive", "Verified after the repair.", "over limit", "22 Ω to 38 Ω"):
        assert words in told


def test_paper_is_spared_what_only_unfolds_on_a_screen() -> None:
    record = JobRecord.read(GOLDEN / "low-beam")
    check = Verification("finished", 3, "0123", (), ())
    screen = render(record, check, lambda _: b"sound")
    paper = render(record, check, lambda _: b"sound", printed=True)
    assert "<details>" in screen
    assert "<details>" not in paper
    assert "13 lines more" in paper
    assert "<audio" in screen
    assert "<audio" not in paper
    readings = len(record.readings.history)
    assert paper.count('<td class="value">') >= readings, "every reading is printed"
