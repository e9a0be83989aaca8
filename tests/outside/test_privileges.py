"""Edges of 47 CFR 97.301, 97.303(h), 97.305 and of the Radio Regulations, Article 5, as carriers.

All values here are from memory of those rules, written down apart from the tables and from the code.
"""

import pytest

from hearmark.duplex.privileges import table, verdict
from hearmark.events import PlanMode

# licence, mode, dial in kHz, may
US: tuple[tuple[str, PlanMode, float, bool], ...] = (
    # 97.301(b), (c), (d): 20 m by class
    ("us-extra", "cw", 14_000.1, True),
    ("us-extra", "usb", 14_150.0, True),
    ("us-extra", "usb", 14_149.0, False),
    ("us-advanced", "usb", 14_175.0, True),
    ("us-advanced", "usb", 14_174.0, False),
    ("us-advanced", "cw", 14_160.0, False),
    ("us-general", "usb", 14_225.0, True),
    ("us-general", "usb", 14_224.9, False),
    ("us-general", "cw", 14_025.1, True),
    ("us-general", "cw", 14_024.9, False),
    ("us-general", "cw", 14_200.0, False),
    # the signal counts, not the dial
    ("us-extra", "usb", 14_349.0, False),
    ("us-extra", "usb", 14_347.0, True),
    ("us-extra", "lsb", 14_349.0, True),
    ("us-extra", "lsb", 14_151.0, False),
    ("us-extra", "lsb", 7_127.9, True),
    ("us-extra", "lsb", 7_126.0, False),
    ("us-general", "lsb", 7_177.0, False),
    ("us-general", "lsb", 7_178.0, True),
    ("us-general", "lsb", 3_802.0, False),
    ("us-general", "lsb", 3_803.0, True),
    ("us-advanced", "lsb", 3_703.0, True),
    ("us-extra", "lsb", 3_603.0, True),
    ("us-extra", "lsb", 3_601.0, False),
    # 17 m, 15 m, 12 m, 10 m voice
    ("us-general", "usb", 18_110.0, True),
    ("us-general", "usb", 18_109.0, False),
    ("us-general", "usb", 18_165.0, True),
    ("us-general", "usb", 18_166.0, False),
    ("us-general", "usb", 21_275.0, True),
    ("us-general", "usb", 21_270.0, False),
    ("us-advanced", "usb", 21_225.0, True),
    ("us-extra", "usb", 21_200.0, True),
    ("us-general", "usb", 24_930.0, True),
    ("us-general", "usb", 28_300.0, True),
    # 30 m: no voice
    ("us-extra", "usb", 10_120.0, False),
    ("us-extra", "cw", 10_149.9, True),
    # 97.301(e): Technician below 30 MHz
    ("us-technician", "cw", 7_050.0, True),
    ("us-technician", "cw", 7_130.0, False),
    ("us-technician", "cw", 21_100.0, True),
    ("us-technician", "cw", 14_030.0, False),
    ("us-technician", "usb", 28_400.0, True),
    ("us-technician", "usb", 28_498.0, False),
    ("us-technician", "usb", 21_300.0, False),
    ("us-technician", "fm", 146_520.0, True),
    ("us-novice", "fm", 146_520.0, False),
    ("us-novice", "fm", 223_500.0, True),
    # 97.303(h): channels, upper sideband, carrier 1.5 kHz below the centre; Morse on the centre
    ("us-general", "usb", 5_330.5, True),
    ("us-general", "usb", 5_346.5, True),
    ("us-general", "usb", 5_371.5, True),
    ("us-general", "usb", 5_403.5, True),
    ("us-general", "lsb", 5_403.5, False),
    ("us-general", "usb", 5_404.0, False),
    ("us-general", "cw", 5_405.0, True),
    ("us-general", "cw", 5_403.5, False),
    ("us-general", "usb", 5_355.0, True),
    ("us-general", "usb", 5_364.0, False),
    ("us-technician", "usb", 5_330.5, False),
    # VHF
    ("us-general", "usb", 50_125.0, True),
    ("us-general", "usb", 50_090.0, False),
    ("us-general", "cw", 50_090.0, True),
    ("us-general", "usb", 144_200.0, True),
    ("us-general", "usb", 144_050.0, False),
)


@pytest.mark.parametrize(("licence", "mode", "khz", "may"), US)
def test_united_states(licence: str, mode: PlanMode, khz: float, may: bool) -> None:
    assert verdict(table(licence), khz * 1e3, mode).lawful is may


@pytest.mark.parametrize(
    ("region", "mode", "khz", "inside"),
    [
        (1, "cw", 1_815.0, True),
        (1, "cw", 1_805.0, False),
        (2, "cw", 1_805.0, True),
        (1, "lsb", 3_799.0, True),
        (1, "lsb", 3_801.0, False),
        (2, "lsb", 3_990.0, True),
        (3, "lsb", 3_899.0, True),
        (3, "lsb", 3_950.0, False),
        (1, "lsb", 7_199.0, True),
        (1, "lsb", 7_201.0, False),
        (2, "lsb", 7_299.0, True),
        (3, "lsb", 7_250.0, False),
        (1, "usb", 14_347.0, True),
        (1, "usb", 14_348.0, False),
        (1, "usb", 5_354.0, True),
        (1, "usb", 5_330.5, False),
        (1, "fm", 145_500.0, True),
        (1, "fm", 146_500.0, False),
        (2, "fm", 146_500.0, True),
    ],
)
def test_regions(region: int, mode: PlanMode, khz: float, inside: bool) -> None:
    assert (verdict(table(f"itu-{region}"), khz * 1e3, mode).lawful is not False) is inside


@pytest.mark.parametrize(
    ("mode", "khz", "fits"),
    [
        ("cw", 14_030.0, True),
        ("usb", 14_050.0, False),
        ("usb", 14_100.0, False),
        ("usb", 14_112.0, True),
        ("usb", 14_195.0, True),
        ("lsb", 7_050.0, False),
        ("lsb", 7_090.0, True),
        ("lsb", 3_790.0, True),
        ("cw", 10_110.0, True),
        ("usb", 10_140.0, False),
        ("usb", 18_120.0, True),
        ("usb", 18_100.0, False),
        ("usb", 21_115.0, False),
        ("usb", 21_200.0, True),
        ("usb", 28_500.0, True),
        ("fm", 29_600.0, False),
    ],
)
def test_region_1_band_plan_is_compared_and_never_unlawful(mode: PlanMode, khz: float, fits: bool) -> None:
    """IARU Region 1 HF band plan, from memory; 6 kHz is its widest bandwidth below 30 MHz."""
    said = verdict(table("iaru-1"), khz * 1e3, mode)
    assert said.lawful is None
    assert ("against the band plan" not in said.why) is fits
