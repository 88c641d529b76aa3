"""A browser opens the page and reads its notes; it prints it on A4.

Chromium, headless. Where there is none these tests are skipped; in CI they must run.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from livecont.cli import run
from tests.score.page import notes_on, pitches_on

pytest.importorskip("verovio")

NAMES = ("chromium", "chromium-browser", "google-chrome")
CHROMIUM = next((found for name in NAMES if (found := shutil.which(name))), None)
MISSING = "no chromium here: apt-get install --no-install-recommends chromium"
PATIENCE_S = 60


def browse(page: Path, folder: Path, *options: str) -> str:
    """Let the browser open a page; return what it writes."""
    if CHROMIUM is None:
        if os.environ.get("CI") == "true":
            pytest.fail(MISSING)
        pytest.skip(MISSING)
    # a profile of its own; as root, as in a container, it runs only without its sandbox
    command = [
        CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
        f"--user-data-dir={folder / 'profile'}", "--no-first-run", *options, page.as_uri(),
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, check=True, timeout=PATIENCE_S)
    return done.stdout.decode("utf-8", "replace")


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page of a piece of the demonstration, as played, carried on."""
    folder = tmp_path_factory.mktemp("page")
    take, html = folder / "gigue.mid", folder / "gigue.html"
    assert run(["demo", "rising-gigue", "--write", str(take)]) == 0
    options = ["--key", "D major", "--no-reduction", "--html", str(html)]
    assert run(["sheet", str(take), *options]) == 0
    return html


def test_the_browser_reads_every_note(page: Path, tmp_path: Path) -> None:
    dom = browse(page, tmp_path, "--dump-dom")
    assert pitches_on(dom) == pitches_on(page.read_text("utf-8"))
    # two links of twelve eighths less one, with eight notes below them, and four new ones (counted
    # by hand in the demonstration's piece)
    drawn = notes_on(dom)
    assert len(drawn) == 6 * (11 + 8)
    assert sum("color" in note for note in drawn) == 4 * (11 + 8)
    assert len(re.findall(r'class="link (?:new|given)"', dom)) == 6


def test_it_prints_on_a4(page: Path, tmp_path: Path) -> None:
    pdf = tmp_path / "page.pdf"
    browse(page, tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={pdf}")
    data = pdf.read_bytes()
    assert data.startswith(b"%PDF")
    assert len(re.findall(rb"/Type\s*/Page\b", data)) == 1
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", data)
    assert [(round(float(w)), round(float(h))) for w, h in boxes] == [(595, 842)]  # ISO 216, points


def test_the_picture_is_not_empty(page: Path, tmp_path: Path) -> None:
    """Written as a picture it has ink where systems are; a blank page packs to next to nothing."""
    blank, shot = tmp_path / "blank.html", tmp_path / "shot.png"
    blank.write_text("<!DOCTYPE html><title>blank</title>")
    size = "--window-size=1200,900"
    browse(page, tmp_path, size, f"--screenshot={shot}")
    inked = shot.stat().st_size
    browse(blank, tmp_path, size, f"--screenshot={shot}")
    assert inked > 5 * shot.stat().st_size
