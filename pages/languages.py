"""The switch on every page: in which language pages and mail are."""

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils.decorators import method_decorator
from django.views.decorators.csrf import csrf_exempt
from django.views.generic import View
from django.views.i18n import set_language as set_cookie

from api.http.languages import known_language
from teams.actions.people import set_language


@method_decorator(csrf_exempt, name="dispatch")
class LanguageSwitch(View):
    """The language of the browser and, for those signed in, of the login.

    Its form carries no token, so that pages which must look alike do, byte for byte. None is needed: another site could
    change nothing but the browser's language, since the session's cookie does not come along with a form of theirs.
    """

    def post(self, request: HttpRequest) -> HttpResponseBase:
        """Choose it, and go back to the page that asked; a language that is not there changes nothing."""
        language = known_language(request.POST.get("language"))
        if language is None:
            return redirect("/")
        if request.user.is_authenticated:
            set_language(request.user, language)
        return set_cookie(request)
