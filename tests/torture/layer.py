"""The fault layer (`fault_layer.c`): built by the machine's compiler, loaded in front of another Python."""

from __future__ import annotations

import ctypes
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

SOURCE = Path(__file__).with_name("fault_layer.c")


def reason_it_cannot_run() -> str:
    """Why the layer cannot be used here; empty where it can."""
    if not sys.platform.startswith("linux"):
        return "the fault layer needs Linux"
    return "" if shutil.which("cc") else "the fault layer needs a C compiler (cc)"


def run_under_layer(module: str, folder: Path, **given: Any) -> Any:
    """Run `module.main(folder, **given)` in a Python with the layer in front of it; gives what it returns."""
    library = folder / "fault_layer.so"
    subprocess.run(
        ["cc", "-shared", "-fPIC", "-O1", "-o", str(library), str(SOURCE), "-ldl", "-lpthread"], check=True
    )
    out = folder / "result.json"
    code = (
        f"import json,sys,pathlib;from {module} import main;"
        "r=main(pathlib.Path(sys.argv[1]),**json.loads(sys.argv[2]));"
        "pathlib.Path(sys.argv[3]).write_text(json.dumps(r))"
    )
    environment = {**os.environ, "LD_PRELOAD": str(library)}
    subprocess.run(
        [sys.executable, "-c", code, str(folder), json.dumps(given), str(out)],
        check=True,
        env=environment,
        cwd=Path(__file__).parents[2],
    )
    return json.loads(out.read_text("utf-8"))


def layer() -> Any:
    """The layer of this process, which was started under it."""
    return ctypes.CDLL(os.environ["LD_PRELOAD"])
