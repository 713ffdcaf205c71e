"""Run inside the stranger's environment: the screens of a fresh demo shop, asked as a browser would, and what they say as JSON.

    python drive_screens.py SHOP
"""

from __future__ import annotations

import html
import json
import re
import shutil
import sys
from pathlib import Path
from typing import Any

from corekit.desk.setup import found
from corekit.reference import data_path
from corekit.work.app import OpenDoor
from corekit.work.opening import opened


def text_of(page: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page[page.index("<main") :])).split())


def drive(client: Any) -> dict[str, str]:
    seen: dict[str, str] = {}
    count = iter(range(1000))

    def look(name: str, path: str) -> str:
        reply = client.get(path, follow_redirects=True)
        assert reply.status_code == 200, (path, reply.status_code)
        seen[name] = text_of(reply.get_data(as_text=True))
        return str(reply.get_data(as_text=True))

    def answer(job: str, **fields: str) -> None:
        own = {"answer": f"answer-of-a-stranger-{next(count):03}", "guard": "", "screen": "/"}
        reply = client.post(f"/job/{job}/answer", data=own | fields)
        assert reply.status_code == 303, (fields, text_of(reply.get_data(as_text=True)))

    job = re.search(r'action="/job/([a-z0-9]{12})/answer"', look("new", "/new"))
    assert job is not None
    name = job[1]
    answer(name, **{"reason": "The pedal goes down.", "vehicle.plate": "DEMO-9"})
    look("systems", f"/job/{name}/test")
    look("fitted", f"/job/{name}/fitted/brakes")
    answer(name, **{'traits."brakes.pedal_ratio"': "4", 'traits."brakes.master_bore"': "22", 'traits."brakes.master_bore"|unit': "mm"})
    look("first", f"/job/{name}/test?about=brakes")
    look("force", f"/job/{name}/test/brakes.pedal_force")
    reading = {"step[0].readings[0].of": "brakes.pedal_force", "step[0].readings[0].is": "300", "step[0].readings[0].is|unit": "N"}
    tried = client.post(f"/job/{name}/try", data=reading | {"answer": "a" * 20, "guard": "", "screen": "/"})
    seen["tried"] = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", tried.get_data(as_text=True))).split())
    answer(name, **reading)
    look("pedal", f"/job/{name}/test/brakes.pedal")
    answer(name, **{"step[0].seen[0].of": "brakes.pedal", "step[0].seen[0].is": "spongy"})
    look("record", f"/job/{name}/record")
    look("reckon", "/reckon/brakes.expected_pressure")
    return seen


def main(folder: Path) -> None:
    folder.mkdir()
    for name in ("shop.toml", "prices.toml"):
        shutil.copy(data_path("demo") / "shop" / name, folder / name)
    found(folder, demo=True)
    with opened(folder, OpenDoor()) as app:
        print(json.dumps(drive(app.test_client())))


if __name__ == "__main__":  # the worker's process imports this file again
    main(Path(sys.argv[1]))
