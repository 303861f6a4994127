"""Two-dimensional codes (ISO/IEC 18004) in a photo: what a slip card or a tablet's screen shows."""

from typing import Final

import numpy as np
import zxingcpp
from numpy.typing import NDArray

# A photo of a bay shows one slip, perhaps a second on a tablet; stickers on parts carry codes too.
MOST_CODES: Final = 8
LONGEST_TEXT: Final = 200
_FORMATS: Final = zxingcpp.barcode_formats_from_str("QRCode")


def read_slip_texts(luma: NDArray[np.uint8]) -> list[str]:
    """The texts of all codes found, sorted, each once; whether one is our slip is for the caller to say.

    Only whole codes with printable text of at most 200 characters are given: a slip is shorter, and what
    another code says is nobody's evidence.
    """
    found = zxingcpp.read_barcodes(luma, formats=_FORMATS, text_mode=zxingcpp.TextMode.Plain)
    texts = {code.text for code in found if code.valid}
    return sorted(text for text in texts if 0 < len(text) <= LONGEST_TEXT and text.isprintable())[:MOST_CODES]
