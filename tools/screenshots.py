"""Take every page of the book into a folder, light and dark, on a desk and on a phone, to be looked at.

    python tools/screenshots.py BOOK --to FOLDER [--only WORD] [--paper]

Serves a copy of the book, so that looking changes nothing. Pages are found as the browser tests find them, by following links;
`--only` takes those whose address has the word in it, `--paper` prints each to PDF as well.
"""

from __future__ import annotations

import argparse
import re
import shutil
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from playwright.sync_api import Browser, sync_playwright  # noqa: E402  # after the path to the tests' own ground

from browser.ground import DESKTOP, PHONE, Served, chromium_path, served  # noqa: E402
from browser.pages import find_pages, kind_of  # noqa: E402

KINDS = (("light", "desk"), ("dark", "desk"), ("light", "phone"), ("dark", "phone"))


def name_of(path: str) -> str:
    """Return the plain name of a page's pictures."""
    return re.sub(r"[^a-z]+", "-", kind_of(path).lower()).strip("-") or "today"


def take(browser: Browser, server: Served, *, to: Path, only: str, paper: bool) -> int:
    """Take all pictures, and return how many."""
    finder = browser.new_context().new_page()
    found = find_pages(finder, server.address)
    print("\n".join(found.broken), file=sys.stderr)
    paths = [path for path in found.paths if only in path]
    count = 0
    for look, where in KINDS:
        on_phone = where == "phone"
        context = browser.new_context(
            viewport=PHONE if on_phone else DESKTOP,  # type: ignore[arg-type]
            color_scheme=look,  # type: ignore[arg-type]
            is_mobile=on_phone,
            has_touch=on_phone,
            device_scale_factor=2 if on_phone else 1,
        )
        page = context.new_page()
        for path in paths:
            page.goto(server.address + path)
            page.wait_for_load_state("networkidle")
            page.screenshot(path=to / f"{name_of(path)}-{look}-{where}.png", full_page=True)
            count += 1
            if paper and (look, where) == KINDS[0]:
                page.pdf(path=to / f"{name_of(path)}.pdf", prefer_css_page_size=True, print_background=False)
        context.close()
    return count


def main() -> None:
    """Take them."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("book", type=Path, help="folder of a book; it is copied")
    arguments.add_argument("--to", type=Path, required=True, metavar="FOLDER", help="where the pictures go")
    arguments.add_argument("--only", default="", metavar="WORD", help="only pages whose address has this in it")
    arguments.add_argument("--paper", action="store_true", help="print each page to PDF as well")
    chosen = arguments.parse_args()
    path = chromium_path()
    if path is None:
        raise SystemExit("error: there is no Chromium here\ntry:   install it (on Debian: apt install chromium)")
    chosen.to.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as work, sync_playwright() as playwright:
        copy = Path(work) / "book"
        shutil.copytree(chosen.book, copy)
        with served(copy) as server:
            browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
            count = take(browser, server, to=chosen.to, only=chosen.only, paper=chosen.paper)
            browser.close()
    print(f"{count} pictures")


if __name__ == "__main__":
    main()
