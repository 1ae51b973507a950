"""What a page for the field needs to stand up without a signal, and the script that keeps it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles import finders
from django.http import HttpResponse
from django.templatetags.static import static

QUEUE = "js/phone-queue.js"
_WORKER = "js/phone-worker.js"
_FONTS = "vendor/fonts/"
FACES = (
    f"{_FONTS}ibm-plex-sans-latin-400-normal.woff2",
    f"{_FONTS}ibm-plex-sans-latin-600-normal.woff2",
    f"{_FONTS}ibm-plex-mono-latin-500-normal.woff2",
    f"{_FONTS}source-serif-4-latin-600-normal.woff2",
)


def worker_script(page: str, shell: Sequence[str]) -> HttpResponse:
    """The worker of a page: it begins with what to keep, and a mark of it.

    When any of that changes, so does the script, and the phone fetches all of it anew.
    """
    found = {path: finders.find(path) for path in (_WORKER, QUEUE, *shell, *FACES)}
    files = {path: Path(where) for path, where in found.items() if isinstance(where, str)}
    mark = hashlib.sha256()
    for path, where in sorted(files.items()):
        mark.update(f"{path} {static(path)} {where.stat().st_mtime_ns}".encode())
    keep = {
        "version": mark.hexdigest()[:16],
        "page": page,
        # A script that imports another names it as it lies, not by its hashed name.
        "shell": [*(static(path) for path in shell), f"{settings.STATIC_URL}{QUEUE}"],
        "faces": [static(path) for path in FACES if path in files],
    }
    script = files[_WORKER].read_text(encoding="utf-8")
    return HttpResponse(
        f"const KEEP = {json.dumps(keep)};\n{script}", content_type="text/javascript; charset=utf-8"
    )
