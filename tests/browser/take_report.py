"""Takes the picture of the report that the README shows, from the page that is kept beside it.

thirstline sweep hollin-lane --weather seattle-2015 --sure --policy thirstline \\
    --vary lean=0.4,0.7,0.1 --jobs 1 --report three-lines.html   # in tests/browser/shots
python tests/browser/take_report.py

The picture carries the digest of the page that it was taken from, so that a test can tell whether
the two still belong together.
"""

import hashlib
import struct
import zlib
from pathlib import Path

from playwright.sync_api import sync_playwright

SHOTS = Path(__file__).parent / "shots"
PAGE, PICTURE = SHOTS / "three-lines.html", SHOTS / "three-lines.png"
WIDE, HIGH = 900, 1000
KEY = b"page-sha256"
HEADER_BYTES = 33  # of a PNG: its signature and its first chunk


def digest_of(page: Path) -> bytes:
    return hashlib.sha256(page.read_bytes()).hexdigest().encode()


def signed(png: bytes, digest: bytes) -> bytes:
    """A PNG with a line of text in it: the digest of a page."""
    body = b"tEXt" + KEY + b"\0" + digest
    chunk = struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
    return png[:HEADER_BYTES] + chunk + png[HEADER_BYTES:]


def main() -> None:
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium")
        page = browser.new_context(viewport={"width": WIDE, "height": HIGH}).new_page()
        page.goto(PAGE.as_uri())
        png = page.screenshot()
        browser.close()
    PICTURE.write_bytes(signed(png, digest_of(PAGE)))


if __name__ == "__main__":
    main()
