"""Django as a WSGI application; `config.web.serving` serves it on a few threads."""

import os

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
application = get_wsgi_application()
get_resolver().url_patterns  # noqa: B018 - loads every view now, or the first phone would wait for it
