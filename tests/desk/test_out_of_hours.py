"""Work when the shop would be closed, at prices of its own.

The amounts are worked by hand: an hour 100.00, at night 150.00; coming 20.00, at night 60.00; 10 % tax.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.billing.estimate import PriceError
from corekit.cli import main
from corekit.fault import DataFileError

from .test_changes import DONE, PRICES, printed, shop_in

NIGHT = PRICES.replace('call_out  = "0.00"', 'call_out  = "20.00"') + (
    '\n[out_of_hours]\nper_hour = "150.00"\ncall_out = "60.00"\n'
)


def test_an_estimate_for_the_night_has_the_prices_of_the_night_and_says_so(tmp_path: Path) -> None:
    with shop_in(tmp_path, prices=NIGHT) as shop:
        job = shop.import_visit(tmp_path / "visit.toml")
        looked = shop.estimate(job, "diagnosis", out_of_hours=True)
        assert str(looked.total) == "121.00"  # 1.1 × (60 + 50): looking has its one price
        estimate = shop.estimate(job, "repair", out_of_hours=True)
        assert str(estimate.total) == "352.00"  # 1.1 × (2 × 150 + 20)
        assert "Call-out, out of hours" in printed(shop, job, looked.document)
        assert "Charge the battery, out of hours" in printed(shop, job, estimate.document)
        assert str(shop.estimate(job, "repair").total) == "242.00", "by day the usual ones"
        shop.approve(estimate, by="customer", how="in person")
        file = tmp_path / "visit.toml"
        file.write_text(file.read_text("utf-8") + DONE, "utf-8")
        shop.import_visit(file)
        assert shop.issue(job).document.total == "352.00"


def test_without_a_call_out_of_the_night_the_usual_one_stands(tmp_path: Path) -> None:
    prices = NIGHT.replace('\ncall_out = "60.00"\n', "\n")
    with shop_in(tmp_path, prices=prices) as shop:
        job = shop.import_visit(tmp_path / "visit.toml")
        looked = shop.estimate(job, "diagnosis", out_of_hours=True)
        assert str(looked.total) == "77.00"  # 1.1 × (20 + 50)
        assert "Call-out, out of hours" not in printed(shop, job, looked.document)


def test_a_shop_without_such_prices_is_told_what_to_write(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with shop_in(tmp_path) as shop:
        job = shop.import_visit(tmp_path / "visit.toml")
        with pytest.raises(PriceError, match=r"out_of_hours.*has no prices"):
            shop.estimate(job, "repair", out_of_hours=True)
        assert main(["estimate", job, "--out-of-hours", "--shop", str(shop.context.folder)]) != 0
        assert "out_of_hours = { per_hour" in capsys.readouterr().err


@pytest.mark.parametrize(
    "row", ['call_out = "60.00"', 'per_hour = "much"', 'per_hour = "1.00"\nat = "night"']
)
def test_prices_of_the_night_with_a_fault_are_refused(tmp_path: Path, row: str) -> None:
    with pytest.raises(DataFileError, match="out_of_hours"):
        shop_in(tmp_path, prices=f"{PRICES}\n[out_of_hours]\n{row}\n")
