"""What announcements mean. The phrases are common practice, no source; the windows are what an operator would set."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hearmark.duplex.announcement import best, readings, written
from hearmark.duplex.bands import BANDS
from hearmark.errors import HearmarkError
from hearmark.events import Mode, Plan

VOICE, MORSE, FORTY, TWENTY = (
    (18_143.5, "usb"),
    (7_005.0, "cw"),
    (7_085.0, "lsb"),
    (14_195.0, "usb"),
)  # fmt: skip

TABLE: tuple[tuple[tuple[float, Mode], str], ...] = (
    # 17 m voice, DX on 18143.5: phrase = offsets of the likeliest window in kHz
    (VOICE, """
        plus five to plus ten = 5 10
        up 2 and 1/2 = 2.5 2.5
        five kay up = 5 5
        no longer split = 0 0
        not working split = 0 0
        split off = 0 0
        was simplex, now up 5 = 5 5
        3 5 7 up = 3 7
        up 3 5 7 = 3 7
        up 599 = 5 10
        up 5, 18148.5 = 5 5
        SPLIT +5..+10 = 5 10
        up 5000 = 5 5
        QSX 18148,18150 = 4.5 6.5
        18143.5 / 18150 split = 6.5 6.5
        18143.5/18150 = 6.5 6.5
        up 5 to 18155 = 5 11.5
        lsn 148 / 150 / 155 = 4.5 11.5
        above 5 = 5 10
        listening above 150 = 6.5 11.5
        150 upwards = 6.5 11.5
        from one fifty up = 6.5 11.5
        up 5, 10 and 15 = 5 15
        up 5,10,15 = 5 15
        5, 10 or 15 up = 5 15
        up five, ten or fifteen = 5 15
        listening 148, 150 and 155 = 4.5 11.5
        tuning 150 to 160 = 6.5 16.5
        up a kilohertz = 1 1
        half a kilohertz up = 0.5 0.5
        up abt 5 = 5 5
        5kup = 5 5
        my frequency only = 0 0
        listening one double five = 11.5 11.5
        up = 5 10
        UP UP = 5 10
        up up up = 5 10
        upwards = 5 10
        higher = 5 10
        listening up = 5 10
        QSX UP = 5 10
        calling CQ listening up = 5 10
        up a bit = 5 10
        pse up = 5 10
        split = 5 10
        SPLIT UP = 5 10
        working split = 5 10
        not simplex, split = 5 10
        down = -10 -5
        listening down = -10 -5
        lower = -10 -5
        dn = -10 -5
        up 5 = 5 5
        UP5 = 5 5
        up5 = 5 5
        U5 = 5 5
        5 up = 5 5
        5up = 5 5
        5UP tnx = 5 5
        +5 = 5 5
        QSX +5 = 5 5
        split +5 = 5 5
        plus 5 = 5 5
        up 5 kHz = 5 5
        up 5 kc = 5 5
        up 5k = 5 5
        5 kHz up = 5 5
        5 khz higher = 5 5
        5 kilohertz up = 5 5
        five up = 5 5
        up five = 5 5
        five up five up = 5 5
        up 5 up 5 = 5 5
        up by 5 = 5 5
        up about 5 = 5 5
        up 5 or so = 5 5
        listening 5 up = 5 5
        listening up 5 = 5 5
        I'm listening five up = 5 5
        QSX 5 up = 5 5
        QSX UP 5 = 5 5
        he is listening up 5 kHz = 5 5
        split up 5 = 5 5
        SPLIT 5 UP = 5 5
        up 5 plus = 5 10
        up 5+ = 5 10
        5 and up = 5 10
        5 or more up = 5 10
        from 5 up = 5 5
        up from 5 = 5 10
        5 to 10 up = 5 10
        up 5 to 10 = 5 10
        up 5-10 = 5 10
        UP5-10 = 5 10
        5-10 up = 5 10
        5-10UP = 5 10
        up 5–10 = 5 10
        up 5 - 10 = 5 10
        up 5 thru 10 = 5 10
        up 5 through 10 = 5 10
        up 5/10 = 5 10
        up 5..10 = 5 10
        up 5 10 = 5 10
        up 10-5 = 5 10
        up 10 to 5 = 5 10
        up from 5 to 10 = 5 10
        from 5 to 10 up = 5 10
        between 5 and 10 up = 5 10
        up between 5 and 10 = 5 10
        5 up to 10 up = 5 10
        5 up to 10 = 5 10
        up five to ten = 5 10
        five to ten up = 5 10
        Five to Ten Up! = 5 10
        listening five to ten up please = 5 10
        5 to 10 higher = 5 10
        5 to 10 above = 5 10
        listening 5 to 10 = 5 10
        QSX 5-10 = 5 10
        QSX 5 to 10 up = 5 10
        5 to 10 kHz up = 5 10
        up 5 kHz to 10 kHz = 5 10
        up to 10 = 5 10
        up ten to fifteen = 10 15
        ten to twenty up = 10 20
        up twenty = 20 20
        up twenty five = 25 25
        up 20-25 = 20 25
        up 2.5 = 2.5 2.5
        up 2,5 = 2.5 2.5
        up 7.5 to 12.5 = 7.5 12.5
        up 1 and a half = 1.5 1.5
        one and a half up = 1.5 1.5
        up 1½ = 1.5 1.5
        up 2 1/2 = 2.5 2.5
        up two and a half = 2.5 2.5
        up one point five = 1.5 1.5
        up 1 point 5 = 1.5 1.5
        up 1 decimal 5 = 1.5 1.5
        up half a kilohertz = 0.5 0.5
        down 2 = -2 -2
        2 down = -2 -2
        DN 2 = -2 -2
        DWN2 = -2 -2
        -2 = -2 -2
        QSX -2 = -2 -2
        minus 2 = -2 -2
        2 below = -2 -2
        2 kHz lower = -2 -2
        down 5 to 10 = -10 -5
        5 to 10 down = -10 -5
        listening 5 to 10 below = -10 -5
        down two to four = -4 -2
        listening 148 to 155 = 4.5 11.5
        listening between 148 and 155 = 4.5 11.5
        listening from 148 to 155 = 4.5 11.5
        listening 148-155 = 4.5 11.5
        listening 48 to 55 = 4.5 11.5
        listening one four eight to one five five = 4.5 11.5
        listening one forty eight to one fifty five = 4.5 11.5
        148 to 155 = 4.5 11.5
        up 148 = 4.5 4.5
        up to 155 = 5 11.5
        down to 18130 = -13.5 -5
        upto 10 = 5 10
        up 1500 Hz = 1.5 1.5
        up 1k5 = 1.5 1.5
        up:5 = 5 5
        up 5 ~ 10 = 5 10
        5-10u = 5 10
        up .5 = 0.5 0.5
        up 1 to up 3 = 1 3
        plus minus 5 = -5 5
        up 5,10 = 5 10
        listening here = 0 0
        qsx same = 0 0
        split 5 = 5 5
        18150 to 18160 = 6.5 16.5
        above 18150 = 6.5 11.5
        NA only = 5 10
        [UP 5] = 5 5
        TX18143.5 RX18150 = 6.5 6.5
        QSX 18151 = 7.5 7.5
        QSX 18151.0 = 7.5 7.5
        QSX 18.151 = 7.5 7.5
        QSX 18 151 = 7.5 7.5
        QSX 18,151.5 = 8 8
        QSX 18.151,5 = 8 8
        QSX 18.151.5 = 8 8
        QSX 18151 kHz = 7.5 7.5
        QSX 18.151 MHz = 7.5 7.5
        QSX 18151000 Hz = 7.5 7.5
        QSX 151 = 7.5 7.5
        QSX 151.5 = 8 8
        QSX eighteen one fifty one = 7.5 7.5
        QSX one eight one five one = 7.5 7.5
        listening on 18151 = 7.5 7.5
        listening on one five one = 7.5 7.5
        rx 18151 = 7.5 7.5
        QSX 18148-18155 = 4.5 11.5
        QSX 18148-55 = 4.5 11.5
        listening 18.148 to 18.155 = 4.5 11.5
        QSX 18135 = -8.5 -8.5
        listening down on 18135 = -8.5 -8.5
        up 18151 = 7.5 7.5
        18151 = 7.5 7.5
        on 18143.5 listening 18151 = 7.5 7.5
        from 18148 up = 4.5 9.5
        up from 18148 = 4.5 9.5
        five-to-ten up = 5 10
        up one-and-a-half = 1.5 1.5
        listening on 18150 up to 18160 = 6.5 16.5
        listening anywhere from 5 to 10 up = 5 10
        five or so up = 5 5
        +5 to +10 = 5 10
        +5/+10 = 5 10
        -5 to -10 = -10 -5
        plus 5 to plus 10 = 5 10
        QSX18151 = 7.5 7.5
        UP/5 = 5 5
        5 to 10 up from here = 5 10
        Listening up, five to ten. = 5 10
        five to ten kilohertz up = 5 10
        simplex = 0 0
        simplex now = 0 0
        SIMPLEX! = 0 0
        no split = 0 0
        not split = 0 0
        transceive = 0 0
        listening on his own frequency = 0 0
        listening on my frequency = 0 0
        on the same frequency = 0 0
        listening for fours up 5 to 10 = 5 10
        number fours only, up 5 = 5 5
        listening for 4 up 3 = 3 3
        only 7s, 5 up = 5 5
        4 land only up 5 = 5 5
        listening for fours = 5 10
        EU only up 5 = 5 5
        UP 2 tnx QSO 73 = 2 2
        CQ up 5 10dB = 5 5
        599 up 2 = 2 2
        up 5 599 in JO50 = 5 5
        loud, up 5 to 10 and fast = 5 10
        W4 up 2 = 2 2
        K4ABC up 1 = 1 1
        tnx new one! up 3 = 3 3
        AS-001 up 5 = 5 5
        wkd 0712z up 4 = 4 4
    """),
    # 40 m Morse, DX on 7005
    (MORSE, """
        UP = 1 3
        TU UP = 1 3
        QRZ? UP UP = 1 3
        UP 1 = 1 1
        UP1 = 1 1
        1UP = 1 1
        QSX UP 1 = 1 1
        QSX 1 UP = 1 1
        U1 = 1 1
        UP 1-3 = 1 3
        UP 1 TO 3 = 1 3
        UP 1 3 = 1 3
        UP 1/2 = 1 2
        UP 1.5 = 1.5 1.5
        UP 500 = 0.5 0.5
        UP 500 HZ = 0.5 0.5
        up five hundred = 0.5 0.5
        DN 1 = -1 -1
        DWN 2 = -2 -2
        QSX 7010 = 5 5
        QSX 7.010 = 5 5
        QSX 7010.5 = 5.5 5.5
        QSX 7008-7012 = 3 7
        split = 1 3
        CQ DE W1AA UP = 1 3
        R TU UP 2 = 2 2
        599 TU = none
        TU FB U 599 = none
        QSX? = none
    """),
    # 40 m voice, DX on 7085: the window lies far away, in another region's voice part
    (FORTY, """
        QSX 7 dot 240 to 245 = 155 160
        QSX 7.240 to 7.245 = 155 160
        QSX 7.240-245 = 155 160
        QSX 7 point two four zero = 155 155
        QSX 7240 = 155 155
        QSX seven two forty = 155 155
        listening 240 = 155 155
        listening two forty to two forty five = 155 160
        listening on seven two forty = 155 155
        up 240 = 155 155
        up 5 = 5 5
    """),
    (TWENTY, """
        listening 200 to 210 = 5 15
        listening 14 205 to 14 210 = 10 15
        fourteen two oh five to two ten = 10 15
        listening 14.205 megahertz = 10 10
        QSX 14205 through 210 = 10 15
        two hundred to two hundred ten = 5 15
        fourteen two hundred to fourteen two ten = 5 15
        listening fourteen two oh five = 10 10
        listening two hundred and five = 10 10
        QSX 14.200,5 = 5.5 5.5
        14205-10 = 10 15
        up 200 = 5 5
        listening between two hundred and two ten = 5 15
        listening one nine zero to one eight five = -10 -5
        QSX 14.2 = 5 5
        QSX 14.2 to 14.21 = 5 15
        listening 195 to 205 = 0 10
        fourteen point two oh five = 10 10
        14.200 to 14.210 = 5 15
        JA only QSX 14205 = 10 10
        FT8 -12 dB 1500 Hz = none
        IOTA AS-001 = none
        599 73 = none
        QSY up 5 = none
        five nine = none
        hello up there = 5 10
    """),
)  # fmt: skip

PHRASES = [
    (on_khz, mode, *(part.strip() for part in line.rsplit("=", 1)))
    for (on_khz, mode), lines in TABLE
    for line in lines.strip().splitlines()
]


def test_the_table_is_long_enough() -> None:
    assert len({(row[0], row[2]) for row in PHRASES}) >= 150


@pytest.mark.parametrize(("on_khz", "mode", "phrase", "expected"), PHRASES)
def test_phrase(on_khz: float, mode: Mode, phrase: str, expected: str) -> None:
    found = readings(phrase, on_khz * 1000.0, mode)
    if expected == "none":
        assert found == ()
        return
    assert sum(reading.probability for reading in found) == pytest.approx(1.0)
    assert [r.probability for r in found] == sorted((r.probability for r in found), reverse=True)
    plan = found[0].plan
    offsets = [(hz - plan.receive_hz) / 1000.0 for hz in (plan.listen_low_hz, plan.listen_high_hz)]
    assert offsets == pytest.approx([float(x) for x in expected.split()], abs=1e-6), found
    assert all(reading.why for reading in found)


@pytest.mark.parametrize(
    ("phrase", "on_khz", "mode", "windows"),
    [
        ("QSX 10", 14_195.0, "usb", {(14_205.0, 14_205.0), (14_210.0, 14_210.0)}),
        ("listening 5 to 10", 18_143.5, "usb", {(18_148.5, 18_153.5), (18_133.5, 18_138.5)}),
        ("up 1/2", 7_005.0, "cw", {(7_006.0, 7_007.0), (7_005.5, 7_005.5)}),
        ("up and down", 18_143.5, "usb", {(18_148.5, 18_153.5), (18_133.5, 18_138.5)}),
        ("up 5 or 10", 18_143.5, "usb", {(18_148.5, 18_148.5), (18_153.5, 18_153.5), (18_148.5, 18_153.5)}),
        ("listening for fours", 18_143.5, "usb", {(18_148.5, 18_153.5), (18_143.5, 18_143.5)}),
        ("split", 18_143.5, "usb", {(18_148.5, 18_153.5), (18_133.5, 18_138.5)}),
        ("up 5, listening 18149", 18_143.5, "usb", {(18_148.5, 18_148.5), (18_149.0, 18_149.0)}),
    ],
)
def test_ambiguity_gives_each_reading(
    phrase: str, on_khz: float, mode: Mode, windows: set[tuple[float, float]]
) -> None:
    found = readings(phrase, on_khz * 1000.0, mode)
    khz = {(r.plan.listen_low_hz / 1000.0, r.plan.listen_high_hz / 1000.0) for r in found}
    assert windows <= khz
    assert found[0].probability < 0.95


@pytest.mark.parametrize(
    ("phrase", "who"),
    [
        ("listening for fours", ("4",)),
        ("fours only up 5", ("4",)),
        ("number 4 up 5", ("4",)),
        ("call area 7, up 5", ("7",)),
        ("listening for ones through threes up 5", ("1", "2", "3")),
        ("only 4s up 5", ("4",)),
        ("zeros now, up 5", ("0",)),
        ("EU only up 5", ("EU",)),
        ("JA and EU only, up 5", ("JA", "EU")),
        ("up 5 no EU", ("not EU",)),
        ("up 5", ()),
        ("QSX 14", ()),
    ],
)
def test_whom_he_asks_for(phrase: str, who: tuple[str, ...]) -> None:
    assert readings(phrase, 18_143_500.0, "usb")[0].who == who


def test_whom_without_where_keeps_the_window() -> None:
    current = Plan(18_143_500.0, 18_150_000.0, 18_152_000.0, "usb")
    found = readings("listening for fives", 18_143_500.0, "usb", current)
    assert [(r.plan, r.probability, r.who) for r in found] == [(current, 1.0, ("5",))]


def test_simplex_is_a_plan_of_its_kind() -> None:
    assert best("simplex", 7_005_000.0, "cw").plan == Plan(
        7_005_000.0, 7_005_000.0, 7_005_000.0, "cw", "simplex", "simplex"
    )


def test_what_says_nothing_is_refused_with_examples() -> None:
    with pytest.raises(HearmarkError, match='"hello" does not say where he listens; write it like "up 5 to 10"'):
        best("hello", 7_005_000.0, "cw")


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.text(max_size=40), st.sampled_from(["cw", "usb", "lsb"]))
def test_any_text_is_read_or_passed_over(text: str, mode: Mode) -> None:
    found = readings(text, 14_195_000.0, mode)
    assert all(reading.plan.listen_low_hz <= reading.plan.listen_high_hz for reading in found)


WORDS = (
    "up", "down", "u", "dn", "5", "10", "1.5", "14200", "to", "-", "/", "and", "or", "qsx", "listening", "split",
    "five", "twenty", "half", "point", "khz", "hz", "mhz", "fours", "only", "plus",
)  # fmt: skip


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.lists(st.sampled_from(WORDS), max_size=8), st.sampled_from([7_005e3, 14_195e3, 18_143.5e3, 9_000e3]))
def test_any_order_of_its_words_is_read_or_passed_over(words: list[str], on_hz: float) -> None:
    for mode in ("cw", "usb"):
        found = readings(" ".join(words), on_hz, mode)
        assert not found or sum(reading.probability for reading in found) == pytest.approx(1.0)


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    band = draw(st.sampled_from([band for band in BANDS if 1e6 < band.low_hz < 500e6]))
    inside = st.integers(int(band.low_hz) + 1, int(band.high_hz))
    receive_hz = float(draw(inside))
    mode: Mode = draw(st.sampled_from(["cw", "usb", "lsb"]))
    if draw(st.booleans()) and draw(st.booleans()):
        return Plan(receive_hz, receive_hz, receive_hz, mode, "simplex", "simplex")
    low_hz, high_hz = sorted((float(draw(inside)), float(draw(inside))))
    if low_hz == high_hz == receive_hz:
        return Plan(receive_hz, receive_hz, receive_hz, mode, "simplex", "simplex")
    return Plan(receive_hz, low_hz, high_hz, mode)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(plans())
def test_a_written_plan_reads_back_as_itself(plan: Plan) -> None:
    found = best(written(plan), plan.receive_hz, plan.mode)
    assert found.plan == plan


@settings(max_examples=200, deadline=None, derandomize=True)
@given(plans(), st.sampled_from(["TNX QSO ", "loud in EU! "]), st.sampled_from([" 73", " pse QSL", " 599"]))
def test_it_does_so_among_other_words(plan: Plan, before: str, after: str) -> None:
    assert best(f"{before}{written(plan)}{after}", plan.receive_hz, plan.mode).plan == plan


@pytest.mark.parametrize(
    "text", ["up or down 5", "up/dn 5", "up and down five", "up 5 or down 5", "up 5 down 5", "QSX UP/DN 5"]
)
def test_either_side_is_two_places_and_no_stretch_upwards(text: str) -> None:
    likely = {round(r.plan.listen_low_hz - 18_143_500.0) for r in readings(text, 18_143_500.0, "usb")[:2]}
    assert likely == {5000, -5000}


@pytest.mark.parametrize("text", ["up 1, 2, 3", "up 1, 2 or 3", "1, 2, or 3 up", "up 1,2,3"])
def test_figures_of_a_list_are_never_read_as_one_number(text: str) -> None:
    found = readings(text, 14_023_000.0, "cw")
    assert (found[0].plan.listen_low_hz, found[0].plan.listen_high_hz) == (14_024_000.0, 14_026_000.0)
    assert max(r.plan.listen_high_hz for r in found) < 14_030_000.0


def test_a_list_of_areas_is_no_window() -> None:
    found = readings("listening for 4, 5 and 6, up 5", 14_195_000.0, "usb")
    assert (found[0].plan.listen_low_hz, found[0].who) == (14_200_000.0, ("4", "5", "6"))


def test_digits_said_one_by_one_behind_the_point() -> None:
    found = best("listening 7 point 1 6 5 to 7 point 1 7 5", 7_085_000.0, "lsb").plan
    assert (found.listen_low_hz, found.listen_high_hz) == (7_165_000.0, 7_175_000.0)


@pytest.mark.parametrize(
    "keep_off",
    [
        "do not call on my frequency", "please don't call on my frequency", "don't call here", "no calls on my freq",
        "not on this frequency", "DO NOT TX ON MY FREQ", "stop calling on my frequency", "no simplex", "not here",
        "never transmit on this frequency", "not on my own frequency", "pse do not call me on my qrg",
        "no more calls on this frequency", "I do not listen on my frequency", "nothing heard on my frequency",
    ],
)  # fmt: skip
@pytest.mark.parametrize("where", ["listening 5 to 10 up", "up", "QSX 18150", "split"])
def test_who_forbids_calls_on_his_frequency_does_not_listen_there(keep_off: str, where: str) -> None:
    for text in (f"{keep_off}, {where}", f"{where}, {keep_off}"):
        found = readings(text, 18_143_500.0, "usb")
        assert found, text
        assert not [r for r in found if r.plan.kind == "simplex"], text


@pytest.mark.parametrize(
    "text",
    [
        "listening on this frequency no split",
        "no split, call me here, listening on my frequency",
        "never mind, simplex",
    ],
)
def test_who_listens_where_he_sends(text: str) -> None:
    assert [r.plan.kind for r in readings(text, 18_143_500.0, "usb")] == ["simplex"]


def test_simplex_beside_an_offset_does_not_send_us_onto_the_dx() -> None:
    found = readings("simplex up 5", 18_143_500.0, "usb")
    assert [r.plan.kind for r in found] == ["split", "simplex"]
