"""The page in a real browser: it draws under its own policy, and asks nobody.

Slow, and only where a Chromium is installed.
"""

import re
import shutil
import subprocess

import pytest

from tensionlog.report.job import job_page

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(BROWSER is None, reason="no Chromium is installed"),
]


@pytest.fixture(scope="module")
def browse(tmp_path_factory, badminton):
    """Run Chromium on the page; every host name leads nowhere."""
    folder = tmp_path_factory.mktemp("browser")
    (folder / "job.html").write_text(job_page(badminton), encoding="utf-8")

    def run(*switches):
        command = [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run"]
        command += ["--disable-background-networking", "--host-resolver-rules=MAP * ~NOTFOUND"]
        command += [f"--user-data-dir={folder / 'profile'}", "--enable-logging=stderr"]
        command += ["--window-size=1280,12000", "--virtual-time-budget=8000", *switches]
        command.append((folder / "job.html").as_uri())
        return subprocess.run(command, capture_output=True, text=True, timeout=55, check=True)

    return run


def test_every_figure_is_drawn_under_the_pages_own_policy(browse, badminton):
    ran = browse("--dump-dom")
    drawn = re.findall(r'class="plot js-plotly-plot"', ran.stdout)
    assert len(drawn) == len(badminton.pulls) + 2
    assert "Content Security Policy" not in ran.stderr
    assert "Uncaught" not in ran.stderr


def test_the_page_prints(browse, tmp_path):
    browse(f"--print-to-pdf={tmp_path / 'job.pdf'}")
    pdf = (tmp_path / "job.pdf").read_bytes()
    assert pdf.startswith(b"%PDF")
    assert 3 <= len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 9
