"""The process that renders: from one prepared folder to the PDF in it, without settings or network."""

import ctypes
import errno
import gc
import json
import os
import resource
import sys
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from weasyprint import HTML
from weasyprint.document import Document
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

from jobs.packets.finish import Attachment, finish
from jobs.packets.fonts import opened_font
from jobs.packets.pictures import thumbnail
from jobs.packets.plots import draw

# A packet with more pages than this is refused (project default).
MOST_PAGES: Final = 600
# Objects until the memory is looked through for circles (the language's own figure is 700).
COLLECT_AFTER: Final = (200_000, 20, 20)
STYLE: Final = Path(__file__).parent / "style"

# The last thing of page 1 carries this id.
PAGE_1_END: Final = "page-1-end"
# In the page's own head: a style sheet handed over beside the page would count for less than the page's own.
TIGHTER: Final = '<link rel="stylesheet" href="packet:style/tight.css">'

# Exit codes that the parent turns into its own errors.
ASKED_OUTSIDE: Final = 3
TOO_LONG: Final = 4
OUT_OF_MEMORY: Final = 5
TOO_LARGE: Final = 6
PICTURE_MISSING: Final = 7

_CLONE_NEWUSER: Final = 0x10000000
_CLONE_NEWNET: Final = 0x40000000
# What Python does on the way to another machine; each is refused, whatever asks for it.
_WAYS_OUT: Final = frozenset(
    {
        "socket.bind",
        "socket.connect",
        "socket.getaddrinfo",
        "socket.gethostbyaddr",
        "socket.gethostbyname",
        "socket.sendmsg",
        "socket.sendto",
        "urllib.Request",
    }
)


class PictureMissingError(FatalURLFetchingError):  # type: ignore[misc]
    """A picture that the page shows is not where its bytes should lie: an error, never a gap."""


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
        except FileNotFoundError as error:
            raise PictureMissingError(f"the bytes of {kind} {name[:80]} are not there") from error
        except KeyError as error:
            raise FatalURLFetchingError(f"a packet page asked for {url[:80]}") from error
        return URLFetcherResponse(url, body, {"Content-Type": media_type})

    def answer(self, kind: str, name: str) -> tuple[bytes, str]:
        """Bytes and media type of one thing; KeyError for what is not there."""
        if kind == "font":
            return opened_font(name), "font/ttf"
        if kind == "style":
            kept = {path.name: path for path in STYLE.iterdir()}
            return kept[name].read_bytes(), "text/css" if name.endswith(".css") else "image/svg+xml"
        if kind == "chart":
            return draw(self.charts[name]), "image/svg+xml"
        if kind == "picture":
            return thumbnail(Path(self.pictures[name])), "image/jpeg"
        raise KeyError(kind)


def limit(most: dict[str, int]) -> None:
    """Bounds memory, processor time and file size of this process, and leaves the network."""
    for what, bound, kill in (
        (resource.RLIMIT_AS, most["memory_bytes"], 0),
        (resource.RLIMIT_CPU, most["cpu_s"], 5),
        (resource.RLIMIT_FSIZE, most["file_bytes"], 0),
        (resource.RLIMIT_CORE, 0, 0),
    ):
        _, ceiling = resource.getrlimit(what)
        hard = bound + kill if ceiling == resource.RLIM_INFINITY else min(bound + kill, ceiling)
        resource.setrlimit(what, (min(bound, hard), hard))
    leave_network()


def leave_network() -> None:
    """No way out: an empty network where the system allows one, and no Python call that would use it."""
    unshare = getattr(ctypes.CDLL(None, use_errno=True), "unshare", None)
    if unshare is not None:
        # Root needs no user namespace for it, and would lose its right to read its own code in one.
        unshare(_CLONE_NEWNET if os.geteuid() == 0 else _CLONE_NEWUSER | _CLONE_NEWNET)
    sys.addaudithook(_refuse_network)


def _refuse_network(event: str, _: tuple[object, ...]) -> None:
    if event in _WAYS_OUT:
        raise PermissionError(f"the rendering process may not use the network ({event})")


def laid_out(text: str, fetcher: PacketFetcher, options: dict[str, Any]) -> Document:
    """The pages; set closer where the end of page 1 would fall on page 2.

    That is tried with page 1 alone: laying out forty pages to learn it would double the work of most packets.
    """
    to_end, mark, after = text.partition(f'id="{PAGE_1_END}"')
    if not mark:
        return _layout(text, fetcher, options)
    page_1 = to_end + mark + after[: after.index("</div>")]
    tight = text.replace("</head>", f"{TIGHTER}</head>", 1)
    if not _ends_on_page_1(_layout(page_1, fetcher, options)):
        return _layout(tight, fetcher, options)
    document = _layout(text, fetcher, options)
    return document if _ends_on_page_1(document) else _layout(tight, fetcher, options)


def _ends_on_page_1(document: Document) -> bool:
    return PAGE_1_END in document.pages[0].anchors


def _layout(text: str, fetcher: PacketFetcher, options: dict[str, Any]) -> Document:
    page = HTML(string=text, base_url="packet:/", url_fetcher=fetcher)
    return page.render(font_config=FontConfiguration(), **options)


def render(folder: Path) -> int:
    """Renders ``page.html`` of the folder by ``order.json`` into ``packet.pdf``; returns an exit code."""
    # Boxes and glyphs live until the file is written: looking for circles among them all is lost time.
    gc.freeze()
    gc.set_threshold(*COLLECT_AFTER)
    order = json.loads((folder / "order.json").read_text(encoding="utf-8"))
    fetcher = PacketFetcher(folder, order)
    text = (folder / "page.html").read_text(encoding="utf-8")
    rendered = folder / "rendered.pdf"
    try:
        document = laid_out(text, fetcher, order["options"])
        if len(document.pages) > MOST_PAGES:
            sys.stderr.write(f"{len(document.pages)} pages, at most {MOST_PAGES}\n")
            return TOO_LONG
        document.write_pdf(rendered, **order["options"])
    except FatalURLFetchingError as error:
        sys.stderr.write(f"{error}\n")
        return PICTURE_MISSING if isinstance(error, PictureMissingError) else ASKED_OUTSIDE
    attachments = [Attachment(**{**item, "path": Path(item["path"])}) for item in order["attachments"]]
    finish(rendered, folder / "packet.pdf", attachments, datetime.fromisoformat(order["dated"]))
    return 0


def main() -> int:
    folder = Path(sys.argv[1])
    limit(json.loads((folder / "order.json").read_text(encoding="utf-8"))["limits"])
    try:
        return render(folder)
    except MemoryError:
        sys.stderr.write("more memory than a rendering may take\n")
        return OUT_OF_MEMORY
    except OSError as error:
        if error.errno != errno.EFBIG:
            raise
        sys.stderr.write("a larger file than a rendering may write\n")
        return TOO_LARGE


if __name__ == "__main__":
    sys.exit(main())
