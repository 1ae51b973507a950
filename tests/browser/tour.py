"""Takes the README's pictures: builds the demonstration club afresh, opens it, prints its report.

``python -m tests.browser.tour`` from the project's root.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from tests.browser.conftest import DESK, FLAGS, PHONE, chromium_path

ROOT = Path(__file__).resolve().parents[2]
TOUR = ROOT / "static" / "img" / "tour"
SIGN_IN = {"manager": DESK, "staff": PHONE}
COLOURS = 128


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def _manage(env: dict[str, str], *words: str) -> None:
    subprocess.run([sys.executable, "manage.py", *words], cwd=ROOT, env=env, check=True)


def _signed_in(browser: Browser, address: str, who: str) -> Page:
    page = browser.new_context(
        viewport=SIGN_IN[who],  # type: ignore[arg-type]
        base_url=address,
        device_scale_factor=1,
        reduced_motion="reduce",
    ).new_page()
    page.goto("/sign-in/")
    page.fill("#id_username", f"{who}@ashlodevale.example")
    page.fill("#id_password", "ashlode-demo")
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/c/ashlode-vale/**")
    return page


def _keep(picture: Path) -> None:
    """Fewer colours: the sheets are ink on paper, and a repository keeps every version."""
    with Image.open(picture) as image:
        image.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(
            picture, optimize=True
        )


def _shoot(page: Page, name: str, *, whole: bool = False) -> None:
    page.wait_for_load_state("networkidle")
    target = TOUR / f"{name}.png"
    page.screenshot(path=target, full_page=whole)
    _keep(target)


def _first_link(page: Page, part: str) -> str:
    found = page.locator(f"main a[href*='{part}']").first.get_attribute("href")
    if found is None:
        raise SystemExit(f"no link with {part} on {page.url}")
    return found


def _pages(browser: Browser, address: str, folder: Path) -> None:
    club = "/c/ashlode-vale"
    page = _signed_in(browser, address, "manager")
    page.goto(f"{club}/course/map/")
    page.wait_for_selector(".leaflet-interactive")
    _shoot(page, "map")
    page.goto(f"{club}/course/surveys/new/")
    _bring_in_levels(page, folder)
    _shoot(page, "import")
    page.goto(f"{club}/drainage/")
    _shoot(page, "drainage")
    page.get_by_role("link", name="P1", exact=True).first.click()
    _shoot(page, "reach")
    _drains(page, club, folder)
    page.goto(f"{club}/works/")
    page.get_by_role("link", name="Lay carrier C2–C3").first.click()
    _shoot(page, "estimate")
    _estimates(page, club)
    page.goto(f"{club}/planning/")
    page.wait_for_selector("svg.marks")
    _shoot(page, "plan")
    page.goto(f"{club}/hours/progress/")
    page.wait_for_selector("svg.marks")
    _shoot(page, "progress")
    phone = _signed_in(browser, address, "staff")
    phone.goto(f"{club}/hours/")
    phone.locator("html[data-ready=yes]").wait_for(state="attached")
    phone.locator("#jobs").get_by_role("button", name="Lay carrier C2–C3").click()
    _shoot(phone, "phone")


def _estimates(page: Page, club: str) -> None:
    """What stands behind an estimate, and what came of it."""
    for name, address in (
        ("kind", "works/kinds/as-shipped/carrier_pipe/"),
        ("chance", "works/ranges/"),
        ("years", "works/years/"),
        ("earth", "works/spoil/?winter=2027"),
        ("learnt", "hours/rates/carrier_pipe/"),
        ("given-back", "works/worth/"),
    ):
        page.goto(f"{club}/{address}")
        page.wait_for_load_state("networkidle")
        _shoot(page, name)
    page.goto(f"{club}/works/")
    page.get_by_role("link", name="Lay carrier O3–C7").first.click()
    page.goto(f"{page.url}hands/")
    page.wait_for_load_state("networkidle")
    _shoot(page, "hands")


def _drains(page: Page, club: str, folder: Path) -> None:
    """The sheets of the drainage design, and one of them as it is printed."""
    for name, address in (
        ("water", "course/ground/water/"),
        ("weeks", "planning/drains/"),
        ("rain", "drainage/rain/"),
    ):
        page.goto(f"{club}/{address}")
        _shoot(page, name)
    for name, listed, words in (
        ("storm", "drainage/through/", "100.0 mm in 5 days"),
        ("sizes", "works/sizing/", "All that drains to O2"),
        ("laterals", "drainage/laterals/", "Laterals, 7 fairway"),
        ("built", "drainage/as-built/", "C3–C2"),
    ):
        page.goto(f"{club}/{listed}")
        page.get_by_role("link", name=words).first.click()
        page.wait_for_load_state("networkidle")
        _shoot(page, name)
    page.goto(f"{club}/drainage/")
    page.get_by_role("link", name="C5–C4", exact=True).first.click()
    page.get_by_role("link", name="Long section").first.click()
    page.get_by_role("link", name="Sheets to scale").click()
    page.wait_for_load_state("networkidle")
    sheet = page.locator("main a[href*='.pdf']").first.get_attribute("href")
    if sheet is None:
        raise SystemExit(f"no sheet to print on {page.url}")
    pdf = folder / "section.pdf"
    pdf.write_bytes(page.request.get(sheet).body())
    _first_pages(pdf, folder, ["section"], dots=90)


def _first_pages(pdf: Path, folder: Path, names: list[str], *, dots: int = 80) -> None:
    pdftoppm = shutil.which("pdftoppm") or "pdftoppm"
    stem = folder / pdf.stem
    subprocess.run([pdftoppm, "-r", str(dots), "-png", str(pdf), str(stem)], check=True)
    for name, picture in zip(names, sorted(folder.glob(f"{pdf.stem}-*.png")), strict=False):
        shutil.copyfile(picture, TOUR / f"{name}.png")
        _keep(TOUR / f"{name}.png")


def _bring_in_levels(page: Page, folder: Path) -> None:
    levels = folder / "levels.csv"
    rows = ["easting,northing,level,code"]
    rows += [f"{431300 + 9 * k},{287520 + 4 * (k % 7)},{62 + 0.05 * k:.3f},GL" for k in range(60)]
    rows += ["431300,287520,62.000,GL", "431310,287530,,GL"]
    levels.write_text("\n".join(rows), encoding="utf-8")
    page.set_input_files("input[type=file]", levels)
    page.fill("input[name=name]", "Extra levels by 7 green")
    page.fill("input[name=surveyed_on]", "2026-11-20")
    page.locator("main form button").last.click()
    page.wait_for_selector(".leaflet-container")


def main() -> None:
    TOUR.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="worksprog-tour-") as name:
        folder = Path(name)
        env = os.environ | {
            "DEBUG": "true",
            "VAR_DIR": name,
            "DATABASE_URL": f"sqlite:///{folder / 'tour.sqlite3'}",
        }
        _manage(env, "migrate", "-v0")
        _manage(env, "build_demo")
        port = _free_port()
        server = subprocess.Popen(
            [sys.executable, "manage.py", "runserver", "--noreload", f"127.0.0.1:{port}"],
            cwd=ROOT,
            env=env,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        address = f"http://127.0.0.1:{port}"
        try:
            _wait_for(f"{address}/sign-in/")
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=chromium_path(), args=FLAGS)
                _pages(browser, address, folder)
                browser.close()
        finally:
            server.terminate()
            server.wait(timeout=20)
        pdf = folder / "report.pdf"
        _manage(env, "write_report", "--club", "ashlode-vale", "--number", "1", "--out", str(pdf))
        _first_pages(pdf, folder, ["report-1", "report-2"])


def _wait_for(url: str) -> None:
    for _ in range(120):
        try:
            with urllib.request.urlopen(url, timeout=2):  # noqa: S310 - our own server
                return
        except OSError:
            time.sleep(0.25)
    raise SystemExit(f"the server did not answer at {url}")


if __name__ == "__main__":
    main()
