"""A page on paper through a Chromium that is installed; where none is, there is no PDF."""

import shutil
import subprocess
import tempfile
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
WITHIN_S = 40.0


def browser() -> str | None:
    """The browser that can print, or None."""
    return next((found for name in NAMES if (found := shutil.which(name))), None)


def pdf_of(html: str) -> bytes | None:
    """Print a page that loads nothing; None where no browser is installed or it fails."""
    program = browser()
    if program is None:
        return None
    with tempfile.TemporaryDirectory(prefix="slip-") as folder:
        page, out = Path(folder) / "slip.html", Path(folder) / "slip.pdf"
        page.write_text(html, encoding="utf-8")
        command = [program, "--headless", "--disable-gpu", "--no-first-run", "--no-sandbox"]
        # It prints a file of ours that may load nothing; no name leads anywhere for it.
        command += ["--host-resolver-rules=MAP * ~NOTFOUND", "--no-pdf-header-footer"]
        command += [f"--user-data-dir={folder}/profile", f"--print-to-pdf={out}"]
        try:
            subprocess.run(
                [*command, page.as_uri()], capture_output=True, timeout=WITHIN_S, check=True
            )
        except (subprocess.SubprocessError, OSError):
            return None
        return out.read_bytes() if out.exists() else None
