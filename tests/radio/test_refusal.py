"""Where we are not moved to."""

import pytest

from hearmark.errors import HearmarkError
from hearmark.events import Allowed
from hearmark.radio.refusal import refuse_place

DX_HZ = 14_023_000.0
WINDOW = (14_024_000.0, 14_026_000.0)
MAY = Allowed(((14_024_500.0, 14_150_000.0),), True, "by the table")


@pytest.mark.parametrize(
    ("hz", "sure", "why"),
    [
        (DX_HZ + 200.0, True, "would cover him"),
        (14_400_000.0, True, "outside the band"),
        (14_024_100.0, True, "outside what you may use"),
        (14_026_200.0, False, "Enter once more"),
    ],
)
def test_a_place_that_is_refused(hz: float, sure: bool, why: str) -> None:
    with pytest.raises(HearmarkError, match=why):
        refuse_place(hz, DX_HZ, WINDOW, "cw", MAY, sure)


@pytest.mark.parametrize(("hz", "sure"), [(14_025_000.0, False), (14_026_090.0, False), (14_026_200.0, True)])
def test_a_place_that_is_not(hz: float, sure: bool) -> None:
    refuse_place(hz, DX_HZ, WINDOW, "cw", MAY, sure)
