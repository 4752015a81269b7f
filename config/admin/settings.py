"""The settings of ``manage.py admin``: those of the installation, but reading only, without logins and sessions."""

from pathlib import Path
from typing import cast

from django.core.exceptions import ImproperlyConfigured

from config.settings import *  # noqa: F403 - the same but for what follows
from config.settings import ADMIN_CODE, DATABASES, INSTALLED_APPS, SILENCED_SYSTEM_CHECKS

if not ADMIN_CODE:
    raise ImproperlyConfigured("LEAFSPAN_ADMIN_CODE is missing: start the admin by manage.py admin")
ALLOWED_HOSTS = ["127.0.0.1", "localhost"]
SECURE_SSL_REDIRECT = False
INSTALLED_APPS = [*INSTALLED_APPS, "config.admin.apps.ReadOnlyAdminConfig"]
ROOT_URLCONF = "config.admin.urls"
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [Path(__file__).parent / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {"context_processors": ["django.template.context_processors.request"]},
    }
]
# No logins, sessions and messages: nobody signs in and nothing is changed.
SILENCED_SYSTEM_CHECKS = [*SILENCED_SYSTEM_CHECKS, *(f"admin.E{n}" for n in (402, 404, 408, 409, 410))]

# The owner of the tables, who sees all teams; PostgreSQL itself refuses to write, and a long look ends.
_OPTIONS = cast("dict[str, object]", DATABASES["default"]["OPTIONS"])
_READ_ONLY = {**_OPTIONS, "options": "-c default_transaction_read_only=on -c statement_timeout=20s"}
DATABASES = {"default": {**DATABASES["default"], "ROLE": "", "OPTIONS": _READ_ONLY}}
