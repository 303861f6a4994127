"""Who is calling: a bearer token on the API, a signed-in person on the pages; both become an Actor."""

from typing import Final

from django.http import HttpRequest
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.request import Request

from jobs.access import Actor, actor_for_person, actor_for_token
from jobs.errors import NotSignedIn
from jobs.models.people import Person
from portal.clock import now

_LONGEST_TOKEN: Final = 200


class TokenAuthentication(BaseAuthentication):
    """``Authorization: Bearer wm_…``. An unknown, expired or revoked token are all the same 401."""

    def authenticate(self, request: Request) -> tuple[Person, Actor] | None:
        words = get_authorization_header(request).split()
        if not words:
            return None
        if len(words) != 2 or words[0].lower() != b"bearer" or len(words[1]) > _LONGEST_TOKEN:
            raise NotSignedIn()
        try:
            token = words[1].decode("ascii")
        except UnicodeDecodeError:
            raise NotSignedIn() from None
        actor = actor_for_token(token, as_of=now())
        return actor.person, actor

    def authenticate_header(self, request: Request) -> str:
        return "Bearer"


def actor_of(request: Request) -> Actor:
    """The caller of an API request that has passed authentication.

    Raises:
        NotSignedIn: there is none.
    """
    if not isinstance(request.auth, Actor):
        raise NotSignedIn()
    return request.auth


def actor_of_session(request: HttpRequest) -> Actor:
    """The person signed in to the pages.

    Raises:
        NotSignedIn: nobody is, or the account no longer holds.
    """
    person = request.user
    if not isinstance(person, Person) or not person.is_authenticated:
        raise NotSignedIn()
    return actor_for_person(person, as_of=now())
