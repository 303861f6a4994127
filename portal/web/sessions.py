"""Signing in and out, the look of the pages, and the first page of each role."""

from django.conf import settings
from django.contrib.auth import login, logout
from django.contrib.auth.forms import AuthenticationForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from jobs.access import Actor
from portal.web.doors import LOOKS, page, show


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    """The sign-in page; a wrong login and a wrong pass phrase look the same."""
    following = str(request.POST.get("next") or request.GET.get("next") or "/")
    form = AuthenticationForm(request, data=request.POST or None)
    if request.method == "POST" and form.is_valid():
        login(request, form.get_user())
        return redirect(_own_address(request, following))
    status = 200 if request.method != "POST" else 403
    return show(
        request, "sign_in.html", {"form": form, "next": _own_address(request, following)}, status=status
    )


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    return redirect(settings.LOGOUT_REDIRECT_URL)


@require_POST
def set_look(request: HttpRequest) -> HttpResponse:
    """Keeps the chosen look in a cookie, so that the first paint of the next page is right without script."""
    answer = redirect(_own_address(request, str(request.POST.get("next", "/"))))
    look = str(request.POST.get("look", "auto"))
    if look in LOOKS:
        answer.set_cookie(
            "look", look, max_age=365 * 86_400, samesite="Lax", secure=settings.SESSION_COOKIE_SECURE
        )
    return answer


@page
def home(request: HttpRequest, actor: Actor) -> HttpResponse:
    """Sends each person to the page of their work."""
    if actor.is_outsider:
        return redirect("web:packets")
    if actor.has_role("operations_manager", "quality_manager", "location_manager", "quality_reviewer"):
        return redirect("web:board")
    return redirect("web:cars")


def _own_address(request: HttpRequest, address: str) -> str:
    """The address if it is one of ours, else the first page: nobody is sent elsewhere by a link."""
    allowed = url_has_allowed_host_and_scheme(
        address, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return address if allowed else "/"
