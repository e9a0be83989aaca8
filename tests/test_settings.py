"""The settings file, and the page made from it."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from hearmark.errors import HearmarkError
from hearmark.settings import Settings, page, read_settings, settings_from, table

ROOT = Path(__file__).parent.parent


def test_the_page_in_docs_is_the_one_made_from_the_code() -> None:
    assert (ROOT / "docs" / "settings.md").read_text() == page()


def test_every_setting_has_a_meaning_and_a_default_that_is_accepted() -> None:
    for section, name, default, meaning in table():
        assert meaning.endswith(".")
        head = "[[antenna]]" if section == "antenna" else f"[{section}]"
        assert settings_from(tomllib.loads(f"{head}\n{name} = {default}\n")) == Settings()


def test_a_whole_file(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text(
        '[station]\ncall = "zz9zz/p"\nlocator = "JO50ab"\npower_w = 50\n[[antenna]]\nname = "beam"\ngain_dbi = 7\n'
        '[[antenna]]\nname = "wire"\n[radio]\ncw_dial = "suppressed"\ncw_pitch_hz = 650.5\n[receiver]\nswap_iq = true\n'
    )
    found = read_settings(path)
    assert (found.station.call, found.station.power_w) == ("ZZ9ZZ/P", 50.0)
    assert [antenna.name for antenna in found.antenna] == ["beam", "wire"]
    assert (found.radio.cw_dial, found.radio.cw_pitch_hz, found.receiver.swap_iq) == ("suppressed", 650.5, True)
    assert read_settings(None) == Settings()


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("[station]\npower = 5", "fault at station.power: extra inputs are not permitted"),
        ('[station]\npower_w = "5"', "fault at station.power_w"),
        ("[station]\npower_w = -1", "fault at station.power_w: input should be greater than or equal to 0"),
        ('[station]\nlocator = "here"', "fault at station.locator: expected a maidenhead locator"),
        ('[station]\ncall = "nobody"', "fault at station.call: expected a call sign"),
        ('[radio]\ncw_dial = "tone"', "fault at radio.cw_dial"),
        ("[receiver]\nrate_hz = inf", "fault at receiver.rate_hz"),
        ("[station\n", "are not TOML"),
    ],
)
def test_faults_are_named(tmp_path: Path, text: str, sentence: str) -> None:
    path = tmp_path / "s.toml"
    path.write_text(text)
    with pytest.raises(HearmarkError, match=sentence):
        read_settings(path)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(HearmarkError, match=r"Cannot read the settings .*none\.toml"):
        read_settings(tmp_path / "none.toml")


@hypothesis_settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.dictionaries(
        st.sampled_from(["station", "antenna", "radio", "receiver", "page", "x"]),
        st.dictionaries(
            st.sampled_from(["call", "power_w", "port", "rate_hz", "name"]),
            st.none() | st.integers() | st.text() | st.floats() | st.lists(st.integers(), max_size=2),
        )
        | st.integers(),
        max_size=3,
    )
)
def test_any_content_is_read_or_refused_in_one_sentence(content: dict[str, object]) -> None:
    try:
        settings_from(content)
    except HearmarkError as error:
        sentence = str(error)
    else:
        return
    assert "\n" not in sentence
