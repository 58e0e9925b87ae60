"""Times of the report and the page: python tests/benchmarks/bench_page.py prints them.

empty folder to the first asked reading  at most 2 s of the program's time, from starting the page on
first sight of the build, of a donor   at most 0.5 s over the wire, just started, while all donors are being checked
report of the demo                     at most 1.5 s, the whole command
report of 20 donors                    at most 1 MB, 5 s
answer to a new reading                at most 0.1 s over the wire, for every part of the demo that has donors
photograph of 24 megapixels            at most 2 s from asking to where it can be marked (needs Chromium)
"""

from __future__ import annotations

import csv
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import httpx

sys.path.insert(0, str(Path(__file__).parents[1]))

from page import picture
from page.conftest import CHROMIUM, Server, demo_in
from page.test_taking_down import READINGS

COMMAND = str(Path(sys.executable).with_name("partkin"))
ROUNDS = 7
DONORS = 20


def ran_s(*words: str) -> float:
    began = time.perf_counter()
    subprocess.run([COMMAND, *words], check=True, capture_output=True)
    return time.perf_counter() - began


def report_s(folder: Path) -> list[float]:
    return [ran_s("report", "--in", str(folder), "-o", str(folder / "report.html")) for _ in range(3)]


def with_donors(folder: Path, count: int) -> None:
    """Copies of a donor that has to be adapted, so that there are so many in all."""
    with (folder / "parts.csv").open(newline="") as opened:
        missing = count - sum(row["origin"] == "donor" for row in csv.DictReader(opened))
    for sheet in ("parts.csv", "features.csv", "outlines.csv", "zones.csv", "readings.csv"):
        with (folder / sheet).open(newline="") as opened:
            reader = csv.DictReader(opened)
            mine = [row for row in reader if row["part"] == "top-dask"]
            names = reader.fieldnames or []
        with (folder / sheet).open("a", newline="") as opened:
            writer = csv.DictWriter(opened, names, lineterminator="\n")
            writer.writerows({**row, "part": f"copy-{n}"} for n in range(missing) for row in mine)


def answered_s(running) -> dict[str, list[float]]:
    """How long each part's reading takes from sending it to having the answer, with nothing else to do."""
    took: dict[str, list[float]] = {part: [] for part in READINGS}
    with running.client() as client:
        for _ in range(ROUNDS):
            for part, typed in READINGS.items():
                settle(client)
                began = time.perf_counter()
                answer = client.post(f"/part/{part}/readings", data=typed, headers={"accept": "application/json"})
                took[part].append(time.perf_counter() - began)
                assert answer.status_code == 200, answer.text
    return took


FORMS = (
    ("/parts", {"origin": "original", "name": "dash top", "duty": "trim", "airbag": "no"}),
    ("/parts", {"origin": "host", "name": "beam"}),
    ("/parts", {"origin": "donor", "name": "sister"}),
    ("/part/beam/features", {"donor": "sister", "count": "4", "kind": "stud", "feature": "F1", "through": "M6"}),
    ("/part/sister/features", {"donor": "sister", "count": "4", "kind": "hole", "feature": "a", "across_mm": "7"}),
)


def first_asked_s(folder: Path) -> tuple[float, float]:
    """From starting `partkin page` on a folder that does not exist to the first asked reading; nobody types.

    By the clock, and of the processor.
    """
    spent_s = children_s()
    began = time.perf_counter()
    command = [COMMAND, "page", "--in", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as run:
        assert run.stdout is not None
        entrance = run.stdout.readline().decode().split()[-1]
        origin = entrance.partition("/enter")[0]
        with httpx.Client(base_url=origin, headers={"origin": origin}, follow_redirects=True, timeout=60) as client:
            shown = client.get(entrance).text
            for address, form in FORMS:
                shown = client.post(address, data=form).text
            while 'id="f-from" name="from" value=""' in shown or "<b>Next" not in shown:
                shown = client.get("/part/sister").text
        took = time.perf_counter() - began
        run.terminate()
    return took, children_s() - spent_s


def first_sight_s(folder: Path) -> dict[str, float]:
    """From asking a page that was just started to having its first answers."""
    took = {}
    for what, path in (("the build", "/"), ("a donor", "/part/top-dask")):
        with Server(folder) as running, running.client() as client:
            began = time.perf_counter()
            shown = client.get(path).text
            took[what] = time.perf_counter() - began
            assert "being checked" in shown
    return took


def children_s() -> float:
    """Seconds of the processor that programs started here have used, once they have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def settle(client) -> None:
    """Until every donor is checked anew."""
    client.get("/")
    while client.get("/state").json()["progress"]:
        time.sleep(0.02)
    time.sleep(0.05)


def opened_s(running) -> list[float]:
    from playwright.sync_api import sync_playwright

    image, _ = picture.drawn(picture.GLOVE, (6000, 4000))
    (running.folder / "large.jpg").write_bytes(picture.jpeg(image))
    took = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-gpu"])
        tab = browser.new_page()
        tab.goto(running.entrance)
        for _ in range(3):
            tab.goto(f"{running.origin}/photos/large.jpg?part=glove-dask")
            tab.wait_for_selector("#marking[data-ready]")
            took.append(tab.evaluate("performance.now()") / 1000.0)
        browser.close()
    return took


def line(what: str, figure: str, wanted: str) -> None:
    print(f"{what:<44} {figure:>34}   wanted {wanted}", flush=True)


def main() -> None:
    # An installed program keeps its bytecode, whatever the shell of this run says.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    with tempfile.TemporaryDirectory() as made:
        took = [first_asked_s(Path(made) / f"new-{number}") for number in range(ROUNDS)]
        clock, processor = ([one[at] for one in took] for at in (0, 1))
        figure = f"{min(clock):.2f} s, median {statistics.median(clock):.2f}; processor {min(processor):.2f} s"
        line("empty folder to the first asked reading", figure, "2 s")
        folder = demo_in(Path(made) / "demo")
        sights = [first_sight_s(folder) for _ in range(ROUNDS)]
        for what in sights[0]:
            times = [one[what] for one in sights]
            figure = f"least {1000 * min(times):.0f}, median {1000 * statistics.median(times):.0f} ms"
            line(f"first sight of {what}", figure, "500 ms")
        took = report_s(folder)
        line("report of the demo, whole command", f"{min(took):.2f} s (of {len(took)})", "1.5 s")
        with_donors(folder, DONORS)
        seconds = ran_s("report", "--in", str(folder), "-o", str(folder / "report.html"))
        size = (folder / "report.html").stat().st_size
        line(f"report of {DONORS} donors", f"{size / 1e6:.2f} MB, {seconds:.1f} s", "1 MB, 5 s")
        with Server(demo_in(Path(made) / "page")) as running:
            for part, times in answered_s(running).items():
                figure = f"least {1000 * min(times):.0f}, median {1000 * statistics.median(times):.0f} ms"
                line(f"answer to a reading of {part}", figure, "100 ms")
            if CHROMIUM.exists():
                line("photograph of 24 megapixels", f"{min(opened_s(running)):.2f} s (of 3)", "2 s")


if __name__ == "__main__":
    main()
