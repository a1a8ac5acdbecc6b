"""Settings: one file, everything an installation may change comes from its environment.

FAIRBOX_DATA    folder that holds the database, the secret key and the last address; where not set, .data in a
                checkout, the user's folder for data in an installation
FAIRBOX_DEBUG   1 for development only; never at a field
FAIRBOX_HOSTS   comma-separated host names; `serve` sets it to the addresses it listens on
FAIRBOX_HTTPS   1 where a proxy terminates TLS: secure cookies, HSTS and the redirect are switched on
DATABASE_URL    postgres://… ; without it SQLite inside FAIRBOX_DATA
"""

import os
import time
from contextlib import suppress
from pathlib import Path

import dj_database_url
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured
from django.core.management.utils import get_random_secret_key

from contest.config import installation

BASE_DIR = installation.BASE_DIR
DATA_DIR = installation.data_folder()


def kept_secret(path: Path) -> str:
    """The installation's secret key: made once and kept beside the data, since passes derive from it."""
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        with suppress(FileExistsError), open(path, "x", opener=_for_the_owner) as file:
            file.write(get_random_secret_key())
    for _ in range(100):
        if key := path.read_text().strip():
            return key
        time.sleep(0.02)  # another process was first and is just writing it
    raise ImproperlyConfigured(f"{path} is empty. Put the key of the last backup into it, or delete it for a new one.")


def _for_the_owner(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


SECRET_KEY = os.environ.get("FAIRBOX_SECRET_KEY") or kept_secret(DATA_DIR / "secret.key")
DEBUG = os.environ.get("FAIRBOX_DEBUG") == "1"
HTTPS = os.environ.get("FAIRBOX_HTTPS") == "1"
ALLOWED_HOSTS = os.environ.get("FAIRBOX_HOSTS", "localhost,127.0.0.1,[::1]").split(",")

INSTALLED_APPS = [
    "contest.apps.ContestConfig",
    "judging.apps.JudgingConfig",
    "reports.apps.ReportsConfig",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_htmx",
    "django_tables2",
    "django_tasks_db",
    "axes",
    "csp",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",  # before the static files, so that these carry the policy too
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "contest.access.ViewerMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "contest.config.urls"
WSGI_APPLICATION = "contest.config.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "OPTIONS": {
            "loaders": [("django.template.loaders.cached.Loader", ["contest.config.templates.Loader"])],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "contest.access.viewer_context",
            ],
        },
    },
]

# Cards must survive a pulled plug, and two writers must queue instead of failing:
# WAL with IMMEDIATE transactions and synchronous=FULL.
SQLITE_OPTIONS = {
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;",
}
# Connections are kept: where the last one closes after an answer, SQLite writes its log back and removes it, and at
# 66 cards a second that took forty times as long as the cards.
DATABASES = {
    "default": dj_database_url.config(
        default=f"sqlite:///{DATA_DIR / 'fairbox.sqlite3'}", conn_max_age=600, conn_health_checks=True
    )
}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["OPTIONS"] = SQLITE_OPTIONS
    # Tests use a file as well: threads of the live server and WAL need a real one.
    DATABASES["default"]["TEST"] = {"NAME": str(DATA_DIR / "test.sqlite3")}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "contest.Account"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "contest.forms.entrance.NoKnownWords"},
]
LOGIN_URL = "contest:sign_in"
LOGIN_REDIRECT_URL = "contest:home"
# A whole field sits behind one address: lock the pair of name and address, never the address alone.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25  # hours
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "contest/locked_out.html"
AXES_VERBOSE = False

TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend", "QUEUES": ["default"]}}

LANGUAGE_CODE = "en"
USE_I18N = False  # English only for now; dates are written by our own filters in the contest's zone
USE_TZ = True
TIME_ZONE = "UTC"
FORM_RENDERER = "django.forms.renderers.DjangoTemplates"

STATIC_URL = "static/"
STATIC_ROOT = os.environ.get("FAIRBOX_STATIC")  # only for collectstatic behind another web server
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True  # a laptop at a field has no deployment step
DATA_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
DJANGO_TABLES2_TEMPLATE = "contest/_ledger_table.html"

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "object-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "connect-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
        "manifest-src": [SELF],
    }
}
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CONTENT_TYPE_NOSNIFF = True
X_FRAME_OPTIONS = "DENY"
SESSION_COOKIE_HTTPONLY = True
CSRF_COOKIE_HTTPONLY = True  # forms carry the token; no script reads it
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"  # what is said to somebody is no cookie
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
if HTTPS:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_SSL_REDIRECT = True
    SECURE_REDIRECT_EXEMPT = [r"^api/"]  # a phone's token sent in the open is refused, not led on
    # A year. At a field the site is called by a number address, to which HSTS never applies, so that a host which was
    # promised to HTTPS is not missed there.
    SECURE_HSTS_SECONDS = 60 * 60 * 24 * 365
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True
    # With this prefix a browser takes the cookie from this host alone, over HTTPS, for the whole of it.
    SESSION_COOKIE_NAME = "__Host-sessionid"
    CSRF_COOKIE_NAME = "__Host-csrftoken"
    CSRF_TRUSTED_ORIGINS = [f"https://{host}" for host in ALLOWED_HOSTS if host]

SILENCED_SYSTEM_CHECKS = [
    # A laptop at a field serves plain HTTP on its own network; FAIRBOX_HTTPS=1 switches these on.
    "security.W004",  # SECURE_HSTS_SECONDS
    "security.W008",  # SECURE_SSL_REDIRECT
    "security.W012",  # SESSION_COOKIE_SECURE
    "security.W016",  # CSRF_COOKIE_SECURE
    # HSTS covers the contest's host alone: whoever owns the domain decides for its other hosts.
    "security.W005",  # SECURE_HSTS_INCLUDE_SUBDOMAINS
    "security.W021",  # SECURE_HSTS_PRELOAD
]

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"plain": {"()": "contest.config.logs.Plain"}},
    "formatters": {"plain": {"()": "contest.config.logs.InUtc", "format": "{asctime}Z {levelname} {name}: {message}"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "plain", "filters": ["plain"]}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {"contest.entrance": {"level": "INFO"}},  # who came in, and who was turned away
}
