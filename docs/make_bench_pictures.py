"""Take the pictures of docs/bench-page.md: every screen of the bench page, at three sizes, on the examples."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
DOOR, PANEL, REFIT = "motor-glider/engine-bay-door.toml", "motor-glider/access-panel.toml", "motor-glider/refit.toml"
SIZES = {"laptop": (1366, 768), "tablet": (820, 1180), "phone": (390, 844)}


def main() -> None:
    """Take them all."""
    from playwright.sync_api import sync_playwright

    out = HERE / "bench"
    out.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        root = Path(scratch) / "shop"
        shutil.copytree(HERE.parent / "examples", root)
        command = [sys.executable, "-m", "layup", "bench", str(root), "--no-browser", "--port", "8438"]
        server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert server.stdout is not None
        address = server.stdout.readline().split("bench page: ")[1].strip()
        try:
            with sync_playwright() as driver:
                flags = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader",
                         "--disable-background-networking"]  # fmt: skip
                browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=flags)
                for size, (wide, high) in SIZES.items():
                    page = browser.new_page(viewport={"width": wide, "height": high})
                    page.set_default_timeout(400_000)
                    page.goto(address)
                    take(page, page.url.rstrip("/"), out, size)  # the word the page lies under came with the key
        finally:
            server.terminate()
            server.wait()


def take(page: Any, home: str, out: Path, size: str) -> None:
    """Every screen at one size."""

    def at(name: str, path: str, file: str = "", wait: int = 900) -> None:
        page.goto(home + path + (f"?file={file}" if file else ""))
        if path == "/part":
            page.locator("#stage[data-ready]").wait_for()
        page.wait_for_timeout(wait)
        snap(name)

    def snap(name: str) -> None:
        path = out / f"{name}-{size}.png"
        page.screenshot(path=path)
        smaller(path)
        print(path.name, path.stat().st_size)

    page.goto(home + "/")
    page.locator("html[data-shelf=full]").wait_for(state="attached")
    page.wait_for_timeout(900)
    snap("home")
    at("part", "/part", DOOR, 1500)
    page.locator("details[data-key=ply-2] > summary").click()
    page.locator("details[data-key=ply-2]").scroll_into_view_if_needed()
    page.wait_for_timeout(300)
    snap("plies")
    at("choose", "/choose", PANEL)
    if not page.locator("#passing").count():
        page.locator("#start").click()
    page.locator("#passing").wait_for()
    page.locator("#mark-A").click()
    page.locator("#point-mass").wait_for()
    page.wait_for_timeout(400)
    page.evaluate("scrollTo(0, 0)")
    snap("choose")
    at("prepare", "/prepare", DOOR)
    if not page.locator("#cloth img").count():
        page.locator("#start-cloth").click()
    page.locator("#cloth img").wait_for()
    page.locator("#cloth").scroll_into_view_if_needed()
    page.wait_for_timeout(800)
    page.evaluate("document.querySelector('#cloth').scrollIntoView()")
    snap("cloth")
    at("weigh", "/weigh", DOOR)
    at("refit", "/refit", REFIT, 2500)


def smaller(path: Path) -> None:
    """Keep 256 colours: half the size, and no difference to see."""
    from PIL import Image

    with Image.open(path) as image:
        image.convert("RGB").quantize(256, kmeans=1, dither=Image.Dither.NONE).save(path, optimize=True)


if __name__ == "__main__":
    main()
