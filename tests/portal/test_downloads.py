"""Names of downloads (RFC 6266): whatever a sender called the file, the header is whole and leads nowhere."""

from urllib.parse import unquote

import pytest

from portal.downloads import content_disposition


@pytest.mark.parametrize(
    ("name", "plain", "whole"),
    [
        ("plate.jpg", "plate.jpg", "plate.jpg"),
        ("../../etc/passwd", "passwd", "passwd"),
        ("C:\\x\\y.jpg", "y.jpg", "y.jpg"),
        ("a\x00b.jpg", "ab.jpg", "ab.jpg"),
        ("\u202egpj.exe", "gpj.exe", "gpj.exe"),
        (".htaccess", "htaccess", "htaccess"),
        ("a\r\nSet-Cookie: x=1.jpg", "aSet-Cookie_ x_1.jpg", "aSet-Cookie: x=1.jpg"),
        ('quote"d;.jpg', "quote_d_.jpg", 'quote"d;.jpg'),
        ("wörter.jpg", "w_rter.jpg", "wörter.jpg"),
        ("\U0001f697.jpg", "_.jpg", "\U0001f697.jpg"),
        ("x" * 300, "x" * 120, "x" * 120),
        ("", "file", "file"),
        ("...", "file", "file"),
        ("/", "file", "file"),
    ],
)
def test_names(name: str, plain: str, whole: str) -> None:
    header = content_disposition(name)
    assert header.isascii()
    assert header.isprintable()
    start, encoded = header.split("filename*=UTF-8''")
    assert start == f'attachment; filename="{plain}"; '
    assert unquote(encoded) == whole
