"""Settings: one file, from the environment only; works after a clone and refuses nonsense at start."""

from __future__ import annotations

import os
import sys

from django.core.exceptions import ImproperlyConfigured

from deploy import environment

os.umask(0o077)
# Sums here are short: threads of linear algebra would wait for one another, and keep busy processors from readers.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

BASE_DIR = environment.BASE
VAR_DIR = environment.var_folder()
VAR_DIR.mkdir(parents=True, exist_ok=True)

DEBUG = False
PRODUCTION = environment.truth("PRODUCTION")
SECRET_KEY = environment.text("SECRET_KEY")
if not SECRET_KEY:
    if PRODUCTION:
        raise ImproperlyConfigured(
            "SECRET_KEY is not set; give a long random text, or its file as SECRET_KEY_FILE"
        )
    SECRET_KEY = "for this machine alone, until set_up or demo has written one to its local settings"
ALLOWED_HOSTS = environment.words("ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]")
CSRF_TRUSTED_ORIGINS = environment.words("TRUSTED_ORIGINS")

INSTALLED_APPS = [
    "deploy",
    "registry",
    "analytics",
    "casebook",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.humanize",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "allauth",
    "allauth.account",
    "axes",
    "csp",
    "crispy_forms",
    "crispy_bootstrap5",
    "django_htmx",
    "django_tasks",
    "django_tasks_db",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "deploy.middleware.never_stored",
    "deploy.middleware.refusals_in_words",
    "axes.middleware.AxesMiddleware",
]
ROOT_URLCONF = "deploy.urls"
WSGI_APPLICATION = "deploy.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "deploy" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "deploy.frame.frame",
            ]
        },
    }
]

DATABASES = {"default": environment.database(environment.text("DATABASE_URL"), VAR_DIR)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "registry.Person"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]

AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "allauth.account.auth_backends.AuthenticationBackend",
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "home"
ACCOUNT_ADAPTER = "deploy.accounts.ByInvitation"
ACCOUNT_FORMS = {"login": "deploy.forms.SignInForm", "change_password": "deploy.forms.NewPasswordForm"}
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*", "password2*"]
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_LOGOUT_REDIRECT_URL = "account_login"
ACCOUNT_SESSION_REMEMBER = False
# Attempts to sign in are counted by axes alone: allauth's own count would close an address, for everybody, after five.
ACCOUNT_RATE_LIMITS = {"login": None, "login_failed": None}
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_USERNAME_CALLABLE = "deploy.accounts.address_tried"
AXES_LOCKOUT_TEMPLATE = "account/locked.html"
AXES_VERBOSE = False

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'", "data:"],
        "font-src": ["'self'"],
        "connect-src": ["'self'"],
        "form-action": ["'self'"],
        "base-uri": ["'none'"],
        "frame-ancestors": ["'none'"],
    }
}
# Work in the background: by a worker (`manage.py db_worker`), or at once by whoever asks for it.
TASKS_RUN = environment.one_of("TASKS", ("worker", "at_once"), "worker" if PRODUCTION else "at_once")
TASKS = {
    "default": {
        "BACKEND": {
            "worker": "django_tasks_db.DatabaseBackend",
            "at_once": "django_tasks.backends.immediate.ImmediateBackend",
        }[TASKS_RUN]
    }
}

CSRF_FAILURE_VIEW = "deploy.views.csrf_failed"

CRISPY_ALLOWED_TEMPLATE_PACKS = "bootstrap5"
CRISPY_TEMPLATE_PACK = "bootstrap5"

LANGUAGE_CODE = "en-gb"
TIME_ZONE = environment.text("TIME_ZONE", "UTC")
USE_TZ = True
USE_I18N = True

STATIC_URL = "static/"
STATIC_ROOT = VAR_DIR / "static"
STATIC_ROOT.mkdir(exist_ok=True)
WHITENOISE_USE_FINDERS = True

SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = PRODUCTION
SECURE_HSTS_SECONDS = 31_536_000 if PRODUCTION else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = PRODUCTION

WRAPPING_KEYS = environment.text("WRAPPING_KEYS")
CHAIN_KEYS = environment.text("CHAIN_KEYS")
LOOKUP_KEY = environment.text("LOOKUP_KEY")
ERASURES_FILE = environment.text("ERASURES_FILE") or str(VAR_DIR / "erasures.jsonl")

TESTING = "pytest" in sys.modules
