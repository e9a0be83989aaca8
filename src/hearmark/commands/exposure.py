"""hearmark exposure: how far people must stay from the antenna."""

from __future__ import annotations

import json as jsons
from pathlib import Path

import click

from hearmark.commands.shared import FLOAT
from hearmark.errors import HearmarkError

FILE = click.Path(path_type=Path)
MODES = ["ssb", "ssb processed", "cw", "am", "fm", "data"]


@click.command()
@click.option("--frequency-mhz", "mhz", type=FLOAT, required=True)
@click.option("--power-w", type=FLOAT, help="Peak power of the transmitter; from the settings if left out.")
@click.option("--gain-dbi", type=FLOAT, help="Of the antenna; from the settings if left out.")
@click.option("--loss-db", type=FLOAT, help="Of the feed line; from the settings if left out.")
@click.option("--mode", type=click.Choice(MODES), default="ssb", show_default=True, help="Sets the mode factor.")
@click.option("--factor", type=FLOAT, help="Mode factor of your own, 0 to 1.")
@click.option("--duty", type=FLOAT, help="Share of the averaging time that you send; calling in a pile-up if left out.")
@click.option("--free-space", is_flag=True, help="Without the ground's reflection.")
@click.option("--settings", "settings_path", type=FILE, help="Settings file (TOML).")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def exposure(
    mhz: float, power_w: float | None, gain_dbi: float | None, loss_db: float | None, mode: str, factor: float | None,
    duty: float | None, free_space: bool, settings_path: Path | None, as_json: bool,
) -> None:  # fmt: skip
    """Compliance distances by 47 CFR 1.1310 and OET Bulletin 65: an estimate; local rules decide."""
    from hearmark.duplex import exposure as by
    from hearmark.settings import read_settings

    if not 0.0 < mhz < 1e6:
        raise HearmarkError(f"--frequency-mhz {mhz:g} is no frequency; give it in MHz, like 14.2.")
    settings = read_settings(settings_path)
    station = settings.station
    antenna = next((one for one in settings.antenna if one.low_mhz <= mhz <= one.high_mhz), settings.antenna[0])
    power = station.power_w if power_w is None else power_w
    gain = antenna.gain_dbi if gain_dbi is None else gain_dbi
    loss = station.feed_loss_db if loss_db is None else loss_db
    of_mode = by.MODE_FACTORS[mode] if factor is None else factor
    share = by.PILE_UP_DUTY if duty is None else duty
    eirp_w = by.mean_eirp_w(power, gain, loss, of_mode, share)
    found = by.exposures(mhz * 1e6, eirp_w, by.FREE_SPACE if free_space else by.GROUND)
    if as_json:
        content = {
            "frequency_mhz": mhz,
            "mean_eirp_w": round(eirp_w, 3),
            "power_w": power,
            "gain_dbi": gain,
            "loss_db": loss,
            "mode_factor": of_mode,
            "duty": share,
            "ground_reflection": not free_space,
            "limits": [
                {
                    "who": one.who,
                    "limit_mw_cm2": round(one.limit_mw_cm2, 5),
                    "averaging_min": one.averaging_min,
                    "distance_m": round(one.distance_m, 3),
                    "near_field": one.near_field,
                }
                for one in found
            ],
            "cautions": list(by.CAUTIONS),
        }
        click.echo(jsons.dumps(content, indent=2))
        return
    called = " (calling in a pile-up: 2 s of every 8)" if duty is None else ""
    click.echo(
        f"{mhz:g} MHz, {power:g} W, {gain:g} dBi, {loss:g} dB feed loss, mode factor {of_mode:g} ({mode}), sending "
        f"{100 * share:g} % of the time{called}: mean EIRP {eirp_w:.1f} W."
    )
    for one in found:
        who = "you and those who know" if one.who == "controlled" else "everybody else"
        near = "; INSIDE the near field: the figure does not hold there" if one.near_field else ""
        click.echo(
            f"  {who} ({one.who}, mean over {one.averaging_min:g} min, {one.limit_mw_cm2:.3g} mW/cm²): "
            f"stay {one.distance_m:.1f} m ({one.distance_m / 0.3048:.0f} ft) away{near}."
        )
    for caution in by.CAUTIONS:
        click.echo(caution)
