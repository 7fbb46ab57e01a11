"""Frames and edits of the photo workspace in Chromium: `python -m benchmarks.bench_workspace`.

A demo photo gets 200 findings. A scripted pan and zoom gives the time between frames; edits
sent one after the other give the time until each is saved and shown. Both depend on the
machine and on what else it does; the load is printed beside them.
"""

import os
import platform
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import Locator, expect

from damagescore.damage.record import Finding
from damagescore.inspection import Part, add_photo, new_inspection
from damagescore.measure import measure_photo
from damagescore.measurement import MeasureOptions
from damagescore.photo import read_photo
from damagescore.records import Store
from damagescore.scale import ScaleRequest
from damagescore.ui.measuring import options_to_dict
from tests.ui.browser import ROOT, browser, server

PHOTO = ROOT / "demo_images" / "hv2210-01-cracks.jpg"
COUNT = 200

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
    for (let n = 0; n < 30; n++) {
        const finding = w.shown.find((f) => f.lines.length && f.id.endsWith(String(n % 9)));
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


def crowded(folder: Path) -> str:
    """Put a photo with many findings into a new store; give the inspection's id."""
    photo = read_photo(PHOTO.read_bytes(), name=PHOTO.name)
    options = MeasureOptions(scale=ScaleRequest(kind="squares", size_mm=10.0))
    measured = measure_photo(photo, options)
    quantities = measured.findings[0].quantities
    generator = np.random.default_rng(3)
    findings = []
    for number in range(COUNT):
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
            options=options_to_dict(options), by="R. Alder",
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


def line_of(name: str, times: list[float]) -> str:
    p50, p95 = np.percentile(times, [50, 95])
    return f"| {name} | {p50:.1f} | {p95:.1f} | {max(times):.1f} |"


def main() -> None:
    with (
        tempfile.TemporaryDirectory() as name,
        server(Path(name)) as address,
        browser() as chrome,
    ):
        root = workspace_of(chrome, address, crowded(Path(name)))
        load = os.getloadavg()[0]
        cores = os.cpu_count()
        print(f"{platform.machine()}, {cores} cores, load {load:.1f}, {COUNT} findings\n")
        print("| ms | p50 | p95 | most |\n|---|---|---|---|")
        print(line_of("between frames", root.evaluate(FRAMES)))
        print(line_of("edit, a review", root.evaluate(EDITS, "review")))
        print(line_of("edit, a point moved", root.evaluate(EDITS, "shape")))


if __name__ == "__main__":
    main()
