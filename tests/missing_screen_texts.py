"""Write what the screens lack in a language, a file for each system: `"English" = ""` lines, in the order of
the declarations and with a comment that says where each is from.

    .venv/bin/python tests/missing_screen_texts.py OUT [LANGUAGE]

Filled in, and below a line `[texts]`, the lines are the system's language/screens/<code>.toml.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from corekit.plugin.host import load
from corekit.plugin.system import System
from corekit.report.tongue import tongue_of
from corekit.testing.screen_texts import declared_texts, lacking


def missing_lines(system: System, language: str) -> list[str]:
    tongue = tongue_of(language, [system.folder])
    assert tongue is not None, "English is what they are written in"
    lines, last = [], ""
    for text, where in lacking(declared_texts(system), tongue).items():
        if where != last:
            lines.append(f"# {where}")
        lines.append(f'{json.dumps(text, ensure_ascii=False)} = ""')
        last = where
    return lines


def main(out: Path, language: str = "de") -> None:
    out.mkdir(parents=True, exist_ok=True)
    for system in load().systems.values():
        lines = missing_lines(system, language)
        path = out / f"missing-{system.key}.toml"
        path.write_text("".join(f"{line}\n" for line in lines), "utf-8")
        print(f"{path}: {sum(not line.startswith('#') for line in lines)}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), *sys.argv[2:3])
