"""Practice: how soon after the key one hears oneself, and how far on the air is by then from what is in the ears.

    python bench/practice_press.py [--presses 12]

In headless Chromium, sound on, the first lesson: from the key press in the page to one's own sound at the output of
its audio graph (the sound card's own delay comes on top), and from what is in the ears at the press to the moment from
which the DX hears the call. Beside it the page's store of sound, and what it dropped.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import sys
from pathlib import Path
from typing import Any

LISTEN = """() => {
  const { sound } = globalThis.hearmark;
  const player = sound.player;
  const told = player.port.onmessage;
  let done = () => {};
  player.port.onmessage = (event) => { told(event); if (event.data.sending) done(); };
  globalThis.press = () => new Promise((ready) => {
    const began = performance.now();
    done = () => { done = () => {}; ready(performance.now() - began); };
    setTimeout(() => ready(NaN), 3000);
    document.dispatchEvent(new KeyboardEvent("keydown", { key: " ", bubbles: true }));
  });
}"""


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--presses", type=int, default=12)
    presses = parser.parse_args().presses
    from page_frames import ARGS
    from playwright.sync_api import sync_playwright

    from hearmark.practice.lesson import levels
    from hearmark.practice.room import Room
    from hearmark.practice.served import PracticeServer

    room = Room(levels(), "Q9TST")
    own: list[float] = []
    held: list[float] = []
    report: dict[str, Any] = {}
    with PracticeServer(room, port=0) as server, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=ARGS)
        page = browser.new_context(viewport={"width": 1280, "height": 720}).new_page()
        page.goto(server.url + "practice")
        page.wait_for_timeout(1500)
        page.keyboard.press("Enter")
        page.wait_for_timeout(20_000)
        page.evaluate(LISTEN)
        for _ in range(presses):
            own.append(page.evaluate("globalThis.press()"))
            page.wait_for_timeout(4000)
            report = page.evaluate("globalThis.hearmark.sound.report")
            held.append(1000 * report["held_s"])
        practice = room.practice
        ahead = [1000 * (press.start_s - press.heard_s) for press in practice.presses] if practice else []
        browser.close()
    print(f"presses                                        {len(ahead)}")
    print(f"from the key to one's own sound                {statistics.median(own):.0f} ms, most {max(own):.0f} ms")
    print(f"on the air behind what is in the ears          {statistics.median(ahead):.0f} ms, most {max(ahead):.0f} ms")
    print(f"store of sound in the page                     {statistics.median(held):.0f} ms")
    print(
        f"dropped, left out in a rush, holes             {report['dropped']}, {report['hurried']}, {report['lacking']}"
    )


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent))
    main()
