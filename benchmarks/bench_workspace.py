"""Frames and edits of the photo workspace in Chromium: `python -m benchmarks.bench_workspace`.

A demo photo gets 200 findings. A scripted pan and zoom gives the time between frames; edits
sent one after the other give the time until each is saved and shown, and what of the server's
processor each took. Two larger photos, the demo photo scaled up, give the time from the call
of the page to the marks over a 12 MP photo whose tiles are there, what came over the line for
it, and the time from the upload of a 24 MP photo to its marks. All depend on the machine and
on what else it does; the load is printed beside them.
"""

import os
import platform
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from playwright.sync_api import Browser, Locator, Page, expect

from damagescore.damage.record import Finding
from damagescore.inspection import Part, add_photo, new_inspection
from damagescore.measure import measure_photo
from damagescore.measurement import MeasureOptions
from damagescore.photo import read_photo
from damagescore.records import Store
from damagescore.scale import ScaleRequest
from damagescore.ui.measuring import options_to_dict
from damagescore.ui.tiles import PREFIX, Pyramid
from tests.ui.browser import ROOT, browser, server

OPTIONS = MeasureOptions(scale=ScaleRequest(kind="squares", size_mm=10.0))
PHOTO = ROOT / "demo_images" / "hv2210-01-cracks.jpg"
COUNT = 200
FEW = 3

LARGE = {"12 MP": (4000, 3000), "24 MP": (6000, 4000)}

FRAMES = """async (root) => {
    const {view} = root.workspace;
    view.frame([0, 0, 0.7 * view.photo.width, 0.7 * view.photo.height]);
    await new Promise((go) => requestAnimationFrame(() => requestAnimationFrame(go)));
    const times = [];
    let last = null;
    await new Promise((done) => {
        let n = 0;
        const frame = (now) => {
            if (last !== null) times.push(now - last);
            last = now;
            view.move(n % 80 < 40 ? 6 : -6, n % 40 < 20 ? 3 : -3);
            if (n > 120) view.zoom(n % 40 < 20 ? 1.01 : 1 / 1.01);
            if (++n < 240) requestAnimationFrame(frame); else done();
        };
        requestAnimationFrame(frame);
    });
    return times;
}"""

EDITS = """async (root, kind) => {
    const w = root.workspace, times = [];
    const digit = (n) => String(n % Math.min(9, w.shown.length));
    for (let n = 0; n < 30; n++) {
        const finding = w.shown.find((f) => f.lines.length && f.id.endsWith(digit(n)));
        const {id} = finding, line = finding.lines[0], last = line.length - 1;
        const start = performance.now();
        if (kind === "review") w.push({do: "confirm", id});
        else w.push({do: "shape", id, line: 0, first: last, last, snap: false,
            count: line.length, points: [[line[last][0] + 0.3, line[last][1]]]});
        await new Promise((done) => {
            const look = () => (w.pending.length ? setTimeout(look, 2) : done());
            look();
        });
        times.push(performance.now() - start);
    }
    return times;
}"""


def crowded(folder: Path, count: int = COUNT) -> str:
    """Put a photo with many findings into a new store; give the inspection's id."""
    photo = read_photo(PHOTO.read_bytes(), name=PHOTO.name)
    measured = measure_photo(photo, OPTIONS)
    quantities = measured.findings[0].quantities
    generator = np.random.default_rng(3)
    findings = []
    for number in range(count):
        x = generator.uniform(50, photo.width - 400) + np.arange(300.0)
        y = generator.uniform(0.2, 0.8) * photo.height + np.cumsum(generator.normal(0, 1, 300))
        findings.append(
            Finding(
                id=f"crack-{number}", kind="bond_gap" if number % 2 else "crack", layer=2,
                strength=0.5, lines_px=(np.stack([x, y], axis=1),), quantities=quantities,
            )
        )  # fmt: skip
    plain = replace(measured, findings=tuple(findings)).to_dict()
    with Store(folder) as store:
        inspection = add_photo(
            new_inspection(Part(part_number="HV-2210"), by="R. Alder"),
            sha256=store.put_photo(PHOTO.read_bytes()), name=PHOTO.name, measurement=plain,
            options=options_to_dict(OPTIONS), by="R. Alder",
        )  # fmt: skip
        store.save(inspection)
    return inspection.id


def workspace_of(chrome: Any, address: str, inspection_id: str) -> Locator:
    page = chrome.new_page(viewport={"width": 1280, "height": 1000})
    page.goto(f"{address}/?inspection={inspection_id}&step=findings")
    page.get_by_label("Who is working?").fill("R. Alder")
    page.get_by_label("Who is working?").press("Enter")
    expect(page.locator("[data-tool=trace]:enabled")).to_have_count(1, timeout=60_000)
    expect(page.locator("[data-tool=trace]:disabled")).to_have_count(0)
    expect(page.locator(".stage[data-ready=yes]")).to_be_visible()
    return page.locator(".ws")


def line_of(name: str, times: list[float], cpu_ms: float | None = None) -> str:
    p50, p95 = np.percentile(times, [50, 95])
    cpu = "" if cpu_ms is None else f"{cpu_ms:.0f}"
    return f"| {name} | {p50:.1f} | {p95:.1f} | {max(times):.1f} | {cpu} |"


def server_cpu_s() -> float:
    """Processor time that the app's server took so far, s; Linux only."""
    ticks = 0
    for pid in Path(f"/proc/self/task/{os.getpid()}/children").read_text().split():
        if b"streamlit" in Path(f"/proc/{pid}/cmdline").read_bytes():
            fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
            ticks += int(fields[11]) + int(fields[12])
    return ticks / os.sysconf("SC_CLK_TCK")


def edits_line(root: Locator, name: str, kind: str) -> str:
    before = server_cpu_s()
    times = root.evaluate(EDITS, kind)
    return line_of(name, times, 1000 * (server_cpu_s() - before) / len(times))


def large_photo(folder: Path, name: str) -> Path:
    """The demo photo at another size, as a camera's JPEG."""
    path = folder / f"{name.replace(' ', '-')}.jpg"
    image = cv2.resize(cv2.imread(str(PHOTO)), LARGE[name], interpolation=cv2.INTER_CUBIC)
    assert cv2.imwrite(str(path), image, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return path


def stored(folder: Path, path: Path) -> str:
    """Measure a photo into the store with its tiles; give the inspection's id."""
    photo = read_photo(path.read_bytes(), name=path.name)
    with Store(folder) as store:
        sha256 = store.put_photo(path.read_bytes())
        Pyramid(folder=folder / "tiles", photo_bytes=store.photo_bytes).write(sha256, photo.rgb)
        inspection = add_photo(
            new_inspection(Part(part_number="HV-2210"), by="R. Alder"), sha256=sha256,
            name=path.name, measurement=measure_photo(photo, OPTIONS).to_dict(),
            options=options_to_dict(OPTIONS), by="R. Alder",
        )  # fmt: skip
        store.save(inspection)
    return inspection.id


class Line:
    """Bytes that come over the line to a page: of the photo, of messages, of the program.

    The program is kept by the browser; a second visit does not fetch it again.
    """

    def __init__(self, page: Page) -> None:
        self.photo = self.program = self.messages = 0
        self._urls: dict[str, str] = {}
        session = page.context.new_cdp_session(page)
        session.send("Network.enable")
        session.on("Network.requestWillBeSent", self._asked)
        session.on("Network.loadingFinished", self._came)
        session.on("Network.webSocketFrameReceived", self._told)

    def _asked(self, event: dict[str, Any]) -> None:
        self._urls[event["requestId"]] = event["request"]["url"]

    def _came(self, event: dict[str, Any]) -> None:
        size = int(event["encodedDataLength"])
        if PREFIX in self._urls.get(event["requestId"], ""):
            self.photo += size
        else:
            self.program += size

    def _told(self, event: dict[str, Any]) -> None:
        text = event["response"]["payloadData"]
        self.messages += len(text) * 3 // 4  # binary comes in base64

    @property
    def text(self) -> str:
        parts = (self.photo, self.messages, self.program)
        return " | ".join(f"{n / 1000:.0f}" for n in parts)


def first_view(chrome: Browser, address: str, inspection_id: str) -> tuple[float, Line]:
    """Seconds until the marks lie over the photo, in a browser that knows the program."""
    context = chrome.new_context(viewport={"width": 1280, "height": 1000})
    page = context.new_page()
    page.goto(f"{address}/")
    expect(page.get_by_label("Who is working?")).to_be_visible(timeout=60_000)
    page.close()
    page = context.new_page()
    line = Line(page)
    start = time.perf_counter()
    page.goto(f"{address}/?inspection={inspection_id}&step=findings")
    page.locator(".stage[data-ready=yes]").wait_for(timeout=60_000)
    seconds = time.perf_counter() - start
    page.wait_for_load_state("networkidle")
    context.close()
    return seconds, line


def upload(chrome: Browser, address: str, path: Path) -> float:
    """Seconds from handing in a photo to the marks over it."""
    page = chrome.new_page(viewport={"width": 1280, "height": 1000})
    page.set_default_timeout(120_000)
    page.goto(address)
    page.get_by_label("Who is working?").fill("R. Alder")
    page.get_by_label("Who is working?").press("Enter")
    page.get_by_label("Part number").fill("HV-2210")
    page.get_by_role("button", name="Start the inspection").click()
    page.locator("input[type=file]").set_input_files(path)
    page.get_by_label("Scale in the photo").click()
    page.get_by_role("option", name="Square marks of a known side").click()
    page.get_by_label("Side of the squares, mm").fill("10")
    page.get_by_label("Side of the squares, mm").press("Enter")
    start = time.perf_counter()
    page.get_by_role("button", name="Measure the photo").click()
    page.get_by_role("button", name="Open findings").click()
    page.locator(".stage[data-ready=yes]").wait_for()
    return time.perf_counter() - start


def workspace_part(folder: Path, address: str, chrome: Browser) -> None:
    print("| ms | p50 | p95 | most | server, processor |\n|---|---|---|---|---|")
    for count in (FEW, COUNT):
        root = workspace_of(chrome, address, crowded(folder, count))
        if count == COUNT:
            print(line_of("between frames", root.evaluate(FRAMES)))
        print(edits_line(root, f"{count} findings: a review", "review"))
        print(edits_line(root, f"{count} findings: a point moved", "shape"))
        root.page.close()


def photo_part(folder: Path, address: str, chrome: Browser) -> None:
    small = stored(folder, large_photo(folder, "12 MP"))
    print("\n| first view | s | photo kB | messages kB | program kB |\n|---|---|---|---|---|")
    for turn in ("first", "second", "third"):
        seconds, line = first_view(chrome, address, small)
        print(f"| 12 MP, {turn} | {seconds:.2f} | {line.text} |")
    seconds = upload(chrome, address, large_photo(folder, "24 MP"))
    print(f"| 24 MP, from the upload | {seconds:.2f} | | | |")


def main() -> None:
    with (
        tempfile.TemporaryDirectory() as name,
        server(Path(name)) as address,
        browser() as chrome,
    ):
        load, cores = os.getloadavg()[0], os.cpu_count()
        print(f"{platform.machine()}, {cores} cores, load {load:.1f}\n")
        workspace_part(Path(name), address, chrome)
        photo_part(Path(name), address, chrome)


if __name__ == "__main__":
    main()
