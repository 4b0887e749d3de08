"""Django settings: read from the workspace, never written by hand.

Two variables decide: ``CROSSFALL_WORKSPACE`` (the folder) and ``CROSSFALL_DATABASE_URL`` (a
PostgreSQL server instead of the folder's SQLite file). Without a workspace the store lives in
memory, which is what tests want. ``CROSSFALL_HOSTS`` and ``CROSSFALL_TLS`` are for an office
server behind TLS.
"""

from __future__ import annotations

import os
from pathlib import Path

from crossfall.errors import WorkspaceError
from crossfall_app.workspace import (
    Config,
    current_workspace,
    database_settings,
    secret_key,
    workspace_from_environment,
)

_HERE = Path(__file__).resolve().parent
_PATH = workspace_from_environment()
try:
    _CONFIG = current_workspace().config
except WorkspaceError:
    # The command that opened the workspace has said so already, in one sentence
    _CONFIG = Config()
_HAS_TLS = os.environ.get("CROSSFALL_TLS", "") == "1"


def _has_hash_in_name(path: str, url: str) -> bool:
    """The build names its files by their content, so a browser may keep them for good."""
    return "/built/" in url and not url.endswith("/manifest.json")


DEBUG = False
SECRET_KEY = secret_key(_PATH)
ALLOWED_HOSTS = ["localhost", "127.0.0.1", "[::1]"] + [
    host.strip() for host in os.environ.get("CROSSFALL_HOSTS", "").split(",") if host.strip()
]

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "axes",
    "crossfall_app.store",
    "crossfall_app.web",
    "crossfall_app.field",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "crossfall_app.web.guard.SecurityHeaders",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "crossfall_app.web.guard.SignInFirst",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "crossfall_app.web.guard.RoleFirst",
    "axes.middleware.AxesMiddleware",
    "crossfall_app.web.guard.OwnChangesFirst",
]
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
# Five wrong passwords shut an account's door for a quarter of an hour, wherever they came from:
# behind an office's proxy all computers have one address. A one-time link opens it at any time.
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = 0.25
AXES_LOCKOUT_PARAMETERS = ["username"]
SILENCED_SYSTEM_CHECKS = ["axes.W006"]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_CALLABLE = "crossfall_app.web.views.door.shut"
AXES_DISABLE_ACCESS_LOG = True
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [_HERE / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ]
        },
    }
]
ROOT_URLCONF = "crossfall_app.urls"
WSGI_APPLICATION = "crossfall_app.wsgi.application"
CSRF_FAILURE_VIEW = "crossfall_app.web.views.errors.forged"
DATABASES = {"default": database_settings(_PATH)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

STATIC_URL = "static/"
STATICFILES_DIRS = [_HERE / "static"] if (_HERE / "static").is_dir() else []
# Served from where they lie: a workspace holds no copies of the program's own files
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = False
WHITENOISE_IMMUTABLE_FILE_TEST = _has_hash_in_name
WHITENOISE_MIMETYPES = {".mjs": "text/javascript", ".geojson": "application/geo+json"}
MEDIA_ROOT = str(_PATH / "photos") if _PATH else ""

LANGUAGE_CODE = _CONFIG.language
TIME_ZONE = _CONFIG.time_zone
USE_I18N = True
USE_TZ = True
# What is typed; photos are files, which the server's own ceiling and the entry policy bound
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_500_000
FILE_UPLOAD_MAX_MEMORY_SIZE = 2_500_000
DATA_UPLOAD_MAX_NUMBER_FILES = 100

CROSSFALL_UNITS = _CONFIG.units
CROSSFALL_CURRENCY = _CONFIG.currency
CROSSFALL_ADDRESS = _CONFIG.address

SESSION_COOKIE_NAME = "crossfall_session"
# One working day: who leaves a computer open in the evening has to come in again
SESSION_COOKIE_AGE = 12 * 3600
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = _HAS_TLS
CSRF_COOKIE_SECURE = _HAS_TLS
CSRF_TRUSTED_ORIGINS = [f"https://{host}" for host in ALLOWED_HOSTS if _HAS_TLS]
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if _HAS_TLS else None
SECURE_HSTS_SECONDS = 31_536_000 if _HAS_TLS else 0
SECURE_CONTENT_TYPE_NOSNIFF = True
X_FRAME_OPTIONS = "DENY"
