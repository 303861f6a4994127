"""Reading a packet file: its attachments and the manifest, from bytes that nobody has checked yet."""

from rules.seal.enclosed import RECIPIENT_NAME as RECIPIENT_NAME
from rules.seal.enclosed import Enclosed as Enclosed
from rules.seal.enclosed import NotAPacketError as NotAPacketError
from rules.seal.enclosed import enclosed_of
from rules.seal.pdf_parts import attachments_of


def read_packet(pdf: bytes) -> Enclosed:
    """The parts of a packet file.

    Raises:
        NotAPacketError: no PDF of the form that packets have, or without a manifest, or with one of another
            form.
    """
    return enclosed_of(attachments_of(pdf))
