"""Print sheets with Debian's Chromium on A4 and on US Letter and count the pages: as many as the sheet says, on both.

    python -m tests.bench.paper [--knowledge FOLDER] [--keep FOLDER]

Needs `chromium` and `pdfinfo` (Debian: chromium, poppler-utils). Exits with 1 where a page runs over. The browser is
the outside judge here: what it prints is what a printer gets.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tempfile
from datetime import date
from pathlib import Path

from isolate.case.chase import Kit
from isolate.case.sheet_page import printed
from isolate.kb.fit import fit
from isolate.kb.load import load

SHEETS = (
    ("halden-hf-3", "no-light-off", "", "gate", 2),
    ("halden-hf-3", "plug-will-not-run-down", "A", "hangar", 9),
    ("halden-hf-5", "slow-light", "", "gate", 5),
    ("orrin-t-9", "one-channel-silent", "2", "hangar", 8),
)
"""Engine, complaint, channel, place, pages: short and long, with and without repairs."""
PAPERS = {"A4": "A4", "US Letter": "letter"}


def pages_on(paper: str, html: str, folder: Path) -> int:
    """Return how many pages a browser prints on a paper; its size is put into a copy, as a printer would set it."""
    copy, pdf = folder / "sheet.html", folder / "sheet.pdf"
    copy.write_text(html.replace("@page {", f"@page {{ size: {PAPERS[paper]};", 1), encoding="utf-8")
    command = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={folder / 'profile'}"]
    command += ["--no-pdf-header-footer", f"--print-to-pdf={pdf}", copy.as_uri()]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    said = subprocess.run(["pdfinfo", str(pdf)], check=True, capture_output=True, text=True).stdout
    found = re.search(r"^Pages:\s+(\d+)$", said, re.MULTILINE)
    assert found is not None, said
    return int(found[1])


def main() -> int:
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--knowledge", type=Path)
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="leave the sheets and their PDF files here")
    arguments = parser.parse_args()
    knowledge = load(arguments.knowledge).knowledge
    wrong = 0
    for engine, complaint, channel, place, pages in SHEETS:
        html = printed(Kit(fit(knowledge, engine)), complaint, date.today(), pages, channel, place)  # type: ignore[arg-type]
        says = html.count('<section class="page">')
        boxes = html.count('<div class="box" id=')
        found = []
        for paper in PAPERS:
            with tempfile.TemporaryDirectory() as folder:
                found.append(pages_on(paper, html, Path(folder)))
                if arguments.keep is not None:
                    stem = f"{engine}-{complaint}-{PAPERS[paper]}"
                    arguments.keep.mkdir(parents=True, exist_ok=True)
                    (arguments.keep / f"{stem}.html").write_bytes((Path(folder) / "sheet.html").read_bytes())
                    (arguments.keep / f"{stem}.pdf").write_bytes((Path(folder) / "sheet.pdf").read_bytes())
        good = says <= pages and set(found) == {says}
        wrong += not good
        printed_on = ", ".join(f"{paper} {n}" for paper, n in zip(PAPERS, found, strict=True))
        told = f"{engine} {complaint}: {boxes} boxes, {says} pages of {pages}; printed: {printed_on}"
        print(told if good else f"{told}  WRONG")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
