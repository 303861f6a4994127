"""Reading a packet file: its attachments and the manifest, from bytes that nobody has checked yet."""

import io

import pikepdf

from rules.seal.enclosed import RECIPIENT_NAME as RECIPIENT_NAME
from rules.seal.enclosed import Enclosed, NotAPacketError, enclosed_of

__all__ = ["RECIPIENT_NAME", "Enclosed", "NotAPacketError", "read_packet"]


def read_packet(pdf: bytes) -> Enclosed:
    """Opens a packet file.

    Raises:
        NotAPacketError: no PDF, encrypted, without a manifest, or with one of another form.
    """
    try:
        with pikepdf.Pdf.open(io.BytesIO(pdf)) as opened:
            if opened.is_encrypted:
                raise NotAPacketError("the file is encrypted")
            files = {name: spec.get_file().read_bytes() for name, spec in opened.attachments.items()}
    except (pikepdf.PdfError, pikepdf.PasswordError, ValueError, KeyError) as error:
        raise NotAPacketError(f"the file cannot be read as a packet: {error}") from error
    return enclosed_of(files)
