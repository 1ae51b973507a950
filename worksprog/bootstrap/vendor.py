"""Front-end packages: from the npm lock file to static/vendor, and the charts' bundle beside them."""

from __future__ import annotations

import shutil
from pathlib import Path

from worksprog.bootstrap.node import ensure_node_packages
from worksprog.bootstrap.places import NODE_MODULES, PYTHON, ROOT, VENDOR, digest_of, is_stamped
from worksprog.bootstrap.saying import Stopped, run_step, say

FACES = {
    "source-serif-4": ("400-normal", "400-italic", "600-normal", "700-normal"),
    "ibm-plex-sans": ("400-normal", "400-italic", "500-normal", "600-normal", "700-normal"),
    "ibm-plex-mono": ("400-normal", "500-normal", "600-normal"),
}
SUBSETS = ("latin", "latin-ext")

FILES = {
    "htmx.org/dist/htmx.min.js": "htmx/htmx.min.js",
    "htmx.org/LICENSE": "htmx/LICENSE",
    "leaflet/dist/leaflet.js": "leaflet/leaflet.js",
    "leaflet/dist/leaflet.css": "leaflet/leaflet.css",
    "leaflet/LICENSE": "leaflet/LICENSE",
    "@geoman-io/leaflet-geoman-free/dist/leaflet-geoman.min.js": "geoman/leaflet-geoman.min.js",
    "@geoman-io/leaflet-geoman-free/dist/leaflet-geoman.css": "geoman/leaflet-geoman.css",
    "@geoman-io/leaflet-geoman-free/LICENSE": "geoman/LICENSE",
}
FOLDERS = {"leaflet/dist/images": "leaflet/images"}


def font_files() -> dict[str, str]:
    """Package file to its place under static/vendor, for every face, subset and weight we use."""
    pairs: dict[str, str] = {}
    for face, weights in FACES.items():
        pairs[f"@fontsource/{face}/LICENSE"] = f"fonts/{face}-LICENSE"
        for subset in SUBSETS:
            for weight in weights:
                name = f"{face}-{subset}-{weight}.woff2"
                pairs[f"@fontsource/{face}/files/{name}"] = f"fonts/{name}"
    return pairs


def _copy(source: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    if source.suffix not in {".js", ".css"}:
        shutil.copyfile(source, target)
        return
    # A pointer to a source map that is not served would break the hashed file names of a deployment.
    text = source.read_text(encoding="utf-8")
    lines = [line for line in text.splitlines(keepends=True) if "# sourceMappingURL=" not in line]
    target.write_text("".join(lines), encoding="utf-8")


def ensure_vendor() -> None:
    """Fill static/vendor when the lock files or this list changed since it was last filled."""
    ensure_node_packages()
    stamp = VENDOR / ".stamp"
    here = Path(__file__)
    digest = digest_of(
        ROOT / "package-lock.json", ROOT / "requirements.txt", here, here.with_name("inside.py")
    )
    if is_stamped(stamp, digest):
        return
    say("Laying out fonts, map and chart libraries in static/vendor …")
    shutil.rmtree(VENDOR, ignore_errors=True)
    for source, target in {**FILES, **font_files()}.items():
        path = NODE_MODULES / source
        if not path.is_file():
            raise Stopped(
                f"The package file {source} is not in node_modules; package.json and "
                "worksprog/bootstrap/vendor.py do not agree."
            )
        _copy(path, VENDOR / target)
    for source, target in FOLDERS.items():
        shutil.copytree(NODE_MODULES / source, VENDOR / target)
    run_step(
        [PYTHON, "-m", "worksprog.bootstrap.inside", "bundle", VENDOR],
        what="Making the chart library's bundle",
        log="bundle",
    )
    stamp.write_text(digest, encoding="ascii")
