"""How long a keystroke's script takes in a club of 5,000 cases, as a ratio to an empty keystroke.

    python tests/bench/bench_search.py [CASES]

Builds the search index of so many made-up cases and the club's first page, opens it in Chromium
and lets the page's own handler answer whole queries typed key by key. Prints one JSON object:
milliseconds of script a keystroke (median and worst), the same for an empty keystroke, the ratio,
the bytes of the index and how long building it took. Absolute times depend on the machine.
"""

from __future__ import annotations

import json
import random
import shutil
import statistics
import sys
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
QUERIES = (
    "perforation",
    "36",
    "locate the canal",
    "evening group",
    "apex plug",
    "zzzz",
    "s",
    "first molar 19 seal",
)
WORDS = [
    "apex",
    "canal",
    "chamber",
    "clamp",
    "collar",
    "crack",
    "crown",
    "curve",
    "dam",
    "dentine",
    "drill",
    "edge",
    "explorer",
    "fill",
    "floor",
    "furcal",
    "gauge",
    "gutta",
    "hand",
    "isolate",
    "locate",
    "margin",
    "matrix",
    "mirror",
    "molar",
    "orifice",
    "perforation",
    "plug",
    "point",
    "probe",
    "pulp",
    "repair",
    "rinse",
    "root",
    "scout",
    "seal",
    "shape",
    "sheet",
    "sonic",
    "staging",
    "tip",
    "tooth",
    "trough",
    "ultrasonic",
    "wall",
    "wedge",
    "working",
]


def cases(count: int) -> list[Any]:
    """So many different records, all from one read case."""
    from annotate.page.data import ToothNumbers
    from annotate.page.folder import page_data
    from annotate.page.records import Record
    from tests.annotate.page.casefolder import usual, write_case

    rng = random.Random(5000)
    with tempfile.TemporaryDirectory() as folder:
        write_case(Path(folder), usual())
        page = page_data(Path(folder))

    def phrase(low: int, high: int) -> str:
        return " ".join(rng.choices(WORDS, k=rng.randint(low, high)))

    out = []
    for i in range(count):
        steps = tuple(
            replace(s, title=phrase(2, 4), note=phrase(6, 18), id=f"{s.id}-{rng.randint(1, 20)}")
            for s in page.steps
        )
        values = replace(
            page,
            case=f"case-{i:05d}",
            title=f"{phrase(3, 8)} {i}",
            steps=steps,
            tooth=ToothNumbers(
                str(rng.choice((16, 26, 36, 46))), str(rng.choice((3, 14, 19, 30))), "first molar"
            ),
            procedure=phrase(2, 2),
            presenter=rng.choice(("Bench team", "Evening group", "Morning group")),
            tags=tuple({rng.choice(WORDS) for _ in range(3)}),
        )
        out.append(Record(f"case-{i:05d}", Path(), values, datetime(2024, 1, 1, tzinfo=UTC), 1))
    return out


def write_site(site: Path, count: int) -> tuple[float, int]:
    """The first page and its index; returns seconds of building and bytes of the index."""
    from annotate.page import pages, records, safe, siteview

    found = tuple(cases(count))
    begun = time.perf_counter()
    names = {s.id: s.id for r in found for s in r.page.steps}
    groups = records.step_groups(found, names)
    index = f"teachcut.index = {safe.script_json(records.search_index(found, groups))};\n"
    took = time.perf_counter() - begun
    for name, parts in pages.SITE_ASSETS.items():
        (site / "assets").mkdir(exist_ok=True)
        (site / "assets" / name).write_text(pages.together(parts), encoding="utf-8")
    (site / "data").mkdir()
    (site / "data/index.js").write_text(index, encoding="utf-8")
    cards = [siteview.card(r) for r in found[:24]]
    values = {
        "policy": safe.SITE_POLICY,
        "club": "Bench",
        "root": "",
        "cards": cards,
        "count": count,
    }
    page = pages.fill("club.html", **values, facets=siteview.facets(found, groups))
    (site / "index.html").write_text(page, encoding="utf-8")
    return took, len(index.encode("utf-8"))


TYPE = """
(queries) => {
  const box = document.getElementById("q");
  const press = (text) => {
    box.value = text;
    const begun = performance.now();
    box.dispatchEvent(new Event("input"));
    return performance.now() - begun;
  };
  const keys = [];
  const empty = [];
  for (let round = 0; round < 5; round += 1) {
    for (const query of queries) {
      for (let n = 1; n <= query.length; n += 1) keys.push(press(query.slice(0, n)));
      empty.push(press(""));
    }
  }
  return [keys, empty];
}
"""


def main(count: int) -> dict[str, Any]:
    """Measure; returns the figures."""
    from playwright.sync_api import sync_playwright

    from tests.browser.conftest import ARGS, PLACES

    found = next((p for p in map(shutil.which, PLACES) if p), None)
    if found is None:
        raise SystemExit("chromium is needed and absent")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        built_s, size = write_site(Path(folder), count)
        browser = playwright.chromium.launch(executable_path=found, args=ARGS)
        page = browser.new_page()
        page.goto((Path(folder) / "index.html").as_uri())
        page.wait_for_function("() => globalThis.teachcut?.club")
        page.evaluate(TYPE, list(QUERIES))
        keys, empty = page.evaluate(TYPE, list(QUERIES))
        browser.close()
    middle = statistics.median(empty)
    return {
        "cases": count,
        "keystroke_ms_median": round(statistics.median(keys), 2),
        "keystroke_ms_worst": round(max(keys), 2),
        "empty_keystroke_ms_median": round(middle, 2),
        "ratio_median": round(statistics.median(keys) / middle, 2),
        "ratio_worst": round(max(keys) / middle, 2),
        "index_bytes": size,
        "index_built_s": round(built_s, 2),
    }


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    print(json.dumps(main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000), indent=1))
