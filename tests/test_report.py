"""A review's events as a document, in words and as a picture."""

import io
import json
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.image import imread

from hearmark.events import Advice, Answer, Ear, Event, Gap, Levels, Over, Turn, Working
from hearmark.picture import ladder_png
from hearmark.report import Recording, document, readable, to_json

DX_HZ = 18_143_500.0
RECORDING = Recording(24_000.0, 18_149_000.0, 95.0)
OVER = Over(1, 0.0, None, DX_HZ)
ANSWER = Answer(1, 6.0, None, 6.8, 18_148_800.0, 0.7, turn=1)
FREQUENCY_HZ = np.linspace(18_148_500.0, 18_153_500.0, 101)
DENSITY = np.exp(-(((FREQUENCY_HZ - 18_149_000.0) / 400.0) ** 2))
EVENTS: list[Event] = [
    OVER,
    replace(OVER, stop_s=4.0, text="ZZ0DX UP"),
    Turn(1, 4.0, 9.0, 1, 7),
    ANSWER,
    replace(ANSWER, stop_s=8.5, call="ZZ1AB", snr_db=9.26, confidence=0.93, marked_at_s=8.6),
    Turn(2, 14.0, 19.0, 2, 9),
    Answer(2, 15.0, 17.0, 16.0, 18_149_200.0, 0.8, turn=2, retracted_at_s=18.0),
    Answer(3, 15.5, 17.5, 19.0, 18_150_000.0, 0.3, turn=2),
    Answer(4, 16.0, 17.0, 17.0, 18_149_000.0, 0.9, by="operator"),
    Gap(50.0, 52.5, "own transmission"),
    Levels(1.0, -3.0, 0.01, -40.0, 32.0, None, 0),
    Ear(90.0, FREQUENCY_HZ, DENSITY / DENSITY.sum() / 50.0, "steps up by 200 Hz"),
    Advice(80.0, "call", 18_149_250.0, 0.21, "He moves up after each contact."),
    Advice(91.0, "listen", None, None, "He is talking."),
]


def test_document() -> None:
    content = json.loads(to_json(document(EVENTS, RECORDING, DX_HZ, "usb")))
    assert content["schema"] == 1
    assert content["recording"] == {"sample_rate_hz": 24000.0, "center_hz": 18149000.0, "duration_s": 95.0}
    assert content["dx"] == {
        "frequency_hz": DX_HZ,
        "mode": "usb",
        "overs": [{"start_s": 0.0, "stop_s": 4.0, "text": "ZZ0DX UP"}],
    }
    assert content["answers"][0] == {
        "start_s": 6.0,
        "stop_s": 8.5,
        "marked_at_s": 6.8,
        "frequency_hz": 18_148_800.0,
        "confidence": 0.93,
        "call": "ZZ1AB",
        "snr_db": 9.3,
    }
    assert [a.get("retracted_at_s") for a in content["answers"]] == [None, 18.0, None, None]
    assert content["answers"][3]["by"] == "operator"
    step_hz = content["ear"]["frequency_hz"][1] - content["ear"]["frequency_hz"][0]
    assert sum(content["ear"]["density_per_hz"]) * step_hz == pytest.approx(1.0, abs=1e-4)
    assert content["advice"] == {
        "transmit_hz": 18_149_250.0,
        "success_per_call": 0.21,
        "why": "He moves up after each contact.",
    }


def test_nothing_found_is_still_a_document() -> None:
    content = document([], RECORDING, None, None)
    assert (content["answers"], content["ear"], content["advice"]["transmit_hz"]) == ([], None, None)
    assert "0 answers found." in readable(content)


def test_an_unknown_dx_takes_the_frequency_of_his_overs() -> None:
    assert document(EVENTS, RECORDING, None, "usb")["dx"]["frequency_hz"] == DX_HZ


def test_words() -> None:
    text = readable(document(EVENTS, RECORDING, DX_HZ, "usb"))
    assert "1:35 at 24 kHz around 18149.0 kHz" in text
    assert "   0:06  18148.80    +5.30   93 %   9 dB  ZZ1AB" in text
    assert "(taken back)" in text
    assert "18150.00" not in text
    assert "Call on 18149.25 kHz, 21 % a call." in text
    assert "turn its gain down" in text
    assert "Deaf for 2.5 s in 1 gaps." in text


def test_picture_is_an_image_and_shows_its_marks() -> None:
    with_marks = imread(io.BytesIO(ladder_png(EVENTS, DX_HZ, "usb", (18_148_500.0, 18_153_500.0))), format="png")
    assert with_marks.shape[0] >= 400
    assert with_marks.shape[1] >= 800
    unmarked = [event for event in EVENTS if not isinstance(event, Answer)]
    without = imread(io.BytesIO(ladder_png(unmarked, DX_HZ, "usb", (18_148_500.0, 18_153_500.0))), format="png")
    assert with_marks.shape != without.shape or np.abs(with_marks - without).max() > 0.3


def test_picture_of_nothing() -> None:
    assert ladder_png([], DX_HZ, "cw").startswith(b"\x89PNG")


def test_how_he_works_is_told_where_it_is_known() -> None:
    told = [Working(20.0, 0.9, "usb", 3, 18_148_600.0, 18_153_300.0), Working(40.0, 0.968, "usb", 6)]
    content = json.loads(to_json(document([*EVENTS, *told], RECORDING, DX_HZ, "usb")))
    assert content["dx"]["works"] == {"split": 0.968, "overs": 6, "window_hz": [18_148_600.0, 18_153_300.0]}
    assert "Works split: 97 %, up 5.1 to 9.8 kHz, voice, upper sideband" in readable(content)
    simplex = document([*EVENTS, *told, Working(60.0, 0.0004, "usb", 6)], RECORDING, DX_HZ, "usb")
    assert simplex["dx"]["works"]["window_hz"] is None
    assert "Works simplex: 99 %, voice" in readable(simplex)
    down = document([*EVENTS, Working(40.0, 0.9, "usb", 6, DX_HZ - 7_000.0, DX_HZ - 5_000.0)], RECORDING, DX_HZ, "usb")
    assert "down 5.0 to 7.0 kHz" in readable(down)
