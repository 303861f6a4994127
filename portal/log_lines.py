"""Log lines without secrets: the token of a link stands in its address, and addresses stand in log lines.

Used by the program's own log and, as the web server's logger class, by its access and error logs:
``gunicorn --logger-class portal.log_lines.LinkFreeLogger``.
"""

import logging
import re
from typing import Any, Final

from gunicorn.glogging import Logger

# Whatever comes after /s/ is a token, or somebody's try at one; %2F and the like are no way around it.
_LINK: Final = re.compile(r"(/s/|%2[Ff]s%2[Ff])[^\s/?#\"'<>\\&%]+")
HIDDEN: Final = r"\1[link]"


def without_links(text: str) -> str:
    """The text with the token of every link left out."""
    return _LINK.sub(HIDDEN, text)


class LinkFreeFormatter(logging.Formatter):
    """Formats as usual, exceptions and stacks with it, and leaves tokens out of the whole line."""

    def format(self, record: logging.LogRecord) -> str:
        return without_links(super().format(record))


class LinkFreeLogger(Logger):  # type: ignore[misc]  # the web server ships no types
    """The web server's logger, every line of which goes through ``without_links``."""

    def setup(self, cfg: Any) -> None:
        super().setup(cfg)
        for logger in (self.error_log, self.access_log):
            for handler in logger.handlers:
                usual = handler.formatter or logging.Formatter()
                handler.setFormatter(LinkFreeFormatter(usual._fmt, usual.datefmt))
