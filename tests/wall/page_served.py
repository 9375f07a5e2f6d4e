"""A folder served under the strict page rules of build servers, looked at in Chromium."""

import functools
import http.server
import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

CHROMIUM = shutil.which("chromium")
# The rules under which build servers hand out what a job has left, in the words of W3C Content
# Security Policy Level 3, §6.
POLICY = "sandbox; default-src 'none'; img-src 'self'; style-src 'self'"

# Relative luminance and contrast ratio by W3C WCAG 2.1, definitions of both terms.
# The ground of a text is that of the nearest ancestors, laid over each other where transparent.
WEAK_TEXTS = """
(wanted) => {
  const parse = text => (text.match(/[\\d.]+/g) || [0, 0, 0, 0]).map(Number);
  const over = (top, below) => {
    const a = top.length > 3 ? top[3] : 1;
    return [0, 1, 2].map(at => top[at] * a + below[at] * (1 - a));
  };
  const ground = element => {
    const layers = [];
    for (let one = element; one; one = one.parentElement)
      layers.unshift(parse(getComputedStyle(one).backgroundColor));
    return layers.reduce((below, top) => over(top, below), [255, 255, 255]);
  };
  const light = rgb => {
    const [r, g, b] = rgb.map(part => {
      const value = part / 255;
      return value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const weak = [];
  let seen = 0;
  for (const element of document.querySelectorAll('body *')) {
    const words = [...element.childNodes]
      .filter(node => node.nodeType === Node.TEXT_NODE && node.data.trim());
    if (!words.length || !element.getClientRects().length) continue;
    seen += 1;
    const behind = ground(element);
    const ink = over(parse(getComputedStyle(element).color), behind);
    const [dark, bright] = [light(ink), light(behind)].sort((a, b) => a - b);
    const ratio = (bright + 0.05) / (dark + 0.05);
    if (ratio < wanted) weak.push([ratio.toFixed(2), element.className, words[0].data.trim()]);
  }
  return [seen, weak];
}
"""


class _Strict(http.server.SimpleHTTPRequestHandler):
    def end_headers(self) -> None:
        self.send_header("Content-Security-Policy", POLICY)
        super().end_headers()

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing."""


@contextmanager
def served(folder: Path) -> Iterator[str]:
    """Serve a folder on loopback; yield where."""
    handler = functools.partial(_Strict, directory=str(folder))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_port}"
        finally:
            server.shutdown()
            thread.join()


@contextmanager
def chromium() -> Iterator[Browser]:
    """Start Chromium without a window."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def opened(
    browser: Browser, where: str, scheme: str = "light", media: str = "screen", width: int = 1280
) -> Iterator[tuple[Page, list[str]]]:
    """Open a page with everything unfolded; yield it and what its console said."""
    context = browser.new_context(
        color_scheme=scheme,  # type: ignore[arg-type]
        viewport={"width": width, "height": 900},
    )
    page, said = context.new_page(), []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("requestfailed", lambda request: said.append(f"failed: {request.url}"))
    page.goto(where)
    page.emulate_media(media=media, color_scheme=scheme)  # type: ignore[arg-type]
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
    yield page, said
    context.close()
