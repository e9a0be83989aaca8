"""One trial: a pile-up drawn from a seed, our station in it, one tactic."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

from hearmark.events import Mode
from hearmark.simulate.people import Pileup
from hearmark.simulate.scenario import preset
from hearmark.simulate.session import Habit, Scenario
from hearmark.study.crowd import Crowd
from hearmark.study.station import OwnStation, strength_db
from hearmark.study.tactics import Name, tactic

Level = Literal["easy", "medium", "hard", "brutal"]
MEDIUM_CALLERS = 40


@dataclass(frozen=True, slots=True)
class Trial:
    """What is played. `weaker_than`: share of the pile-up that the DX hears better than us."""

    tactic: Name
    habit: Habit
    seed: int
    mode: Mode = "cw"
    level: Level = "medium"
    weaker_than: float = 0.75
    minutes: float = 60.0
    renewed: bool = True

    @property
    def key(self) -> str:
        """Its name in the file of results: equal for equal trials only."""
        return "/".join(str(value) for value in asdict(self).values())

    def scenario(self) -> Scenario:
        """The pile-up."""
        level = "hard" if self.level == "medium" else self.level
        drawn = preset(level, self.mode, self.seed, self.habit, self.minutes * 60.0)
        if self.level == "medium":
            drawn = replace(drawn, callers=MEDIUM_CALLERS, name="medium")
        return replace(drawn, renewed=self.renewed)


def plan(tactics: Iterable[Name], habits: Iterable[Habit], seeds: Iterable[int], **what: Any) -> list[Trial]:
    """Every tactic and habit on the same seeds; `what` as in `Trial`. Seed by seed."""
    return [
        Trial(tactic=name, habit=habit, seed=seed, **what)
        for seed in seeds
        for habit in tuple(habits)
        for name in tuple(tactics)
    ]


def run(trial: Trial, draw: int = 0) -> dict[str, Any]:
    """Play it: the trial's fields and what came of it, as one flat record.

    `draw`: the same pile-up with other draws of our operator's reactions and luck.
    """
    own_seed = trial.seed + 1_000_003 * draw
    pileup = Pileup(trial.scenario())
    pileup.advance(0.0)
    snr_db = strength_db(pileup, trial.weaker_than)
    own_db = snr_db - strength_db(pileup, 0.5)
    scenario = pileup.scenario
    crowd = Crowd(scenario.mode, scenario.window_low_hz, scenario.window_high_hz, pileup.stations)
    how = tactic(trial.tactic, pileup, crowd, own_db, own_seed)
    result = OwnStation(pileup, how, crowd, snr_db, own_seed, trial.minutes * 60.0).run()
    return {"key": trial.key, **asdict(trial), **asdict(result)}


def warm() -> None:
    """Compile the ear's loops."""
    run(Trial("program", "stay", 1, level="easy", minutes=1.0))
