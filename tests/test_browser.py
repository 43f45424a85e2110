"""The report in a real browser: nothing on the console, no overflow at 360 and 1280 px, no request leaving the page."""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import pytest

import qc
from qc.show.write import render_report

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ROOT = Path(__file__).parents[1]
WIDTHS = (360, 1280)
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--allow-file-access-from-files",
    "--host-resolver-rules=MAP * ~NOTFOUND",
    "--enable-logging=stderr",
    "--virtual-time-budget=5000",
)
# The frames stand in a page of ours, which looks into them when all are loaded and writes down what it saw.
LOOKING_GLASS = """<!doctype html><meta charset="utf-8"><title>frames</title>
{frames}
<pre id="seen"></pre>
<script>
addEventListener("load", () => setTimeout(() => {{
  const seen = [...document.querySelectorAll("iframe")].map((frame) => {{
    const page = frame.contentDocument.documentElement;
    return {{
      page: frame.dataset.page,
      width: frame.clientWidth,
      reaches: Math.max(page.scrollWidth, frame.contentDocument.body.scrollWidth),
      words: frame.contentDocument.body.innerText.length,
      requests: frame.contentWindow.performance.getEntriesByType("resource").map((one) => one.name),
    }};
  }});
  document.getElementById("seen").textContent = JSON.stringify(seen);
}}, 300));
</script>
"""
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed (Debian package chromium)")


@dataclass(frozen=True)
class Seen:
    """What the browser saw of one page at one width [px], and what it wrote on the console meanwhile."""

    page: str
    width: int
    reaches: int
    words: int
    requests: tuple[str, ...]


def look_at(pages: dict[str, str], folder: Path) -> tuple[list[Seen], list[str]]:
    """Open every page at every width in one browser; what was seen, and the lines of the console."""
    assert CHROMIUM is not None
    frames = []
    for name, text in pages.items():
        (folder / f"{name}.html").write_text(text, encoding="utf-8")
        frames += [
            f'<iframe data-page="{name}" src="{name}.html" style="width:{width}px;height:900px;border:0"></iframe>'
            for width in WIDTHS
        ]
    glass = folder / "looking-glass.html"
    glass.write_text(LOOKING_GLASS.format(frames="\n".join(frames)), encoding="utf-8")
    done = subprocess.run(
        [CHROMIUM, *FLAGS, f"--user-data-dir={folder / 'profile'}", "--dump-dom", glass.as_uri()],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    found = re.search(r'<pre id="seen">(.*?)</pre>', done.stdout, flags=re.DOTALL)
    assert found is not None, done.stderr
    seen = [Seen(**{**one, "requests": tuple(one["requests"])}) for one in json.loads(html.unescape(found[1]))]
    assert len(seen) == len(pages) * len(WIDTHS)
    return seen, [line for line in done.stderr.splitlines() if "CONSOLE" in line]


@needs_chromium
def test_reports_stay_within_the_page_and_ask_for_nothing(tmp_path: Path) -> None:
    pages = {}
    for name in ("fails-on-content", "two-actives"):
        result = qc.judge(qc.read(ROOT / "sample_data" / f"{name}.xlsx"))
        pages[name] = render_report(result.judged, document=result.as_dict())["report.html"].decode("utf-8")
    seen, console = look_at(pages, tmp_path)
    assert console == []
    for one in seen:
        assert one.words > 1000, f"{one.page} came out empty"
        assert one.reaches <= one.width, f"{one.page} is {one.reaches} px wide in a window of {one.width} px"
        assert one.requests == (), f"{one.page} asks for {one.requests}"


@needs_chromium
def test_the_browser_catches_planted_faults(tmp_path: Path) -> None:
    faulty = """<!doctype html><meta charset="utf-8"><title>faults</title>
    <div style="width:2000px">wide</div><img src="https://example.invalid/picture.png" alt="">
    <script>undefinedFunction()</script>"""
    seen, console = look_at({"faulty": faulty}, tmp_path)
    assert [one.reaches >= 2000 for one in seen] == [True, True]
    assert [one.requests for one in seen] == [("https://example.invalid/picture.png",)] * 2
    assert any("undefinedFunction is not defined" in line for line in console)
