"""How much memory a batch of so many layouts takes when its results are read, summed up and written.

    python tests/bench/many_results.py 1000000 FOLDER/out.csv

Writes as many made-up results (half of them good, chunks in a shuffled order, as many workers would) to
FOLDER/out.jsonl, then, in a process of its own, does all that the batch command does with them when nothing is
left to be asked, and prints the most memory that took, MB, and the seconds. Needs some 300 bytes of disk a layout.
"""

from __future__ import annotations

import random
import resource
import subprocess
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from small_layouts import LAYOUTS, written

from fitcheck.batching import _write
from fitcheck.layouts.asked import numbered
from fitcheck.layouts.batch import Batch
from fitcheck.layouts.journal import Journal, digest, models_of
from fitcheck.layouts.read import read_layouts
from fitcheck.layouts.summary import summary
from fitcheck.outputs.layouts_text import summary_text

CHUNK = 500
# Layouts of the file for each value of `gap`: three widths, four roofs.
EACH = 12


def layouts_file(folder: Path, count: int) -> Path:
    """A layouts file of about so many layouts."""
    last = (count // EACH - 1) * 0.0001
    text = LAYOUTS.replace("to: 12 mm, step: 1.5 mm", f"to: {last:.4f} mm, step: 0.0001 mm")
    return written(folder, text.partition("exclude:")[0] + "figures:" + text.partition("figures:")[2])


def make(path: Path, results: Path) -> None:
    """Made-up results of all layouts."""
    layouts = read_layouts(path)
    chunks = [
        range(at, min(at + CHUNK, layouts.choices.count)) for at in range(0, layouts.choices.count, CHUNK)
    ]
    rng = random.Random(0)
    rng.shuffle(chunks)
    head = {"digest": digest(layouts, models_of(layouts)), "layouts": layouts.choices.count}
    with Journal(results, head, anew=True) as journal:
        for number in (number for chunk in chunks for number in chunk):
            good = rng.random() < 0.5
            found = {"least": round(rng.uniform(0, 20), 3), "price": rng.choice([3, 5, 9])}
            record = {**numbered(layouts, number), "verdict": "fits" if good else "fails", "figures": found}
            said = "second.body is 1.2 mm from first.body; 2 mm is demanded"
            wrong = {
                "worst": "clearance:first~second",
                "sentence": said,
                "failing": ["clearance:first~second"],
            }
            journal.write({**record, "missed": [], **({} if good else wrong)})


def gather(path: Path, out: Path) -> None:
    """What the batch command does when nothing is left to be asked; prints its memory."""
    begun = time.perf_counter()
    layouts = read_layouts(path)
    journal = Batch(layouts, path, None, out.with_suffix(".jsonl"), 1).run(lambda done, total, now: None)
    found = summary(layouts, journal)
    _write(out, layouts, journal)
    assert summary_text(layouts, found)
    print(found.asked, round(_peak()), round(time.perf_counter() - begun, 1))


def _peak() -> float:
    """The most memory of this process, MB: a system that counts what it was started from is asked otherwise."""
    status = Path("/proc/self/status")
    if not status.exists():
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM:"))
    return int(line.split()[1]) / 1024


def peak_of(count: int, out: Path) -> tuple[int, float, float]:
    """The layouts gathered, the most memory that took, MB, and the seconds."""
    path = layouts_file(out.parent, count)
    make(path, out.with_suffix(".jsonl"))
    words = [sys.executable, __file__, "gather", str(path), str(out)]
    said = subprocess.run(words, capture_output=True, text=True, check=True).stdout.split()
    return int(said[0]), float(said[1]), float(said[2])


if __name__ == "__main__":
    if sys.argv[1] == "gather":
        gather(Path(sys.argv[2]), Path(sys.argv[3]))
    else:
        asked, peak, seconds = peak_of(int(sys.argv[1]), Path(sys.argv[2]))
        print(f"{asked:,} layouts: {peak:.0f} MB at most, {seconds:.0f} s")
