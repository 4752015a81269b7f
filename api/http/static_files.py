"""Static files: those that a browser has are not sent again."""

from django.http import HttpRequest, HttpResponseBase
from django.utils.cache import get_conditional_response
from whitenoise.middleware import WhiteNoiseMiddleware
from whitenoise.responders import StaticFile


class StaticFiles(WhiteNoiseMiddleware):  # type: ignore[misc]  # it has no types
    """WhiteNoise compares ETags letter by letter, but that of a compressed file is weak when it comes back."""

    @staticmethod
    def serve(static_file: StaticFile, request: HttpRequest) -> HttpResponseBase:
        """Serve the file, or 304 by the weak comparison of RFC 9110, section 13.1.2."""
        response = WhiteNoiseMiddleware.serve(static_file, request)
        answer = get_conditional_response(request, response.headers.get("ETag"), response=response) or response
        if answer is not response:
            response.close()
        return answer
