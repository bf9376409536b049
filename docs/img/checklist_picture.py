"""Make the picture of a fitting in the checklist that README shows.

    python docs/img/checklist_picture.py lidoff-demo/out/checklist.html F06 docs/img/checklist.png

Needs Chromium and its driver (as the browser tests do). The part of the page is
cut out as it is on a screen 1280 px wide, in light colours.
"""

from __future__ import annotations

import base64
import io
import shutil
import sys
from pathlib import Path

from PIL import Image
from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service

WIDTH, TALLEST = 1280, 1750


def main(page: str, fitting: str, target: str) -> None:
    """Write the picture."""
    options = Options()
    for flag in ("--headless=new", "--no-sandbox", "--hide-scrollbars"):
        options.add_argument(flag)
    # The driver's path is given, so that selenium asks no server for one.
    driver = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
    try:
        size = {"width": WIDTH, "height": 1000, "deviceScaleFactor": 1, "mobile": False}
        driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        driver.get(Path(page).resolve().as_uri())
        box = driver.execute_script(
            "const s = [...document.querySelectorAll('section.fitting')].find("
            "s => s.querySelector('h3')?.textContent === 'Fitting ' + arguments[0]);"
            "const b = s.getBoundingClientRect();"
            "return {x: b.x - 12, y: b.y + scrollY - 12, width: b.width + 24, height: b.height + 24}",
            fitting,
        )
        box["height"] = min(box["height"], TALLEST)
        how = {"format": "png", "captureBeyondViewport": True, "clip": box | {"scale": 1}}
        shot = base64.b64decode(driver.execute_cdp_cmd("Page.captureScreenshot", how)["data"])
    finally:
        driver.quit()
    picture = Image.open(io.BytesIO(shot)).convert("RGB").quantize(256)
    picture.save(target, optimize=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
