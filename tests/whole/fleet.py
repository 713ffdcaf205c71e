"""A small fleet to bill: vehicles of one customer whose visits are typed, estimated, approved and done in a
few lines.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import attrs

from corekit.desk.estimating import Estimate
from corekit.desk.shop import Shop
from corekit.plugin.host import Plugins, load

from .chain import found_shop

CUSTOMER = {"name": "Invented Deliveries", "address": "9 Made-up Road, Sampleton", "phone": "000 0009"}

#: Prices whose cents do not come out even, so that rounding shows: hour and part are net, tax is 19 %.
PRICES = """
currency  = "EUR"
tax       = { rates = { standard = "19" }, default = "standard" }
labour    = { per_hour = "61.70" }
call_out  = "20.01"
diagnosis = { price = "30.02" }

[operations."battery.clean_contacts"]
hours = "0.35"
parts = [ { name = "Terminal protection", price = "4.55", quantity = "1", condition = "new" } ]

[operations."battery.charge"]
hours = "0.4"
"""

SOUND = [
    {"seen": [{"of": "battery.case", "is": "sound"}, {"of": "battery.terminals", "is": "clean and tight"}]},
    {
        "setup": {"battery.rest_time": "9 h", "battery.temperature": "4 °C"},
        "readings": [{"of": "battery.open_circuit_voltage", "is": "12.78 V", "with": "meter"}],
    },
]


@attrs.define
class Fleet:
    """A real shop and the vehicles of one customer; open the shop with `open`."""

    folder: Path
    plugins: Plugins = attrs.field(factory=load)

    @classmethod
    def of(cls, folder: Path, *, page: str = "https://pages.example.org", prices: str = PRICES) -> Fleet:
        found_shop(folder, page=page, law=("--jurisdiction", "US-MA"))  # asks for no tax number
        (folder / "prices.toml").write_text(prices, "utf-8")
        return cls(folder)

    def open(self) -> Shop:
        return Shop(self.folder, plugins=self.plugins)

    def visited(
        self,
        name: str,
        *,
        description: str,
        plate: str,
        customer: dict[str, str] | None = None,
        work: tuple[str, ...] = (),
        **more: Any,
    ) -> str:
        """A visit to its end, ready to be billed: diagnosis estimated and approved, readings, the work asked
        for approved and done. Gives the job's id.
        """
        rows: dict[str, Any] = {
            "job": name,
            "reason": f"Complaint about {name}.",
            "vehicle": {"plate": plate, "description": description},
            "customer": CUSTOMER if customer is None else customer,
            "traits": {"battery.type": "AGM"},
            "step": [*SOUND, *more.pop("step", [])],
        }
        with self.open() as shop:
            job = self.added(shop, rows)
            self.approved(shop, shop.estimate(job, "diagnosis"))
            if work:
                asked = [
                    {"requested": {"operation": operation, "ground": "customer", "because": "asked for"}}
                    for operation in work
                ]
                rows["step"] = [*rows["step"], *asked]
                self.added(shop, rows)
                self.approved(shop, shop.estimate(job, "repair"), **more)
                rows["step"] = [
                    *rows["step"],
                    *({"repaired": {"operation": operation}} for operation in work),
                ]
                self.added(shop, rows)
        return job

    def added(self, shop: Shop, rows: dict[str, Any]) -> str:
        file = self.folder.parent / f"{rows['job']}.json"
        file.write_text(json.dumps(rows), "utf-8")
        return shop.import_visit(file)

    @staticmethod
    def approved(shop: Shop, estimate: Estimate, **more: Any) -> None:
        shop.approve(estimate, by="customer", how="by message", **more)
