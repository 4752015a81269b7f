"""In which language a request is answered.

The API goes by ``Accept-Language`` alone and answers in English without it. A page goes by the language that the login
has chosen, else by the cookie that the switch on every page sets, else by ``Accept-Language``. What a link shows to
someone outside the team goes by ``?lang=`` first, and looks at no cookie.
"""

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase
from django.utils.cache import patch_vary_headers
from django.utils.translation import get_supported_language_variant, override
from django.utils.translation.trans_real import parse_accept_lang_header

from api.http.middleware import Middleware

_PROGRAMS = ("/api/", "/metrics")
_PUBLIC = "/shared/"


def known_language(code: str | None) -> str | None:
    """Return the language of ours that a code stands for, ``de`` for ``de-AT``; None when there is none."""
    try:
        return get_supported_language_variant(code or "")
    except LookupError:
        return None


def language_of(request: HttpRequest) -> str:
    """Return the language in which a request is answered."""
    if request.path_info.startswith(_PROGRAMS):
        return _from_header(request)
    if request.path_info.startswith(_PUBLIC):
        return known_language(request.GET.get("lang")) or _from_header(request)
    cookie = request.COOKIES.get(settings.LANGUAGE_COOKIE_NAME)
    return known_language(_chosen(request)) or known_language(cookie) or _from_header(request)


def _from_header(request: HttpRequest) -> str:
    return accepted_language(request.headers.get("Accept-Language", ""))


def _chosen(request: HttpRequest) -> str | None:
    if settings.SESSION_COOKIE_NAME not in request.COOKIES or not request.user.is_authenticated:
        return None
    return request.user.language


def accepted_language(header: str) -> str:
    """Return the first of our languages in an ``Accept-Language`` header, English if there is none."""
    accepted = parse_accept_lang_header(header)
    ours = (known_language(code) for code, quality in accepted if code != "*" and quality > 0)
    return next((code for code in ours if code is not None), settings.LANGUAGE_CODE)


class LanguageMiddleware(Middleware):
    """Answers in the request's language, and keeps caches from giving one language's answer for another."""

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer."""
        language = language_of(request)
        with override(language):
            response = self.answer(request)
        without_cookies = request.path_info.startswith((*_PROGRAMS, _PUBLIC))
        patch_vary_headers(response, ["Accept-Language"] if without_cookies else ["Accept-Language", "Cookie"])
        response.headers.setdefault("Content-Language", language)
        return response
