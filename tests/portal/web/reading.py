"""How the page tests sign in, read a page as text, and send a form as a browser does."""

import html
import re
import uuid
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from jobs.models import Person


def signed_in(person: Person) -> Client:
    """A browser in which this person has signed in."""
    client = Client(raise_request_exception=False)
    client.force_login(person)
    return client


def text_of(answer: Any) -> str:
    """The words of a page without its markup, white space joined."""
    page = re.sub(r"<(script|style|select|template)\b.*?</\1>", " ", answer.content.decode(), flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def without_request_id(answer: Any) -> str:
    """The page with what differs from request to request taken out: request id and form tokens."""
    page = re.sub(r"\b[0-9a-f]{32}\b", "", answer.content.decode())
    return re.sub(r'name="csrfmiddlewaretoken" value="[^"]*"', "", page)


def hidden(answer: Any, action: str) -> dict[str, str]:
    """The hidden fields of the form that is sent to an address ending in ``action``."""
    for form in re.findall(r"<form\b.*?</form>", answer.content.decode(), flags=re.DOTALL):
        if re.search(rf'action="[^"]*{action}"', form):
            found = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form)
            return {name: html.unescape(value) for name, value in found}
    raise AssertionError(f"no form is sent to {action}")


def picture_form(data: bytes, **fields: str) -> dict[str, Any]:
    """What the photo form sends."""
    file = SimpleUploadedFile("IMG_0417.jpg", data, content_type="image/jpeg")
    return {"id": str(uuid.uuid4()), "shows": "plate", "stage": "intake", "file": file} | fields


def file_form(data: bytes, name: str, **fields: str) -> dict[str, Any]:
    """What the file form sends."""
    file = SimpleUploadedFile(name, data, content_type="application/octet-stream")
    form = {"id": str(uuid.uuid4()), "kind": "document", "stage": "repair", "instrument": "", "session": ""}
    return {**form, "file": file} | fields
