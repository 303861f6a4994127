"""Django settings from the environment; unset means production, which refuses to start insecurely."""

import hashlib
from typing import Any

from portal import databases, env

BASE_DIR = env.BASE_DIR
IS_PRODUCTION = env.MODE == "production"
# Demo and test run on this machine only; their key protects nothing.
SECRET_KEY = env.SECRET_KEY or hashlib.sha256(b"witness mark, demonstration key").hexdigest()
DEBUG = False
ALLOWED_HOSTS = env.ALLOWED_HOSTS or ["127.0.0.1", "localhost", "testserver"]

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "jobs",
    "portal",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "portal.middleware.RequestIdMiddleware",
    "portal.middleware.ApiProblemMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]
ROOT_URLCONF = "portal.urls"
WSGI_APPLICATION = "portal.wsgi.application"
APPEND_SLASH = False
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "portal" / "templates", BASE_DIR / "jobs" / "packets" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]


def _database() -> dict[str, Any]:
    if env.DATABASE_URL:
        return databases.from_url(env.DATABASE_URL)
    env.data_dir().mkdir(parents=True, exist_ok=True)
    return {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": env.data_dir() / "record.sqlite3",
        # A file in tests too: in memory, threads share one cache and fail at once instead of queueing.
        "TEST": {"NAME": env.data_dir() / "test-record.sqlite3"},
        "OPTIONS": {
            # Writers queue for the lock instead of failing half way: IMMEDIATE takes it at the start.
            "transaction_mode": "IMMEDIATE",
            "timeout": 20,
            # recursive_triggers: INSERT OR REPLACE would otherwise delete a guarded row without its guard.
            "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON; "
            "PRAGMA recursive_triggers=ON;",
        },
    }


DATABASES = {"default": _database()}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
AUTH_USER_MODEL = "jobs.Person"
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
if env.MODE == "test":
    # A hash that is slow on purpose would only make tests slow; nobody's secret is in them.
    PASSWORD_HASHERS.insert(0, "django.contrib.auth.hashers.MD5PasswordHasher")
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "/sign-in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "/sign-in"

LANGUAGE_CODE = "en"
TIME_ZONE = "UTC"
USE_I18N = True
USE_TZ = True

STATIC_URL = "/static/"
STATIC_ROOT = env.data_dir() / "static"
STATICFILES_DIRS = [BASE_DIR / "portal" / "static"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True
# Evidence and packets: content-addressed files under this folder, never served by their path.
MEDIA_ROOT = env.data_dir() / "stored"
EVIDENCE_ROOT = env.data_dir() / "stored"
MAX_UPLOAD_BYTES = env.MAX_UPLOAD_BYTES
MAX_BODY_BYTES = env.MAX_BODY_BYTES
DATA_UPLOAD_MAX_MEMORY_SIZE = env.MAX_BODY_BYTES
FILE_UPLOAD_PERMISSIONS = 0o600

SESSION_COOKIE_NAME = "__Host-session" if IS_PRODUCTION else "wm_session"
CSRF_COOKIE_NAME = "__Host-csrf" if IS_PRODUCTION else "wm_csrf"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = not env.INSECURE_HTTP
SESSION_COOKIE_HTTPONLY = True
CSRF_FAILURE_VIEW = "portal.web.failures.form_not_taken"
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 12 * 3600
SECURE_SSL_REDIRECT = IS_PRODUCTION
SECURE_HSTS_SECONDS = 31_536_000 if IS_PRODUCTION else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = IS_PRODUCTION
# Not "no-referrer": browsers then send `Origin: null` with forms, which the CSRF check refuses.
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CONTENT_TYPE_NOSNIFF = True
X_FRAME_OPTIONS = "DENY"
if env.TRUSTED_PROXIES:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'", "data:", "blob:"],
        "font-src": ["'self'"],
        "connect-src": ["'self'"],
        "manifest-src": ["'self'"],
        "form-action": ["'self'"],
        "base-uri": ["'none'"],
        "object-src": ["'none'"],
        "frame-ancestors": ["'none'"],
    }
}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["portal.authentication.TokenAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["portal.permissions.ScopePermission"],
    "DEFAULT_PARSER_CLASSES": ["portal.parsers.StrictJsonParser"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PAGINATION_CLASS": "portal.paging.KeysetPagination",
    "DEFAULT_SCHEMA_CLASS": "portal.schema.ProblemAutoSchema",
    "EXCEPTION_HANDLER": "portal.errors.problem_response",
    "PAGE_SIZE": 50,
    "UNAUTHENTICATED_USER": None,
    "DATETIME_FORMAT": "iso-8601",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Witness Mark",
    "VERSION": "1",
    "OAS_VERSION": "3.1.1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PUBLIC": True,
    "SERVE_PERMISSIONS": ["rest_framework.permissions.AllowAny"],
    "SERVE_AUTHENTICATION": [],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "COMPONENT_SPLIT_REQUEST": True,
}

WM_MODE = env.MODE
WM_BROKER_URL = env.BROKER_URL
WM_DEMO_CLOCK_FILE = env.DEMO_CLOCK_FILE
WM_DATA_DIR = str(env.data_dir())
WM_LEASE_SECONDS = env.LEASE_SECONDS
WM_FAILPOINT = env.FAILPOINT
# Where no mail server is named, a demonstration writes its mails as files, and production sends none.
EMAIL_BACKEND = (
    "django.core.mail.backends.smtp.EmailBackend"
    if env.MAIL_HOST
    else "django.core.mail.backends.filebased.EmailBackend"
)
EMAIL_FILE_PATH = env.data_dir() / "mail"
EMAIL_HOST, EMAIL_PORT = env.MAIL_HOST, env.MAIL_PORT
EMAIL_HOST_USER, EMAIL_HOST_PASSWORD = env.MAIL_USER, env.MAIL_PASSWORD
EMAIL_USE_TLS, EMAIL_TIMEOUT = env.MAIL_TLS, 20
DEFAULT_FROM_EMAIL = SERVER_EMAIL = env.MAIL_FROM or "portal@localhost"
WM_MAIL_IS_SET = bool(env.MAIL_HOST) or not IS_PRODUCTION
WM_PUBLIC_ADDRESS = env.PUBLIC_ADDRESS
WM_SIGNING_DIR = env.SIGNING_DIR or str(env.data_dir() / "keys")
WM_SIGNING_SECRETS_DIR = env.SIGNING_SECRETS_DIR
WM_PKCS11_MODULE = env.PKCS11_MODULE
WM_TSA_URL = env.TSA_URL
WM_TSA_CERTIFICATE = env.TSA_CERTIFICATE
WM_TSA_TIMEOUT_S = env.TSA_TIMEOUT_S
WM_TSA_NETWORKS = env.TSA_NETWORKS

CELERY_BROKER_URL = env.BROKER_URL or None
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_TIME_LIMIT = 300
CELERY_TASK_SOFT_TIME_LIMIT = 240
CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_ENABLE_UTC = True
CELERY_TIMEZONE = "UTC"
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_CONNECTION_MAX_RETRIES = None
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": 900,
    "unacked_restore_interval": 5,
    "unacked_restore_throttle": 1,
    "socket_timeout": 15,
    "socket_connect_timeout": 5,
    "socket_keepalive": True,
    "health_check_interval": 15,
}
CELERY_WORKER_MAX_TASKS_PER_CHILD = 200
CELERY_WORKER_HIJACK_ROOT_LOGGER = False

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {
            "()": "portal.log_lines.LinkFreeFormatter",
            "format": "{asctime} {levelname} {name} {message}",
            "style": "{",
        }
    },
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
    "loggers": {
        "django.server": {"handlers": ["stderr"], "level": "INFO", "propagate": False},
        "pikepdf": {"level": "WARNING"},
        "fontTools": {"level": "WARNING"},
    },
    "root": {"handlers": ["stderr"], "level": env.LOG_LEVEL},
}
