"""The page in a real browser: what it shows, what keys do, how it sounds, and that everyone can use it."""

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from conftest import hold, reads, until
from script import DX_HZ, VIEW, ScriptedEngine, stream

from hearmark.web.live import LiveSession
from hearmark.web.server import Server

Serve = Callable[..., Server]
Open = Callable[..., Any]
AXE = Path(__file__).parents[2] / "node_modules/axe-core/axe.min.js"
MIDDLE_S = 20 * 12 + 8.7
"""Just after the twenty-first answer: the cue is to move."""
MODEL = "globalThis.hearmark.model"


@pytest.fixture
def page(serve: Serve, new_page: Open) -> Any:
    """A page of its own, for tests that change something."""
    page = new_page(serve(start_s=MIDDLE_S).url)
    until(page, f"{MODEL}.advice?.cue === 'move'")
    return page


@pytest.fixture(scope="module")
def still(chromium: Any) -> Iterator[Any]:
    """One page that stands still, for all tests that only look."""
    with Server(LiveSession(stream(MIDDLE_S), ScriptedEngine(), VIEW), port=0) as server:
        context = chromium.new_context(viewport={"width": 1280, "height": 720})
        page = context.new_page()
        page.goto(server.url)
        until(page, f"globalThis.hearmark && {MODEL}.advice?.cue === 'move'")
        hold(page)
        yield page
        context.close()


def settle(page: Any) -> None:
    """Lets one frame be drawn."""
    page.evaluate("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def pixel_share(page: Any, colour: str, top: float, bottom: float) -> float:
    """Share of the canvas between two heights (0 to 1) that has the colour of this style variable."""
    settle(page)
    return float(
        page.evaluate(
            """([colour, top, bottom]) => {
              const canvas = document.getElementById("canvas");
              const probe = document.createElement("canvas").getContext("2d");
              probe.fillStyle = getComputedStyle(document.documentElement).getPropertyValue(`--${colour}`);
              probe.fillRect(0, 0, 1, 1);
              const want = probe.getImageData(0, 0, 1, 1).data;
              const y = Math.round(top * canvas.height), h = Math.round((bottom - top) * canvas.height);
              const data = canvas.getContext("2d").getImageData(0, y, canvas.width, h).data;
              let hits = 0;
              for (let i = 0; i < data.length; i += 4)
                if ([0, 1, 2].every((k) => Math.abs(data[i + k] - want[k]) < 10)) hits++;
              return hits / (data.length / 4);
            }""",
            [colour, top, bottom],
        )
    )


def test_cue_reason_and_own_frequency_stand_in_words_and_figures(still: Any) -> None:
    settle(still)
    text = still.inner_text("#cue").replace("\u2009", " ")
    assert "MOVE" in text
    assert "steps up" in text
    assert "+6.8 kHz" in text
    assert "18 150.3" in text
    assert "29 %" in text
    assert still.inner_text("#cue-live").startswith("move. Better place +5.")
    place = still.inner_text("#own-target").removeprefix("better ")
    assert f"Better place {place} kilohertz." in still.inner_text("#cue-live"), "as it is shown, so it is told"
    reads(still, "#marks", "QA1XYZ +5.8 kilohertz, sure")


def test_a_place_is_told_in_the_figures_that_are_shown(page: Any) -> None:
    for own, place in (("null", "+1.15"), (f"{DX_HZ + 5000}", "+2.85")):
        hz = DX_HZ + 1000 * float(place)
        page.evaluate(
            f"{MODEL}.mode = 'cw'; {MODEL}.transmitHz = {own};"
            f" {MODEL}.advice = {{...{MODEL}.advice, transmit_hz: {hz}}}; {MODEL}.changed()"
        )
        settle(page)
        told = page.inner_text("#cue-live")
        assert f"Better place {place} kilohertz." in told
        assert place in page.inner_text("#own")


def test_cue_is_a_very_large_word_and_nothing_scrolls_or_overflows(page: Any) -> None:
    settle(page)
    assert page.evaluate("parseFloat(getComputedStyle(document.getElementById('cue-word')).fontSize)") >= 96
    for cue in ("wait", "call", "listen", "move", "you"):
        page.evaluate(f"{MODEL}.advice = {{...{MODEL}.advice, cue: '{cue}'}}; {MODEL}.changed()")
        settle(page)
        assert page.evaluate("document.documentElement.scrollHeight <= innerHeight")
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        box = page.evaluate(
            """() => { const r = document.createRange(); r.selectNodeContents(document.getElementById("cue-word"));
            const word = r.getBoundingClientRect(), why = document.getElementById("cue-why").getBoundingClientRect();
            return [word.right, why.left]; }"""
        )
        assert box[0] <= box[1], cue


def test_a_change_of_cue_moves_nothing_else(page: Any) -> None:
    places = """() => ["cue-word", "cue-why", "cue-chance", "own-offset", "canvas", "controls", "cue"].map((id) => {
      const box = document.getElementById(id).getBoundingClientRect(); return [id, box.top]; })"""
    settle(page)
    before = page.evaluate(places)
    other = "cue: 'you', why: 'You!', success_per_call: null"
    page.evaluate(f"{MODEL}.advice = {{...{MODEL}.advice, {other}}}; {MODEL}.changed()")
    settle(page)
    assert page.inner_text("#cue-word").lower() == "you"
    assert page.evaluate(places) == before


def test_ladder_above_and_hill_below_are_drawn(still: Any) -> None:
    assert pixel_share(still, "mark", 0.0, 0.48) > 0.001
    assert pixel_share(still, "ear", 0.5, 0.84) > 0.02
    assert pixel_share(still, "ear", 0.0, 0.45) < 0.0005
    assert pixel_share(still, "own", 0.0, 1.0) > 0.001


def test_hill_stands_where_the_belief_is(still: Any) -> None:
    settle(still)
    x, peak = still.evaluate(
        """() => {
          const { field, model } = globalThis.hearmark;
          const canvas = field.canvas, ratio = canvas.width / canvas.clientWidth;
          const y = Math.round((field.scales.ground - 20) * ratio);
          const row = canvas.getContext("2d").getImageData(0, y, canvas.width, 1).data;
          const own = Math.round(field.scales.x(model.transmitHz) * ratio);
          let sum = 0, count = 0;
          for (let i = 0; i < canvas.width / 2; i++) {
            const [r, g, b] = [row[4 * i], row[4 * i + 1], row[4 * i + 2]];
            if (r > 180 && b < 60 && Math.abs(i - own) > 8) { sum += i; count++; }
          }
          return [sum / count / ratio, field.scales.x(model.peakHz())];
        }"""
    )
    assert abs(x - peak) < 12


def test_uncertain_belief_is_drawn_low_and_wide(still: Any) -> None:
    low, high = still.evaluate(
        """async () => {
          const { rise } = await import("/static/ear.js");
          return [rise(1 / 5000, 1 / 5000), rise(2e-3, 2e-4)];
        }"""
    )
    assert low < 0.3 < 0.9 < high < 1
    mask = still.evaluate('async () => (await import("/static/ear.js")).likeliest([1, 5, 3, 1, 0], 0.6)')
    assert mask == [False, True, True, False, False]


FIGURES = {
    "absolute(18150900)": "18\u2009150.9",
    "absolute(1840000, 0)": "1\u2009840",
    "absolute(432100250, 2)": "432\u2009100.25",
    "offset(7400)": "+7.4",
    "offset(-12000, 0)": "\u221212",
    "age(71)": "1:11",
    "age(9.6)": "10 s",
    "chance(0.31)": "31 %",
    "chance(0.004)": "under 1 %",
}


def test_figures_read_as_people_write_them(still: Any) -> None:
    script = """async (calls) => {
      const f = await import("/static/figures.js");
      return Object.fromEntries(calls.map(([call, name, given]) => [call, f[name](...given)]));
    }"""
    calls = [[c, c.split("(")[0], json.loads(f"[{c.split('(')[1][:-1]}]")] for c in FIGURES]
    assert still.evaluate(script, calls) == FIGURES


def test_keys_alone_move_mark_unmark_and_pause(page: Any) -> None:
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowRight")
    until(page, f"{MODEL}.transmitHz === {DX_HZ + 7900}")
    settle(page)
    reads(page, "#own", "+7.9 kHz")
    page.keyboard.press("Enter")
    until(page, f"Math.abs({MODEL}.transmitHz - {MODEL}.advice.transmit_hz) < 6")
    page.keyboard.press("e")
    until(page, f"Math.abs({MODEL}.status.spot_hz - {MODEL}.peakHz()) < 6")
    page.keyboard.press("Shift+D")
    until(page, f"{MODEL}.status.spot_hz - {MODEL}.peakHz() > 990")
    page.keyboard.press("m")
    until(page, f"{MODEL}.lastMark()?.by === 'operator'")
    page.keyboard.press("u")
    until(page, f"[...{MODEL}.answers.values()].some((a) => a.by === 'operator' && a.retracted_at_s !== null)")
    page.keyboard.press("p")
    until(page, f"{MODEL}.status.state === 'paused'")
    reads(page, "#state", "paused")
    page.keyboard.press("p")
    until(page, f"{MODEL}.status.state === 'running'")


def test_pointer_chooses_a_spot_and_two_clicks_mark_there(page: Any) -> None:
    settle(page)
    x = page.evaluate(f"globalThis.hearmark.field.scales.x({DX_HZ + 8500})")
    page.mouse.dblclick(x, 200)
    until(page, f"{MODEL}.lastMark()?.by === 'operator'")
    assert abs(page.evaluate(f"{MODEL}.lastMark().frequency_hz") - DX_HZ - 8500) < 15
    until(page, f"Math.abs({MODEL}.status.spot_hz - {DX_HZ + 8500}) < 15")


def test_refusal_is_shown_in_words(page: Any) -> None:
    page.evaluate(f"globalThis.hearmark.link.ask({{verb: 'transmit', frequency_hz: {DX_HZ + 100}}})")
    until(page, "document.getElementById('notice').classList.contains('shown')")
    reads(page, "#notice", "would cover him")


def test_a_key_counts_in_the_frame_in_which_a_sheet_closes(page: Any) -> None:
    page.keyboard.press("?")
    until(page, "document.getElementById('help').open")
    opened = page.evaluate(
        "(() => { const [box, help] = ['keys-on', 'help'].map((id) => document.getElementById(id)); box.focus();"
        " help.close(); box.dispatchEvent(new KeyboardEvent('keydown', {key: '?', bubbles: true}));"
        " return help.open; })()"
    )
    assert opened


def test_help_sheet_opens_names_every_key_and_closes(page: Any) -> None:
    page.keyboard.press("?")
    until(page, "document.getElementById('help').open")
    shown = page.inner_text("#help")
    keys = page.evaluate("globalThis.hearmark.controls.commands.map((c) => c.shown)")
    assert all(re.search(rf"(^|\s){re.escape(key)}(\s|$)", shown) for key in keys)
    page.keyboard.press("m")
    page.keyboard.press("?")
    reads(page, "#help", "A point is a caller the DX answered")
    reads(page, "#help", "never keys your transmitter")
    page.keyboard.press("Escape")
    until(page, "!document.getElementById('help').open")
    assert page.evaluate(f"{MODEL}.lastMark()?.by") != "operator"


def test_single_keys_can_be_turned_off(page: Any) -> None:
    page.keyboard.press("?")
    page.click("#keys-on")
    page.keyboard.press("Escape")
    own = page.evaluate(f"{MODEL}.transmitHz")
    page.keyboard.press("ArrowRight")
    page.click("button[data-key='q']")
    until(page, f"{MODEL}.status.duck")
    assert page.evaluate(f"{MODEL}.transmitHz") == own


def test_lost_link_is_shown_and_the_gap_told_when_it_is_back(page: Any) -> None:
    page.evaluate("globalThis.hearmark.link.socket.close()")
    until(page, f"{MODEL}.unlinked.length === 1 && {MODEL}.link === 'open'")
    until(page, "document.getElementById('notice').classList.contains('shown')")
    reads(page, "#notice", "filled in")
    assert page.evaluate(f"{MODEL}.unlinked[0].why") == "no link"


def hatched(page: Any, start: str, stop: str) -> float:
    """Share of the field's pixels in the colour of the hatching, on the strip between two times."""
    settle(page)
    return float(
        page.evaluate(
            f"""() => {{
              const {{ field, model }} = globalThis.hearmark;
              const rungs = model.rungs(), k = rungs.findIndex((turn) => turn.start_s <= {start});
              const [top, bottom] = [field.scales.y(k + 1), field.scales.y(k)];
              const from = rungs[k].start_s;
              const to = k ? rungs[k - 1].start_s : Math.max(model.nowS, from + 12);
              const y = (t) => top + (t - from) / (to - from) * (bottom - top);
              const ratio = field.canvas.width / field.canvas.clientWidth;
              const y0 = Math.round(y({start}) * ratio) + 2, y1 = Math.round(y({stop}) * ratio) - 2;
              const at = Math.round(field.scales.left * ratio), wide = Math.round(300 * ratio);
              const data = field.canvas.getContext("2d").getImageData(at, y0, wide, Math.max(1, y1 - y0)).data;
              let hits = 0;
              for (let i = 0; i < data.length; i += 4) if (data[i] < 235) hits++;
              return hits / (data.length / 4);
            }}"""
        )
    )


def test_after_a_restart_the_ladder_shows_the_gap_in_which_nothing_was_heard(serve: Serve, new_page: Open) -> None:
    server = serve(start_s=MIDDLE_S)
    page = new_page(server.url, color_scheme="light")
    until(page, f"{MODEL}.advice?.cue === 'move'")
    calls = page.evaluate(f"{MODEL}.marks().map((a) => a.call)")
    port = server.port
    server.stop()
    until(page, f"{MODEL}.link === 'lost'")
    settle(page)
    reads(page, "#state", "no link")
    assert page.get_attribute("#cue", "data-cue") == "none"
    reads(page, "#cue-why", "old")
    page.wait_for_timeout(6000)
    # The new session's clock begins at nought, as that of a receiver does
    with Server(LiveSession(stream(0.0), ScriptedEngine(), VIEW), port=port):
        until(page, f"{MODEL}.link === 'open' && {MODEL}.unlinked.length === 1")
        gap = page.evaluate(f"{MODEL}.unlinked[0]")
        assert gap["stop_s"] == 0.0
        assert 6.0 <= gap["stop_s"] - gap["start_s"] <= 30.0
        until(page, "document.getElementById('notice').classList.contains('shown')")
        reads(page, "#notice", "started anew")
        # The marks of before stand above it, in the order in which they were made
        assert page.evaluate(f"{MODEL}.marks().map((a) => a.call)")[: len(calls)] == calls
        assert page.evaluate(f"{MODEL}.marks().slice(0, {len(calls)}).every((a) => a.start_s < {gap['start_s']})")
        assert page.evaluate(f"{MODEL}.lastMark() === null || {MODEL}.lastMark().start_s >= 0")
        until(page, f"{MODEL}.rungs().some((turn) => turn.start_s > 0)")
        page.wait_for_timeout(500)
        assert hatched(page, str(gap["start_s"]), str(gap["stop_s"])) > 0.05
        reads(page, "#marks", "Not heard for")
        # A second restart keeps both gaps apart
    with Server(LiveSession(stream(0.0), ScriptedEngine(), VIEW), port=port):
        until(page, f"{MODEL}.unlinked.filter((gap) => gap.why === 'not heard').length === 2")
        gaps = page.evaluate(f"{MODEL}.unlinked")
        assert gaps[0]["stop_s"] <= gaps[1]["start_s"]
        assert page.evaluate(f"new Set({MODEL}.rungs().map((turn) => turn.id)).size === {MODEL}.rungs().length")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(serve: Serve, new_page: Open, scheme: str) -> None:
    if not AXE.exists():
        pytest.skip("axe-core is not installed (npm install)")
    page = new_page(serve(start_s=MIDDLE_S).url, color_scheme=scheme)
    until(page, f"{MODEL}.advice?.cue === 'move'")
    page.evaluate(AXE.read_text(encoding="utf-8"))

    def serious(where: str) -> list[Any]:
        run = "async (where) => (await axe.run(where)).violations.map((v) => [v.impact, v.id, v.nodes[0].html])"
        return [v for v in page.evaluate(run, where) if v[0] in ("serious", "critical")]

    for cue in ("move", "call"):
        page.evaluate(f"{MODEL}.advice = {{...{MODEL}.advice, cue: '{cue}'}}; {MODEL}.changed()")
        settle(page)
        assert serious("html") == []
    page.keyboard.press("?")
    assert serious("#help") == []
    # The checker itself must be able to find something.
    page.evaluate("document.querySelector('#help button').innerHTML = ''")
    assert [v[1] for v in serious("#help")] == ["button-name"]


def test_policy_holds_in_the_browser(page: Any) -> None:
    outcome = page.evaluate(
        """() => new Promise((done) => {
          document.addEventListener("securitypolicyviolation", (e) => done(e.violatedDirective));
          const script = document.createElement("script");
          script.textContent = "globalThis.broken = 1";
          document.body.append(script);
          setTimeout(() => done("nothing was blocked"), 2000);
        })"""
    )
    assert outcome.startswith("script-src")
    assert page.evaluate("globalThis.broken") is None


def test_worklet_plays_dx_left_and_spot_right_without_holes(page: Any) -> None:
    page.keyboard.press("s")
    until(page, f"{MODEL}.status.sound === true")
    page.evaluate(
        """() => {
          const { context, player } = globalThis.hearmark.sound;
          const parts = context.createChannelSplitter(2);
          player.connect(parts);
          globalThis.ears = [0, 1].map((channel) => {
            const analyser = new AnalyserNode(context, { fftSize: 4096, smoothingTimeConstant: 0 });
            parts.connect(analyser, channel);
            return analyser;
          });
        }"""
    )
    until(page, "(globalThis.hearmark.sound.report?.played ?? 0) > 12000 * 1.5")
    report = page.evaluate("globalThis.hearmark.sound.report")
    assert report["dropped"] == 0
    assert report["held_s"] < 0.4
    assert all(0.02 < rms < 0.3 for rms in report["rms"])
    peaks = page.evaluate(
        """() => globalThis.ears.map((analyser) => {
          const bins = new Float32Array(analyser.frequencyBinCount);
          analyser.getFloatFrequencyData(bins);
          return bins.indexOf(Math.max(...bins)) * analyser.context.sampleRate / analyser.fftSize;
        })"""
    )
    # The stream has 1000 Hz in the DX's sideband and 1400 Hz in that of the spot.
    assert peaks == [pytest.approx(1000, abs=15), pytest.approx(1400, abs=15)]
    assert page.evaluate("globalThis.hearmark.sound.delayS()") < 0.4
    # The line about the sound takes room from nothing else.
    settle(page)
    assert page.evaluate(
        "(({ scrollWidth, clientWidth }) => scrollWidth <= clientWidth)(document.getElementById('heard'))"
    )
    reads(page, "#heard", "ms late")
    assert page.evaluate("document.getElementById('state').getBoundingClientRect().right") <= 1280
    page.keyboard.press("r")
    until(page, "globalThis.hearmark.sound.report.replaying")
    page.keyboard.press("s")
    until(page, f"{MODEL}.status.sound === false")
    assert page.evaluate("globalThis.hearmark.sound.context.state") == "suspended"


def burst(page: Any, seconds: float) -> None:
    """What comes at once after a stall: a steady tone in both ears."""
    page.evaluate(
        """(seconds) => {
          const body = new Int16Array(2 * Math.round(12000 * seconds));
          for (let i = 0; i < body.length; i++) body[i] = 3000 * Math.sin(2 * Math.PI * 600 * (i >> 1) / 12000);
          globalThis.hearmark.sound.play({ kind: "sound", body });
        }""",
        seconds,
    )


def test_what_comes_in_a_rush_after_a_stall_is_played_faster_and_not_dropped(page: Any) -> None:
    page.keyboard.press("s")
    until(page, "(globalThis.hearmark.sound.report?.played ?? 0) > 12000")
    before = page.evaluate("globalThis.hearmark.sound.report")
    burst(page, 1.0)
    until(page, "globalThis.hearmark.sound.report.held_s > 0.8")
    until(page, "globalThis.hearmark.sound.report.held_s < 0.3", 40.0)
    after = page.evaluate("globalThis.hearmark.sound.report")
    assert after["dropped"] == before["dropped"] == 0
    assert after["hurried"] - before["hurried"] > 12_000 * 0.5
    # More than any store: only then something is lost, and it is counted
    burst(page, 3.5)
    until(page, "globalThis.hearmark.sound.report.dropped > 0")


def test_a_tone_keeps_its_pitch_and_level_while_time_is_made_good(page: Any) -> None:
    """The player by itself, fed with a tone: no report of the stream is needed."""
    steady = page.evaluate(
        """async () => {
          const context = new OfflineAudioContext(2, 12000 * 3, 12000);
          await context.audioWorklet.addModule("/static/player.js");
          const given = { numberOfInputs: 0, outputChannelCount: [2] };
          const player = new AudioWorkletNode(context, "hearmark-player", given);
          player.connect(context.destination);
          const body = new Int16Array(2 * 12000 * 2.9);
          for (let i = 0; i < body.length; i++) body[i] = 8000 * Math.sin(2 * Math.PI * 613 * (i >> 1) / 12000);
          player.port.postMessage({ kind: "sound", body });
          await new Promise((done) => setTimeout(done, 200));
          const out = (await context.startRendering()).getChannelData(0).slice(1200, 20000);
          let crossings = 0, low = 1;
          for (let i = 1; i < out.length; i++) if (out[i - 1] < 0 && out[i] >= 0) crossings++;
          for (let i = 0; i + 120 < out.length; i += 120) low = Math.min(low, Math.max(...out.slice(i, i + 120)));
          return [crossings / (out.length / 12000), low];
        }"""
    )
    assert steady[0] == pytest.approx(613, abs=4)
    assert steady[1] > 0.22, "8000 of 32768 is 0.244"


def at(page: Any, hz: float) -> float:
    settle(page)
    return float(page.evaluate(f"globalThis.hearmark.field.scales.x({hz})"))


def drag(page: Any, from_hz: float, to_x: float, y: float = 250.0) -> None:
    top = page.evaluate("document.getElementById('canvas').getBoundingClientRect().top")
    page.mouse.move(at(page, from_hz), top + y)
    page.mouse.down()
    for share in (0.3, 0.6, 1.0):
        page.mouse.move(at(page, from_hz) * (1 - share) + to_x * share, top + y)


def test_our_own_mark_is_dragged_and_snaps_to_the_advice(page: Any) -> None:
    own = page.evaluate(f"{MODEL}.transmitHz")
    spot = page.evaluate(f"{MODEL}.status.spot_hz")
    drag(page, own, at(page, DX_HZ + 8000))
    assert page.evaluate(f"{MODEL}.dragHz") == pytest.approx(DX_HZ + 8000, abs=15)
    assert page.evaluate(f"{MODEL}.transmitHz") == own, "nothing is moved before it is let go"
    page.mouse.up()
    until(page, f"Math.abs({MODEL}.transmitHz - {DX_HZ + 8000}) < 15 && {MODEL}.dragHz === null")
    assert page.evaluate(f"{MODEL}.status.spot_hz") == spot, "a drag is no click"
    advised = page.evaluate(f"{MODEL}.advice.transmit_hz")
    drag(page, page.evaluate(f"{MODEL}.transmitHz"), at(page, advised) + 9)
    assert page.evaluate(f"{MODEL}.dragHz") == pytest.approx(advised, abs=6)
    page.mouse.up()
    until(page, f"Math.abs({MODEL}.transmitHz - {advised}) < 6")


def test_a_drag_is_given_up_by_escape_and_a_touch_of_the_mark_is_a_click(page: Any) -> None:
    own = page.evaluate(f"{MODEL}.transmitHz")
    drag(page, own, at(page, DX_HZ + 8000))
    page.keyboard.press("Escape")
    page.mouse.up()
    settle(page)
    assert page.evaluate(f"[{MODEL}.transmitHz, {MODEL}.dragHz]") == [own, None]
    top = page.evaluate("document.getElementById('canvas').getBoundingClientRect().top")
    page.mouse.click(at(page, own), top + 250)
    until(page, f"Math.abs({MODEL}.status.spot_hz - {own}) < 15")


def test_a_frequency_is_typed(page: Any) -> None:
    page.keyboard.press("n")
    page.keyboard.type("+7,4")
    page.keyboard.press("Enter")
    until(page, f"{MODEL}.transmitHz === {DX_HZ + 7400}")
    page.keyboard.press("Shift+N")
    page.keyboard.type("151.2")
    page.keyboard.press("Enter")
    until(page, f"{MODEL}.status.spot_hz === 18151200")
    page.keyboard.press("n")
    page.keyboard.type("up a bit")
    page.keyboard.press("Enter")
    until(page, "document.getElementById('notice').textContent.includes('is no frequency')")
    page.keyboard.press("n")
    page.keyboard.type("+9")
    page.keyboard.press("Escape")
    settle(page)
    assert page.evaluate(f"{MODEL}.transmitHz") == DX_HZ + 7400
    assert page.evaluate("getComputedStyle(document.getElementById('typed')).visibility") == "hidden"


def test_a_typed_frequency_off_his_window_is_asked_for_twice_and_off_his_band_refused(page: Any) -> None:
    own = page.evaluate(f"{MODEL}.transmitHz")
    notice, shown = "document.getElementById('notice').textContent", "document.getElementById('typed').classList"
    page.keyboard.press("n")
    for typed, why in (
        ("+99", "lies outside the band"), ("21000", "lies outside the band"), ("-1", "would cover him"),
        ("-9", "he listens"),
    ):  # fmt: skip
        page.keyboard.type(typed)
        page.keyboard.press("Enter")
        until(page, f"{notice}.startsWith('Not moved: ') && {notice}.includes('{why}')")
        assert page.evaluate(f"{shown}.contains('shown')")
        assert page.evaluate(f"{MODEL}.transmitHz") == own
    assert "Enter once more moves there" in page.evaluate(notice)
    page.keyboard.press("Enter")
    until(page, f"{MODEL}.transmitHz === {DX_HZ - 9000}")
    assert not page.evaluate(f"{shown}.contains('shown')")


TYPED = {
    "+5.8": 18_149_300, "\u22122": 18_141_500, "-0.5": 18_143_000, "18149.3": 18_149_300, "18 149,3": 18_149_300,
    "149.3": 18_149_300, "": None, "up 5": None, "1e3": None, "+": None, ".5": 18_000_500,
}  # fmt: skip


def test_typed_figures_are_read_as_the_trade_writes_them(still: Any) -> None:
    script = """async (all) => {
      const { frequency } = await import("/static/typed.js");
      return all.map((text) => frequency(text, 18143500)); }"""
    assert dict(zip(TYPED, still.evaluate(script, list(TYPED)), strict=True)) == TYPED


def test_filters_and_the_sound_of_the_cue_by_key(page: Any) -> None:
    page.keyboard.press("x")
    until(page, f"{MODEL}.status.filters.right === 'wide'")
    page.keyboard.press("Shift+X")
    until(page, f"{MODEL}.status.filters.left === 'wide' && {MODEL}.status.filters.right === 'wide'")
    other = "cue: 'wait'"
    page.evaluate(f"{MODEL}.advice = {{...{MODEL}.advice, {other}}}; {MODEL}.changed()")
    settle(page)
    assert page.evaluate("globalThis.hearmark.cues.played") == {}, "silent unless wished"
    page.keyboard.press("c")
    until(page, "globalThis.hearmark.cues.on")
    page.evaluate(f"{MODEL}.advice = {{...{MODEL}.advice, cue: 'call'}}; {MODEL}.changed()")
    until(page, "globalThis.hearmark.cues.played.call === 1")
    page.keyboard.press("c")
    until(page, "!globalThis.hearmark.cues.on")


def test_where_the_browser_gives_no_sound_that_is_said(serve: Serve, new_page: Open) -> None:
    page = new_page(serve(start_s=MIDDLE_S).url)
    page.evaluate("Object.defineProperty(BaseAudioContext.prototype, 'audioWorklet', { get: () => undefined })")
    page.keyboard.press("s")
    until(page, "document.getElementById('notice').textContent.startsWith('No sound here')")
    assert page.get_attribute("button[data-key='s']", "aria-pressed") == "false"
    assert page.evaluate(f"{MODEL}.status.sound") is False


@pytest.mark.parametrize("size", [(1280, 720), (1024, 768)])
def test_no_sheet_hides_the_cue_or_stops_the_ladder(page: Any, size: tuple[int, int]) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})
    settle(page)
    covered = """(id) => {
      const box = document.getElementById(id).getBoundingClientRect();
      const word = document.getElementById("cue-word"), range = document.createRange();
      range.selectNodeContents(word);
      const cue = range.getBoundingClientRect();
      return box.left < cue.right && box.right > cue.left && box.top < cue.bottom && box.bottom > cue.top;
    }"""
    under = """(id) => document.getElementById(id).getBoundingClientRect().top >=
      document.getElementById("field").getBoundingClientRect().bottom"""
    box = "Object.values(document.getElementById('%s').getBoundingClientRect().toJSON())"
    ladder = page.evaluate(box % "canvas")
    for sheet in ("help", "say", "contact"):
        if sheet == "help":
            page.keyboard.press("?")
        else:
            page.evaluate(f"document.getElementById('{sheet}').show()")
        assert page.evaluate(box % "canvas") == ladder, "the ladder moved"
        assert page.evaluate(under, sheet), f"{sheet} lies over the ladder"
        for cue in ("listen", "call", "move"):
            page.evaluate(f"{MODEL}.advice = {{...{MODEL}.advice, cue: '{cue}'}}; {MODEL}.changed()")
            settle(page)
            assert not page.evaluate(covered, sheet), (sheet, cue)
        sizes = page.evaluate(f"(({{scrollHeight: a, clientHeight: b}}) => [a, b])(document.getElementById('{sheet}'))")
        assert sizes[0] <= sizes[1] + 1, sheet
        assert page.evaluate(f"!document.getElementById('{sheet}').matches(':modal')")
        page.keyboard.press("Escape")
        assert page.evaluate(f"!document.getElementById('{sheet}').open")


@pytest.mark.parametrize("size", [(1280, 720), (1024, 768)])
def test_audio_of_one_receiver_says_what_the_ears_can_do(new_page: Any, size: tuple[int, int]) -> None:
    dial_hz = DX_HZ + 6000.0
    audio = (replace(block, center_hz=dial_hz, audio=True) for block in stream(duration_s=60.0))
    with Server(LiveSession(audio, ScriptedEngine(), VIEW), port=0) as server:
        page = new_page(server.url)
        page.set_viewport_size({"width": size[0], "height": size[1]})
        until(page, "document.body.dataset.audio === 'true'")
        page.keyboard.press("s")
        until(page, f"{MODEL}.status.sound")
        said = page.inner_text("#sound-note")
        assert "takes I/Q" in said
        fits = """() => { const note = document.getElementById("sound-note").getBoundingClientRect();
          const button = document.querySelector("button[data-key='s']").getBoundingClientRect();
          return note.top >= button.bottom && note.bottom <= innerHeight && note.right <= innerWidth; }"""
        assert page.evaluate(fits)


def test_with_iq_nothing_is_said_of_one_receiver(page: Any) -> None:
    until(page, f"{MODEL}.status?.audio === false")
    assert page.evaluate("document.getElementById('sound-note').offsetParent === null")
