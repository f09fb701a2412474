"""One page as one file, for mail: style, scripts, the plotting script and the readings are put inside it."""

from __future__ import annotations

import base64
import html
import re
import zlib
from pathlib import Path, PurePosixPath

from dashboards.site import Site
from pipeline.errors import Complaint, NotFoundError, StoreError

READINGS_AT_MOST = 12_000_000
_STYLE = re.compile(r'<link rel="stylesheet" href="([^"]+)">')
_SCRIPT = re.compile(r'<script (defer )?src="([^"]+)"></script>')
_LATE = re.compile(r'<script type="text/plain" data-plot-src="([^"]+)"></script>')
_LINK = re.compile(r'(<a\b[^>]*?) href="(?!#)(?![a-z]+:)[^"]*"')
# A block of every reading; the others are small.
_TILE = re.compile(r"g\d+-\d+\.js$")
_PLAN = re.compile(r'"folder":"([^"]+)"')

# Unpacks the deferred scripts in their order; a browser from 2023 on knows DecompressionStream.
_UNPACK = """<script>
(function () {
  "use strict";
  var packed = Array.prototype.slice.call(document.querySelectorAll("script[data-packed]"));
  packed.reduce(function (before, holder) {
    return before.then(function () {
      var raw = atob(holder.textContent.trim()), bytes = new Uint8Array(raw.length);
      for (var i = 0; i < raw.length; i += 1) { bytes[i] = raw.charCodeAt(i); }
      var stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
      return new Response(stream).text();
    }).then(function (text) {
      var script = document.createElement("script");
      script.textContent = text;
      document.head.appendChild(script);
    });
  }, Promise.resolve()).then(function () { document.dispatchEvent(new CustomEvent("reelproof:plotting")); });
})();
</script>"""


def _inside(site: Site, page: str, href: str) -> Path:
    """The file a page's link points to, which must lie in the site."""
    target = (site.folder / page).parent / html.unescape(href).split("?", 1)[0]
    resolved = target.resolve()
    if site.folder.resolve() not in resolved.parents:
        raise StoreError(Complaint(page, f"it asks for {href}, outside the site", "Write the pages again"))
    if not resolved.is_file():
        raise NotFoundError(Complaint(page, f"its file {href} is not there", "Write the pages again"))
    return resolved


def _packed(content: bytes) -> str:
    body = base64.b64encode(zlib.compress(content, 9)).decode("ascii")
    return f'<script type="text/plain" data-packed>{body}</script>'


def _readings(site: Site, page: str, text: str, most_bytes: int) -> tuple[str, bool]:
    """The page's blocks of readings as inline scripts, and whether every reading is among them."""
    found = _PLAN.search(text)
    if found is None:
        return "", True
    folder = (site.folder / page).parent / found[1]
    blocks = sorted(folder.resolve().glob("*.js"))
    whole = sum(one.stat().st_size for one in blocks) <= most_bytes
    kept = blocks if whole else [one for one in blocks if not _TILE.match(one.name)]
    return "".join(f"<script>{one.read_text(encoding='ascii')}</script>\n" for one in kept), whole


def single_file(site: Site, page: str, out: Path, most_bytes: int = READINGS_AT_MOST) -> Path:
    """Writes one page of the site as one file that needs nothing beside it.

    Links to other pages become plain text. Every reading goes in as long as the readings take no more than
    `most_bytes`; beyond that the finest zoom shows the lowest and highest of each stretch and says so.

    Args:
        site: the site.
        page: the page's address from the site's root.
        out: the file to write.
        most_bytes: readings put inside at the most [byte]; the default is what mail usually carries.

    Raises:
        NotFoundError: there is no such page.
        StoreError: the file cannot be written.
    """
    try:
        text = (site.folder / page).read_text(encoding="utf-8")
    except FileNotFoundError:
        raise NotFoundError(
            Complaint(
                str(PurePosixPath(page)), "there is no such page", "Write the pages first, or check the name"
            )
        ) from None
    readings, whole = _readings(site, page, text, most_bytes)
    if not whole:
        text = text.replace('"folder":"', '"tiles":false,"folder":"', 1)
    text = _STYLE.sub(
        lambda m: f"<style>{_inside(site, page, m[1]).read_text(encoding='utf-8')}</style>", text
    )
    deferred: list[str] = []

    def script(found: re.Match[str]) -> str:
        content = _inside(site, page, found[2]).read_bytes()
        if found[1]:
            deferred.append(_packed(content))
            return ""
        safe = content.decode("utf-8").replace("</script", "<\\/script")
        return f"<script>{safe}</script>"

    text = _SCRIPT.sub(script, text)

    def late(found: re.Match[str]) -> str:
        deferred.append(_packed(_inside(site, page, found[1]).read_bytes()))
        return ""

    text = _LATE.sub(late, text)
    text = _LINK.sub(r"\1", text)
    if deferred:
        text = text.replace("</body>", f"{readings}{''.join(deferred)}{_UNPACK}\n</body>", 1)
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        out.write_text(text, encoding="utf-8")
    except OSError as fault:
        raise StoreError(
            Complaint(str(out), f"cannot be written ({fault.strerror or fault})", "Name another file")
        ) from None
    return out


def mail_name(page: str) -> str:
    """A file name for the single file of a page: ``runs/X.html`` becomes ``runs-X.html``."""
    return page.replace("/", "-")
