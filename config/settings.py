"""Every setting, read once from the environment."""

import os
import re
from pathlib import Path

import dj_database_url
from django.core.exceptions import ImproperlyConfigured

from config.cell_settings import cell_settings
from config.logs import log_settings
from config.mail import mail_settings
from config.quotas import quota_settings

BASE_DIR = Path(__file__).resolve().parent.parent
LEAFSPAN_HOME = Path(os.environ.get("LEAFSPAN_HOME") or BASE_DIR / ".leafspan")

REDIS_URL = os.environ.get("REDIS_URL") or "redis://127.0.0.1:6379/0"
# The role that web and timetable act as in each transaction; the worker acts as another, see `teams.row_security`. Both
# own nothing and are bound by row-level security. What looks after the whole installation is the owner that signs in.
DATABASE_ROLE = os.environ.get("LEAFSPAN_DATABASE_ROLE") or "leafspan_app"
if not re.fullmatch("[a-z_][a-z0-9_]{0,49}", DATABASE_ROLE):
    raise ImproperlyConfigured("LEAFSPAN_DATABASE_ROLE must be of lower-case letters, digits and _")
_database = dj_database_url.parse(
    os.environ.get("DATABASE_URL") or "postgresql://", "teams.postgresql", conn_max_age=60, conn_health_checks=True
)
_POOLED = os.environ.get("LEAFSPAN_TRANSACTION_POOLER") == "1"
DATABASES = {
    "default": {
        **_database,
        "NAME": _database["NAME"] or "leafspan",
        "ROLE": DATABASE_ROLE,
        # Behind a pooler that gives each transaction another connection, no cursor or plan outlives its transaction.
        "DISABLE_SERVER_SIDE_CURSORS": _POOLED,
        "OPTIONS": {**_database.get("OPTIONS", {}), "prepare_threshold": None if _POOLED else 1},
    }
}
# A copy that streaming replication keeps; it answers what `teams.replica` lets it.
DATABASE_REPLICA_URL = os.environ.get("DATABASE_REPLICA_URL", "")
# Whole installations side by side: docs/growth.md.
CELL: str
CELLS: dict[str, str]
CELL, CELLS = cell_settings(os.environ)
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# A key made up per process is safe, but signs browsers out on restart: `make run` keeps one under LEAFSPAN_HOME.
SECRET_KEY = os.environ.get("LEAFSPAN_SECRET_KEY") or os.urandom(32).hex()
DEBUG = os.environ.get("LEAFSPAN_DEBUG") == "1"
ALLOWED_HOSTS = os.environ.get("LEAFSPAN_HOSTS", "localhost,127.0.0.1,[::1],testserver").split(",")

# Behind a TLS proxy that sets X-Forwarded-Proto: LEAFSPAN_TLS=1 keeps cookies and pages on https.
if os.environ.get("LEAFSPAN_TLS") == "1":
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_SSL_REDIRECT = SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = LANGUAGE_COOKIE_SECURE = True
    SECURE_HSTS_SECONDS = 31_536_000
    SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = os.environ.get("LEAFSPAN_HSTS_SUBDOMAINS") == "1"

# Opens the page on which the first team of this server is made, while there is none.
START_CODE = os.environ.get("LEAFSPAN_START_CODE", "")
# What the link holds that `manage.py admin` prints; whoever has it may look.
ADMIN_CODE = os.environ.get("LEAFSPAN_ADMIN_CODE", "")
# Where people reach the server, for links in mail: https://tea.example. Without it a link begins as the request did.
SITE_URL = os.environ.get("LEAFSPAN_URL", "").rstrip("/")
globals().update(mail_settings(os.environ.get("LEAFSPAN_MAIL", "")))
DEFAULT_FROM_EMAIL = os.environ.get("LEAFSPAN_MAIL_FROM") or "leafspan@localhost"

# Who may read /metrics from another machine; see api/operations/metrics.py. A server inside a private network
# fetches it by plain http.
METRICS_TOKEN = os.environ.get("LEAFSPAN_METRICS_TOKEN", "")
SECURE_REDIRECT_EXEMPT = [r"^metrics$"]

# How many proxies of ours stand before the web server, each adding to X-Forwarded-For the address that spoke to it.
# None: that header is not looked at, since anyone may send it.
TRUSTED_PROXIES = int(os.environ.get("LEAFSPAN_PROXIES") or 0)

# Pages of other sites whose scripts may use the API: https://app.example,https://other.example. None by default. They
# send a token; the session of a browser stays with our own pages.
CORS_ALLOWED_ORIGINS = [origin for origin in os.environ.get("LEAFSPAN_CORS_ORIGINS", "").split(",") if origin]
CORS_URLS_REGEX = r"^/api/"
CORS_ALLOW_METHODS = ["GET", "POST", "PUT", "PATCH", "DELETE", "HEAD", "OPTIONS"]
CORS_ALLOW_HEADERS = [
    "accept", "accept-language", "authorization", "content-type", "content-encoding", "idempotency-key", "if-match",
    "if-none-match", "upload-offset", "x-request-id",
]  # fmt: skip
CORS_EXPOSE_HEADERS = [
    "ETag", "Location", "RateLimit", "RateLimit-Policy", "Retry-After", "Upload-Offset", "X-Request-ID",
]  # fmt: skip

INSTALLED_APPS = [
    "config",
    "teams",
    "lots",
    "tastings",
    "pages",
    "table",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.postgres",
    "django.contrib.staticfiles",
    "corsheaders",
    "rest_framework",
    "drf_spectacular",
]
MIDDLEWARE = [
    "api.http.requests.Requests",
    "api.http.headers.SecurityHeadersMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "api.http.compression.CompressText",
    "corsheaders.middleware.CorsMiddleware",
    "api.http.throttles.RateLimitHeaders",
    "api.http.row_security.ActForNobody",
    "api.http.cells.NamesOtherCells",
    "api.http.static_files.StaticFiles",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "api.http.languages.LanguageMiddleware",
    "pages.later.RequestLimit",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "api.http.idempotency.IdempotencyKeys",
]
ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
ASGI_APPLICATION = "config.asgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
            ]
        },
    }
]
STATIC_URL = "/static/"
WHITENOISE_USE_FINDERS = True

AUTH_USER_MODEL = "teams.User"
SILENCED_SYSTEM_CHECKS = [
    "auth.W004",  # names are unique, without regard to case: stricter than the check can see
    "security.W005",  # which other hosts lie below ours, and whether they speak https, only their owner knows:
    "security.W021",  # LEAFSPAN_HSTS_SUBDOMAINS=1 says so
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in ("MinimumLengthValidator", "CommonPasswordValidator", "UserAttributeSimilarityValidator")
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "lots-page"
LOGOUT_REDIRECT_URL = "sign-in"
# A device's token ends after so many days without use; however much it is used, it ends after the second number.
DEVICE_TOKEN_DAYS = int(os.environ.get("LEAFSPAN_TOKEN_DAYS") or 180)
DEVICE_TOKEN_MAX_DAYS = int(os.environ.get("LEAFSPAN_TOKEN_MAX_DAYS") or 730)
SESSION_ENGINE = "teams.sessions"
AUTHENTICATION_BACKENDS = ["teams.backends.LoginBackend"]
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "pages.failures.csrf_failure"
# Twenty a second for a whole minute from all devices of one login: phones that send photos in pieces stay far below.
API_REQUESTS_PER_MINUTE = int(os.environ.get("LEAFSPAN_REQUESTS_PER_MINUTE") or 1200)

# Per team and per member; what they count is in config/quotas.py and docs/running.md.
QUOTAS = quota_settings(os.environ)

LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("de", "Deutsch")]
LANGUAGE_COOKIE_AGE = 365 * 24 * 60 * 60
LANGUAGE_COOKIE_SAMESITE = "Lax"
LANGUAGE_COOKIE_HTTPONLY = True
FORMAT_MODULE_PATH = "config.formats"  # the catalogues themselves are in config/locale
TIME_ZONE = "UTC"
USE_TZ = True

# A synced session is at most 2 MiB unpacked; the view refuses more, Django's own limit only has to stand above it.
DATA_UPLOAD_MAX_MEMORY_SIZE = 4 * 1024 * 1024

# Web and worker share this folder. Pieces are refused while less than the second figure would stay free on its disk,
# since the database may lie on the same one.
PHOTOS_DIR = Path(os.environ.get("LEAFSPAN_PHOTOS") or LEAFSPAN_HOME / "photos")
PHOTOS_LEAVE_FREE_BYTES = 256 * 1024 * 1024
# Instead of the folder: s3://bucket/prefix; endpoint and keys are the AWS_ variables of the environment.
PHOTO_BUCKET = os.environ.get("LEAFSPAN_PHOTO_BUCKET", "")

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["api.http.auth.BearerAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["api.http.parsing.StrictJSONParser"],
    "DEFAULT_SCHEMA_CLASS": "api.http.document.OperationSchema",
    "DEFAULT_THROTTLE_CLASSES": ["api.http.throttles.PerLogin"],
    "EXCEPTION_HANDLER": "api.http.problems.exception_handler",
    "URL_FORMAT_OVERRIDE": None,  # a parameter of ours is one that the OpenAPI document names
    "UNICODE_JSON": True,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Leafspan",
    "DESCRIPTION": (
        "Tasting notes from the table, and how a lot's flavour develops over infusions."
        " How to build a client: `/api/v1/docs/client`."
    ),
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVERS": [{"url": SITE_URL or "/", "description": "this server"}],
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "pages.document.add_documents",
        "api.http.document.complete_document",
    ],
    "SERVE_INCLUDE_SCHEMA": False,
    "COMPONENT_SPLIT_REQUEST": True,
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    "ENUM_NAME_OVERRIDES": {
        "InvitationState": ["open", "used", "revoked", "expired"],
        "LotKind": "lots.schemas.KINDS",
        "CannotTell": ["cannot_tell"],
        "FlightState": ["set_up", "tasting", "revealed", "decided", "called_off"],
        "PulledPhotoState": ["waiting", "kept", "refused"],
        "PictureRefusal": ["wrong_hash", "not_an_image", "too_many_pixels", "broken_image"],
    },
}

CELERY_BROKER_URL = REDIS_URL
CELERY_TASK_QUEUES: dict[str, dict[str, str]] = {"fresh": {}, "steady": {}}  # tastings/queues.py
CELERY_TASK_DEFAULT_QUEUE = "fresh"
CELERY_TASK_ROUTES = {
    name: {"queue": "steady"}
    for name in (
        "tastings.refresh_panel", "tastings.check_photo", "tastings.check_logo", "tastings.prune",
        "tastings.tidy_photos", "tastings.tidy_papers", "teams.tidy",
    )
}  # fmt: skip
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_WORKER_CANCEL_LONG_RUNNING_TASKS_ON_CONNECTION_LOSS = True
# A note must never wait for the broker: one quick try, and the timetable finds what was not asked for.
CELERY_TASK_PUBLISH_RETRY = False
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "queue_order_strategy": "sorted",  # fresh before steady
    "max_retries": 0,
    "socket_connect_timeout": 1,
    "socket_timeout": 5,
    "visibility_timeout": 300,
    "unacked_restore_interval": 2,
    "unacked_restore_throttle": 1,
}
CELERY_BEAT_SCHEDULE = {
    "refresh what is due": {"task": "tastings.refresh_due", "schedule": 10.0},
    "check photos whose job was lost": {"task": "tastings.due_photos", "schedule": 30.0},
    "tidy photos": {"task": "tastings.tidy_photos", "schedule": 86_400.0},
    "tidy documents": {"task": "tastings.tidy_papers", "schedule": 86_400.0},
    "mail links whose job was lost": {"task": "teams.due_resets", "schedule": 60.0},
    "delete expired data of people": {"task": "teams.tidy", "schedule": 86_400.0},
    "forget old deletions": {"task": "tastings.prune", "schedule": 86_400.0},
}

LOGGING = log_settings(os.environ.get("LEAFSPAN_LOGS", ""))
