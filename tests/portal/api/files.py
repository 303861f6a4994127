"""Small files for upload tests, made on the spot; nothing hostile is kept in the repository."""

import io
from datetime import UTC, datetime

from PIL import Image


def jpeg(*, width: int = 1600, height: int = 1200, shade: int = 90) -> bytes:
    """A picture with enough texture to be a real file of its kind."""
    picture = Image.effect_noise((width // 8, height // 8), 60).resize((width, height))
    tinted = Image.merge("RGB", (picture, picture.point(lambda value: value // 2), picture))
    tinted.paste((shade, shade, shade), (0, 0, 64, 64))
    file = io.BytesIO()
    tinted.save(file, "JPEG", quality=80)
    return file.getvalue()


def gpx(points: str) -> bytes:
    return (
        '<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><trkseg>{points}</trkseg></trk></gpx>"
    ).encode()


def trackpoint(lat: str, lon: str, second: int) -> str:
    at = datetime(2026, 5, 5, 15, 34, second, tzinfo=UTC).isoformat().replace("+00:00", "Z")
    return f'<trkpt lat="{lat}" lon="{lon}"><time>{at}</time></trkpt>'
