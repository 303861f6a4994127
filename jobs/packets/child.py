"""The process that renders: from one prepared folder to the PDF in it, without settings or network."""

import json
import resource
import sys
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from weasyprint import CSS, HTML
from weasyprint.document import Document
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

from jobs.packets.finish import Attachment, finish
from jobs.packets.fonts import FONT_FILES
from jobs.packets.pictures import thumbnail
from jobs.packets.plots import draw

MOST_MEMORY_BYTES: Final = 3 << 30
MOST_CPU_S: Final = 150
MOST_FILE_BYTES: Final = 4 << 30
# A packet with more pages than this is refused (project default).
MOST_PAGES: Final = 600
STYLE: Final = Path(__file__).parent / "style"

# The last thing of page 1 carries this id.
PAGE_1_END: Final = "page-1-end"

# Exit codes that the parent turns into its own errors.
ASKED_OUTSIDE: Final = 3
TOO_LONG: Final = 4


class PacketFetcher(URLFetcher):  # type: ignore[misc]
    """Answers ``packet:`` addresses from the prepared folder; any other address ends the rendering."""

    def __init__(self, folder: Path, order: dict[str, Any]) -> None:
        super().__init__(timeout=1, allowed_protocols=("packet",), allow_redirects=False, fail_on_errors=True)
        self.folder = folder
        self.pictures: dict[str, str] = order["pictures"]
        self.charts: dict[str, Any] = order["charts"]

    def fetch(self, url: str, headers: dict[str, str] | None = None) -> URLFetcherResponse:
        scheme, _, rest = url.partition(":")
        kind, _, name = rest.lstrip("/").partition("/")
        if scheme != "packet":
            raise FatalURLFetchingError(f"a packet page asked for {url[:80]}")
        try:
            body, media_type = self.answer(kind, name)
        except KeyError as error:
            raise FatalURLFetchingError(f"a packet page asked for {url[:80]}") from error
        return URLFetcherResponse(url, body, {"Content-Type": media_type})

    def answer(self, kind: str, name: str) -> tuple[bytes, str]:
        """Bytes and media type of one thing; KeyError for what is not there."""
        if kind == "font":
            return FONT_FILES[name].read_bytes(), "font/woff2" if name.endswith("woff2") else "font/ttf"
        if kind == "style":
            kept = {path.name: path for path in STYLE.iterdir()}
            return kept[name].read_bytes(), "text/css" if name.endswith(".css") else "image/svg+xml"
        if kind == "chart":
            return draw(self.charts[name]), "image/svg+xml"
        if kind == "picture":
            return thumbnail(Path(self.pictures[name])), "image/jpeg"
        raise KeyError(kind)


def limit() -> None:
    """Bounds memory, processor time and file size of this process (project defaults)."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_CPU_S, MOST_CPU_S + 5))
    resource.setrlimit(resource.RLIMIT_FSIZE, (MOST_FILE_BYTES, MOST_FILE_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def laid_out(page: HTML, options: dict[str, Any]) -> Document:
    """The pages; set closer once more where the end of page 1 would fall on page 2."""
    document = page.render(font_config=FontConfiguration(), **options)
    has_end = any(PAGE_1_END in found.anchors for found in document.pages)
    if not has_end or PAGE_1_END in document.pages[0].anchors:
        return document
    tight = CSS(string=(STYLE / "tight.css").read_text(encoding="utf-8"))
    return page.render(font_config=FontConfiguration(), **{**options, "stylesheets": [tight]})


def render(folder: Path) -> int:
    """Renders ``page.html`` of the folder by ``order.json`` into ``packet.pdf``; returns an exit code."""
    order = json.loads((folder / "order.json").read_text(encoding="utf-8"))
    fetcher = PacketFetcher(folder, order)
    page = HTML(
        string=(folder / "page.html").read_text(encoding="utf-8"),
        base_url="packet:/",
        url_fetcher=fetcher,
    )
    rendered = folder / "rendered.pdf"
    try:
        document = laid_out(page, order["options"])
        if len(document.pages) > MOST_PAGES:
            sys.stderr.write(f"{len(document.pages)} pages, at most {MOST_PAGES}\n")
            return TOO_LONG
        document.write_pdf(rendered, **order["options"])
    except FatalURLFetchingError as error:
        sys.stderr.write(f"{error}\n")
        return ASKED_OUTSIDE
    attachments = [Attachment(**{**item, "path": Path(item["path"])}) for item in order["attachments"]]
    finish(rendered, folder / "packet.pdf", attachments, datetime.fromisoformat(order["dated"]))
    return 0


def main() -> int:
    limit()
    return render(Path(sys.argv[1]))


if __name__ == "__main__":
    sys.exit(main())
