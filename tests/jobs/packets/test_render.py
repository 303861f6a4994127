"""The rendering child asks nobody outside, is bounded, and says what went wrong by code."""

import http.server
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from jobs.errors import DomainError
from jobs.packets.child import ASKED_OUTSIDE, render
from jobs.packets.fonts import FONT_FILES, printable
from jobs.packets.manifest import PlannedFile
from jobs.packets.render import HOUSE, Limits, Order, RenderError, prepare, render_pdf

pytestmark = pytest.mark.slow
DATED = datetime(2026, 5, 5, 17, tzinfo=UTC)


def page(body: str, head: str = "") -> Order:
    html = f'<!DOCTYPE html><html lang="en"><head><title>t</title>{head}</head><body>{body}</body></html>'
    return Order(page=html, dated=DATED, identifier="ab" * 16)


@pytest.fixture(scope="module")
def listener() -> Iterator[tuple[str, list[str]]]:
    """A server on this machine that writes down who asked."""
    asked: list[str] = []

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_response(200)
            self.end_headers()

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}", asked
    server.shutdown()
    server.server_close()


OUTSIDE = [
    '<img src="{url}/img">',
    '<img src="file:///etc/passwd">',
    '<link rel="stylesheet" href="{url}/css">',
    "<style>@import url({url}/import);</style>",
    '<style>body{{background:url({url}/background)}}</style>',
    '<style>@font-face{{font-family:x;src:url({url}/font)}} body{{font-family:x}}</style><p>x</p>',
    '<style>p::before{{content:url({url}/content)}}</style><p>x</p>',
    '<style>li{{list-style-image:url({url}/list)}}</style><ul><li>x</li></ul>',
    '<object data="{url}/object"></object>',
    '<embed src="{url}/embed">',
    '<link rel="attachment" href="file:///etc/passwd">',
    '<a rel="attachment" href="{url}/attach">x</a>',
    '<base href="{url}/"><img src="relative">',
    '<img src="packet:picture/unknown">',
    '<img src="packet:settings/secret">',
]  # fmt: skip


@pytest.mark.parametrize("payload", OUTSIDE)
def test_nothing_outside_is_asked(payload: str, listener: tuple[str, list[str]], tmp_path: Path) -> None:
    url, asked = listener
    order = page(payload.format(url=url))
    prepare(tmp_path, order)
    assert render(tmp_path) == ASKED_OUTSIDE
    assert asked == []
    assert not (tmp_path / "packet.pdf").exists()


def test_the_caller_gets_a_code_of_its_own(listener: tuple[str, list[str]]) -> None:
    with pytest.raises(RenderError) as caught:
        render_pdf(page(f'<img src="{listener[0]}/img">'))
    assert caught.value.code == "packet_asked_outside"
    assert listener[1] == []


def test_too_many_pages_are_refused() -> None:
    with pytest.raises(RenderError) as caught:
        render_pdf(page('<p style="break-after:page">x</p>' * 601))
    assert caught.value.code == "packet_too_long"


def test_a_rendering_that_takes_too_long_is_stopped() -> None:
    with pytest.raises(RenderError) as caught:
        render_pdf(replace(page("<p>x</p>"), longest_s=0.05))
    assert caught.value.code == "packet_render_stopped"


def test_a_child_that_fails_is_told_apart() -> None:
    """A missing attachment ends the child with a code, and no file comes back."""
    gone = PlannedFile(
        name="a.json", media_type="application/json", sha256="00" * 32, size_bytes=1, description="gone"
    )
    order = replace(page("<p>x</p>"), files=(gone,), stored={"a.json": Path("/nowhere/a.json")})
    with pytest.raises(RenderError) as caught:
        render_pdf(order)
    assert caught.value.code == "packet_not_rendered"
    with pytest.raises(RenderError) as caught:
        render_pdf(replace(order, stored={}))
    assert caught.value.code == "packet_not_rendered"


def test_every_font_file_is_there() -> None:
    assert all(path.is_file() for path in FONT_FILES.values())


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("R. Ashgrove", "R. Ashgrove"),
        ("Łódź Ωμέγα Ж", "Łódź Ωμέγα Ж"),
        ("王 is a name", "[U+738B] is a name"),
        ("a\u202eb", "a[U+202E]b"),
        ("nul\x00", "nul[U+0000]"),
        ("two\nlines\tapart", "two\nlines apart"),
        ("e\u0301", "é"),
    ],
)
def test_what_no_font_shows_is_written_as_its_code(text: str, shown: str) -> None:
    assert printable(text) == shown


# ------------------------------------------------------------------ each limit of the child, seen to hold


def heavy(rows: int) -> str:
    """A table that takes seconds and tens of megabytes to lay out."""
    return "<table>" + ("<tr>" + "<td>cell</td>" * 12 + "</tr>") * rows + "</table>"


def test_a_rendering_that_needs_too_much_memory_is_stopped() -> None:
    with pytest.raises(RenderError) as caught:
        render_pdf(replace(page(heavy(900)), limits=Limits(memory_bytes=420 << 20)))
    assert caught.value.code == "packet_render_stopped"


def test_a_rendering_that_needs_too_much_processor_time_is_stopped() -> None:
    with pytest.raises(RenderError) as caught:
        render_pdf(replace(page(heavy(900)), limits=Limits(cpu_s=3)))
    assert caught.value.code == "packet_render_stopped"


def test_a_rendering_that_writes_too_large_a_file_is_stopped() -> None:
    with pytest.raises(RenderError) as caught:
        render_pdf(replace(page(heavy(60)), limits=Limits(file_bytes=4096)))
    assert caught.value.code == "packet_too_large"


def test_the_same_page_within_its_limits_is_rendered() -> None:
    assert render_pdf(page(heavy(60))).startswith(b"%PDF")


def test_the_child_has_no_network(listener: tuple[str, list[str]]) -> None:
    """Whatever asks inside the child, by address or by name, gets no answer; the listener hears nothing."""
    url, asked = listener
    port = url.rsplit(":", 1)[1]
    code = (
        "import socket, sys, urllib.request\n"
        "from jobs.packets.child import leave_network\n"
        "leave_network()\n"
        "def tried(call):\n"
        "    try: call()\n"
        "    except (OSError, PermissionError): return 'refused'\n"
        "    return 'reached'\n"
        f"print(tried(lambda: socket.create_connection(('127.0.0.1', {port}), 2)))\n"
        "print(tried(lambda: socket.getaddrinfo('localhost', 80)))\n"
        f"print(tried(lambda: urllib.request.urlopen('{url}/asked', timeout=2)))\n"
        "print(tried(lambda: socket.socket(socket.AF_INET, socket.SOCK_DGRAM)"
        f".sendto(b'x', ('127.0.0.1', {port}))))\n"
    )
    made = subprocess.run([sys.executable, "-c", code], capture_output=True, cwd=HOUSE, check=True)
    assert made.stdout.decode().split() == ["refused"] * 4
    assert asked == []


def test_a_picture_that_is_gone_is_an_error_and_no_gap(tmp_path: Path) -> None:
    order = replace(
        page('<p>before</p><img src="packet:picture/ab"><p>after</p>'),
        pictures={"ab": tmp_path / "not-there"},
    )
    with pytest.raises(RenderError) as caught:
        render_pdf(order)
    assert caught.value.code == "packet_picture_missing"
    assert "are not there" in caught.value.message


def test_a_renderer_error_is_our_own_and_no_base_exception(listener: tuple[str, list[str]]) -> None:
    """The rendering library's fatal error derives from BaseException; the caller must see a DomainError."""
    with pytest.raises(DomainError):
        render_pdf(page(f'<img src="{listener[0]}/img">'))
