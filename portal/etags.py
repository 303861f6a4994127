"""Strong entity tags from version numbers, and If-Match as RFC 9110 section 13.1.1 reads it."""

import re
from typing import Final

from django.http import HttpRequest

from jobs.errors import VersionConflict
from portal.errors import RequestProblem

_LONGEST_HEADER: Final = 2000
_ONE: Final = r'(?:W/)?"[\x21\x23-\x7e\x80-\xff]*"'
_LIST: Final = re.compile(rf"[ \t]*{_ONE}(?:[ \t]*,[ \t]*{_ONE})*[ \t]*")


def etag_of(version: int) -> str:
    """The strong entity tag of a row's version."""
    return f'"{version}"'


def matched_version(request: HttpRequest, current: int) -> int:
    """The version that the caller may change: ``current``, where If-Match names it or is ``*``.

    The service repeats the comparison in its update, which closes the race between here and there.

    Raises:
        RequestProblem: ``if_match_missing`` (428), ``bad_if_match`` (400).
        VersionConflict: none of the tags is the current one (412); weak tags never match.
    """
    header = request.headers.get("If-Match")
    if header is None or not header.strip():
        raise RequestProblem("if_match_missing", "Read it first and send its ETag as If-Match.")
    if header.strip() == "*":
        return current
    if len(header) > _LONGEST_HEADER or not _LIST.fullmatch(header):
        raise RequestProblem("bad_if_match", 'If-Match is a list of tags like "3", or *.')
    if etag_of(current) not in re.findall(_ONE, header):
        raise VersionConflict()
    return current
