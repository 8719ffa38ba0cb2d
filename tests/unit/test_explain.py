"""The loss budget and its sentence."""

import numpy as np
import pytest

import farhear as fh
from farhear.reception import explain, likelihood, report_codes

CIRCUIT = (45.0, 25.0, 58.4, 26.7)
CASES = [
    ("none", 9600.0, "2025-03-15T18:00Z", {"power_kw": 250.0}),
    ("absorption", 2400.0, "2025-06-15T10:00Z", {"power_kw": 10.0}),
    ("above_muf", 25900.0, "2025-03-15T01:00Z", {"power_kw": 100.0}),
    ("noise", 9600.0, "2025-03-15T18:00Z", {"power_kw": 100.0, "noise": 110.0}),
]


@pytest.mark.parametrize(("limit", "freq_khz", "utc", "given"), CASES)
def test_budget_adds_up(limit: str, freq_khz: float, utc: str, given: dict[str, float]) -> None:
    why = explain(*CIRCUIT, freq_khz, utc, f107_sfu=120.0, **given)
    assert why.limit == limit
    db = dict(zip(why.budget["item"], why.budget["db"], strict=True))
    ends = ["field", "to power", "noise", "S/N", "required", "margin"]
    parts = sum(value for item, value in db.items() if item not in ends)
    assert parts == pytest.approx(db["field"], abs=0.7)  # 14 lines rounded to 0.1 dB
    assert db["field"] + db["to power"] + db["noise"] == pytest.approx(db["S/N"], abs=0.2)
    assert db["S/N"] + db["required"] == pytest.approx(db["margin"], abs=0.2)
    assert f"{why.likelihood:.2f}" in why.sentence
    same = likelihood(*CIRCUIT, freq_khz, utc, f107_sfu=120.0, **given)
    assert why.likelihood == float(same["likelihood"])


def test_only_single_circuits_by_rays() -> None:
    with pytest.raises(fh.InputError, match="one circuit"):
        explain(
            *CIRCUIT,
            np.array([9600.0, 9700.0]),
            "2025-03-15T18:00Z",
            power_kw=1.0,  # type: ignore[arg-type]
            f107_sfu=120.0,
        )
    with pytest.raises(fh.InputError, match="rays"):
        explain(
            *CIRCUIT, 9600.0, "2025-03-15T18:00Z", power_kw=1.0, f107_sfu=120.0, engine="mirror"
        )


def test_report_codes_follow_the_signal() -> None:
    given = {"f107_sfu": 120.0}
    strong = likelihood(*CIRCUIT, 9600.0, "2025-03-15T18:00Z", power_kw=500.0, **given)
    weak = likelihood(*CIRCUIT, 9600.0, "2025-03-15T18:00Z", power_kw=0.01, **given)
    digits = np.arange(1, 6)
    for seen in (strong, weak):
        codes = report_codes(seen)
        for letter in codes[:5]:
            assert letter.sum() == pytest.approx(1.0)
    assert (report_codes(strong).strength @ digits) > (report_codes(weak).strength @ digits) + 1
    assert (report_codes(strong).overall @ digits) > (report_codes(weak).overall @ digits) + 1
