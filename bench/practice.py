"""Practice: how far the samples run behind the people, how much faster than life, and what the two others need.

For each lesson: CPU time of people, samples and two-ear sound against the sample clock; then, over pile-ups 0 to 11,
how often the perfect tail-ender is worked in the time of the lesson and his median time, and the program's time in the
pile-up that the lesson offers. Run: python bench/practice.py
"""

from __future__ import annotations

import statistics
import time

from hearmark.practice.ears import Ears
from hearmark.practice.lesson import levels
from hearmark.practice.play import Practice
from hearmark.practice.yardstick import perfect_tail_ender, program
from hearmark.report import clock

SECONDS = 40.0
SEEDS = range(12)


def main() -> None:
    print("lesson         mode behind s  x life  tail-ender worked  median  program")
    for name, lesson in levels().items():
        for mode in ("cw", "usb"):
            practice, ears = Practice(lesson, mode), Ears(mode)
            begin = time.process_time()
            while practice.now_s < SECONDS:
                block = practice.next_block()
                ears.feed(block, *practice.desk.ears_hz)
            fast = SECONDS / (time.process_time() - begin)
            behind_s = practice.now_s - block.start_s
            times = [perfect_tail_ender(lesson, mode, seed, "") for seed in SEEDS]
            got = [one for one in times if one is not None]
            took = program(lesson, mode, lesson.seed, "")
            middle = clock(statistics.median(got)) if got else "-"
            print(
                f"{name:14s} {mode:4s} {behind_s:8.2f} {fast:7.1f} {f'{len(got)} of {len(times)}':>18s} {middle:>7s} "
                f"{'-' if took is None else clock(took):>8s}",
                flush=True,
            )


if __name__ == "__main__":
    main()
