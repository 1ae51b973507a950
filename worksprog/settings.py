"""All settings, read from the environment (see .env.example)."""

from __future__ import annotations

import os
from hashlib import sha256
from pathlib import Path
from typing import Any

import django_stubs_ext
import environ
from csp.constants import NONCE, NONE, SELF
from django.core.exceptions import ImproperlyConfigured

# Lets forms and managers name their model as their type parameter at run time too.
django_stubs_ext.monkeypatch()

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()
environ.Env.read_env(BASE_DIR / ".env")

DEBUG: bool = env.bool("DEBUG", default=True)
SECRET_KEY: str = env.str(
    "SECRET_KEY", default="for-development-only" if DEBUG else environ.Env.NOTSET
)
if not DEBUG and SECRET_KEY.startswith("change-me"):
    raise ImproperlyConfigured(
        "SECRET_KEY is the one of .env.example, which everybody knows; put a long random text of your "
        "own into .env."
    )
ALLOWED_HOSTS: list[str] = env.list(
    "ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"] if DEBUG else []
)
CSRF_TRUSTED_ORIGINS: list[str] = env.list("CSRF_TRUSTED_ORIGINS", default=[])
VAR_DIR = Path(env.str("VAR_DIR", default=str(BASE_DIR / "var")))
VAR_DIR.mkdir(parents=True, exist_ok=True)


def _mark_of_the_arithmetic() -> str:
    mark = sha256()
    for path in sorted((BASE_DIR / "worksprog" / "calc").rglob("*.py")):
        mark.update(path.read_bytes())
    return mark.hexdigest()[:16]


# What numba compiles is kept where this program may write: its own code may belong to root. Numba
# asks for the age of a kernel's own file only, and a kernel holds others' code and constants too:
# every state of the arithmetic has a folder, that none answers with an older one's.
os.environ.setdefault("NUMBA_CACHE_DIR", str(VAR_DIR / "numba" / _mark_of_the_arithmetic()))

INSTALLED_APPS = [
    "worksprog.runs",
    "worksprog.clubs",
    "worksprog.course",
    "worksprog.drainage",
    "worksprog.works",
    "worksprog.planning",
    "worksprog.hours",
    "worksprog.reports",
    "worksprog.demo",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "axes",
    "csp",
    "leaflet",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.middleware.gzip.GZipMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "csp.middleware.CSPMiddleware",
    "axes.middleware.AxesMiddleware",
    "worksprog.clubs.middleware.own_page_for_nothing_there",
]
ROOT_URLCONF = "worksprog.urls"
WSGI_APPLICATION = "worksprog.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "worksprog.clubs.context.sheet",
            ],
            "builtins": ["worksprog.clubs.templatetags.figures"],
        },
    }
]

# Each club is read and written by a handful of people; SQLite serves that well when every
# transaction takes its write lock at once instead of failing half way.
_SQLITE_OPTIONS: dict[str, Any] = {
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;",
}
DATABASES = {
    "default": env.db("DATABASE_URL", default=f"sqlite:///{VAR_DIR / 'worksprog.sqlite3'}")
}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATABASES["default"]["OPTIONS"] = _SQLITE_OPTIONS
else:
    DATABASES["default"]["CONN_MAX_AGE"] = env.int("CONN_MAX_AGE", default=60)
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "clubs.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign-in"
AXES_USERNAME_FORM_FIELD = "username"  # the form's name for it, not the model's
AXES_FAILURE_LIMIT = env.int("SIGN_IN_TRIES", default=8)
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "clubs/locked_out.html"
AXES_IPWARE_PROXY_COUNT = env.int("PROXY_COUNT", default=0)
AXES_VERBOSE = False
SESSION_COOKIE_AGE = 60 * 60 * 24 * 120  # a phone stays signed in through a winter
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"

LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
USE_I18N = True
USE_TZ = True
USE_THOUSAND_SEPARATOR = False

STATIC_URL = "/static/"
STATICFILES_DIRS = [BASE_DIR / "static"]
STATIC_ROOT = VAR_DIR / "static"
STATIC_ROOT.mkdir(exist_ok=True)
MEDIA_ROOT = Path(env.str("MEDIA_ROOT", default=str(VAR_DIR / "files")))
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if DEBUG
        else "whitenoise.storage.CompressedManifestStaticFilesStorage"
    },
}
WHITENOISE_USE_FINDERS = DEBUG
WHITENOISE_AUTOREFRESH = DEBUG
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000
IMPORT_MAX_BYTES = env.int("IMPORT_MAX_BYTES", default=60 * 1024 * 1024)

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF, NONCE],
        "style-src": [SELF],
        "img-src": [SELF, "data:", "blob:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}
# Only the tags that put the map's own files on the page are used; no tiles unless a club asks.
LEAFLET_CONFIG = {
    "TILES": [],
    "RESET_VIEW": False,
    "PLUGINS": {
        "geoman": {
            "css": "vendor/geoman/leaflet-geoman.css",
            "js": "vendor/geoman/leaflet-geoman.min.js",
            "auto-include": False,
        }
    },
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
if not DEBUG:
    SECURE_REDIRECT_EXEMPT = [r"^healthz$"]
    SECURE_SSL_REDIRECT = env.bool("SECURE_SSL_REDIRECT", default=True)
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_HSTS_SECONDS = env.int("SECURE_HSTS_SECONDS", default=31_536_000)
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SESSION_COOKIE_SECURE = env.bool("COOKIES_SECURE", default=True)
    CSRF_COOKIE_SECURE = env.bool("COOKIES_SECURE", default=True)

EMAIL_CONFIG = env.email_url("EMAIL_URL", default="consolemail://")
vars().update(EMAIL_CONFIG)
DEFAULT_FROM_EMAIL = env.str("DEFAULT_FROM_EMAIL", default="worksprog@localhost")

# Long jobs. The row of a run is the truth (worksprog/runs); the broker only carries its number.
CELERY_BROKER_URL: str = env.str("CELERY_BROKER_URL", default="filesystem://")
CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_MAX_TASKS_PER_CHILD = 20
CELERY_WORKER_SOFT_SHUTDOWN_TIMEOUT = 20
CELERY_WORKER_CANCEL_LONG_RUNNING_TASKS_ON_CONNECTION_LOSS = True
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TASK_SOFT_TIME_LIMIT: int = env.int("RUN_LONGEST_S", default=1800)
CELERY_TASK_TIME_LIMIT = CELERY_TASK_SOFT_TIME_LIMIT + 60
CELERY_TIMEZONE = "UTC"
if CELERY_BROKER_URL.startswith("filesystem"):
    _BROKER = {name: VAR_DIR / "broker" / name for name in ("queue", "control")}
    for _folder in _BROKER.values():
        _folder.mkdir(parents=True, exist_ok=True)
    CELERY_BROKER_TRANSPORT_OPTIONS: dict[str, Any] = {
        "data_folder_in": str(_BROKER["queue"]),
        "data_folder_out": str(_BROKER["queue"]),
        "control_folder": str(_BROKER["control"]),
        "polling_interval": 0.25,
    }
    # It would write a file for every word between workers, and there is one worker.
    CELERY_WORKER_ENABLE_REMOTE_CONTROL = False
else:
    # Longer than the longest job: else Redis hands a second copy out while the first is at work.
    CELERY_BROKER_TRANSPORT_OPTIONS = {"visibility_timeout": 2 * CELERY_TASK_TIME_LIMIT}
RUN_ATTEMPTS = 3
RUN_STALE_AFTER_S: float = env.float("RUN_STALE_AFTER_S", default=60)
RUN_SWEEP_EVERY_S: float = env.float("RUN_SWEEP_EVERY_S", default=60)

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": env.str("LOG_LEVEL", default="WARNING")},
}
