"""Which files the viewer page asks for: the film, and the small one first where it exists."""

from __future__ import annotations

from pathlib import Path

from annotate.page.viewer import write_viewer_page
from tests.annotate.page.casefolder import usual, write_case


def test_a_small_film_is_offered_before_the_film(tmp_path: Path) -> None:
    """Two sources in that order, the first with its codecs, so that a browser can pass it over."""
    folder = tmp_path
    write_case(folder, usual())
    (folder / "teaching-cut-small.mp4").write_bytes(b"small")
    page = write_viewer_page(folder, folder).read_text("utf-8")
    small = page.index('<source src="teaching-cut-small.mp4" type=\'video/mp4; codecs="av01')
    assert small < page.index('<source src="teaching-cut.mp4" type="video/mp4">')


def test_without_a_small_film_the_page_names_the_film_alone(tmp_path: Path) -> None:
    """No source element, the film as the video's own address."""
    folder = tmp_path
    write_case(folder, usual())
    page = write_viewer_page(folder, folder).read_text("utf-8")
    assert "<source" not in page
    assert 'src="teaching-cut.mp4"' in page
