"""How large the demo's papers are, and what of it is for what.

    .venv/bin/python tests/benchmarks/bench_papers.py

The aim of the project: an invoice in Latin letters takes at most 30 kB without what a shop attaches to it; an
attached file and pictures are said by themselves.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from corekit.desk.demo import run_demo
from tests.report.paper_parts import parts_of


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "demo-out"
        for _ in run_demo(folder):
            pass
        papers = {path.stem: parts_of(path.read_bytes()) for path in (folder / "papers").glob("*.pdf")}
    first = next(iter(papers.values()))
    print(f"  {'kB':<48} {'bare':>8} " + " ".join(f"{what:>14}" for what in first))
    for name, parts in sorted(papers.items()):
        bare = sum(parts.values()) - parts["attached files"] - parts["pictures"]
        told = " ".join(f"{size / 1000:14.1f}" for size in parts.values())
        print(f"  {name:<48} {bare / 1000:8.1f} {told}")


if __name__ == "__main__":
    main()
