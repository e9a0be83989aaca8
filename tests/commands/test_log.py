"""The log on the command line: tables and the same facts as JSON; bad input is one line and exit code 2."""

import json
from pathlib import Path
from typing import Any

import pytest

from hearmark.cli import main

ADI = "<EOH>\n<CALL:4>T0ST<QSO_DATE:8>20260321<TIME_ON:4>1830<BAND:3>20m<MODE:2>CW<EOR>\n<CALL:5>VP8AA<EOR>\n"


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    with pytest.raises(SystemExit) as ended:
        main([str(argument) for argument in arguments])
    out = capsys.readouterr()
    assert ended.value.code == 0, out.err
    return out.out


def run_json(capsys: pytest.CaptureFixture[str], *arguments: object) -> Any:
    return json.loads(run(capsys, *arguments, "--json"))


def fails(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    with pytest.raises(SystemExit) as ended:
        main([str(argument) for argument in arguments])
    assert ended.value.code == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    return said


@pytest.fixture
def db(tmp_path: Path) -> Path:
    return tmp_path / "log.db"


def test_add_then_list(capsys: pytest.CaptureFixture[str], db: Path) -> None:
    added = run_json(
        capsys, "log", "add", "vp8aa", "--freq", 18148.5, "--freq-rx", 18143.5, "--mode", "usb", "--store", db,
        "--at", "2026-03-21 18:30", "--calls-made", 12, "--took-s", 310, "--habit", "stay", "--field", "QTH=island",
    )  # fmt: skip
    assert (added["call"], added["entity_name"], added["mode"], added["submode"]) == (
        "VP8AA",
        "Falkland Is.",
        "SSB",
        "USB",
    )
    assert (added["offset_hz"], added["calls_made"], added["seconds_to_work"]) == (5000, 12, 310)
    assert not added["duplicate"]
    assert added["power_w"] is None, "nobody said with what power"
    (listed,) = run_json(capsys, "log", "list", "--store", db)["contacts"]
    assert listed["adif"]["FREQ_RX"] == "18.1435"
    assert listed["adif"]["QTH"] == "island"
    assert listed["start"] == "2026-03-21T18:30:00Z"
    text = run(capsys, "log", "add", "VP8AA/P", "--freq", 18120, "--mode", "lsb", "--store", db)
    assert "worked before on this band in this kind of mode" in text


def test_import_export_and_refusals(capsys: pytest.CaptureFixture[str], db: Path, tmp_path: Path) -> None:
    source, out = tmp_path / "in.adi", tmp_path / "out.adx"
    source.write_text(ADI)
    found = run_json(capsys, "log", "import", source, "--store", db)
    assert (found["read"], found["added"]) == (2, 1)
    assert found["refused"] == [{"line": 3, "call": "VP8AA", "why": "QSO_DATE is missing"}]
    assert "1 there already" in run(capsys, "log", "import", source, "--store", db)
    assert run_json(capsys, "log", "export", out, "--store", db)["written"] == 1
    assert "<CALL>T0ST</CALL>" in out.read_text()
    assert run_json(capsys, "log", "export", tmp_path / "none.adi", "--store", db, "--band", "17m")["written"] == 0


def test_no_output_replaces_the_log(capsys: pytest.CaptureFixture[str], db: Path, tmp_path: Path) -> None:
    run(capsys, "log", "add", "VP8AA", "--freq", 18148.5, "--mode", "usb", "--store", db)
    before = db.read_bytes()
    (tmp_path / "link").symlink_to(db)
    settings = tmp_path / "settings.toml"
    settings.write_text(f'[log]\nstore = "{db}"\n')
    for name in ("log.db", "link", "log.db-wal", "settings.toml", f"../{tmp_path.name}/log.db"):
        said = fails(capsys, "log", "export", tmp_path / name, "--settings", settings)
        assert "one of the files that are read" in said
    for option in ("--picture", "--html"):
        said = fails(capsys, "log", "report", "--session", 1, "--store", tmp_path / "link", option, db)
        assert "one of the files that are read" in said
    assert db.read_bytes() == before
    assert (tmp_path / "link").is_symlink()
    assert "1 contact written" in run(capsys, "log", "export", tmp_path / "a.adi", "--store", db)


def test_an_export_replaces_only_a_log_of_its_form(
    capsys: pytest.CaptureFixture[str], db: Path, tmp_path: Path
) -> None:
    run(capsys, "log", "add", "VP8AA", "--freq", 18148.5, "--mode", "usb", "--store", db)
    adi, adx = tmp_path / "a.adi", tmp_path / "a.adx"
    for path in (adi, adx, adi, adx):
        assert "1 contact written" in run(capsys, "log", "export", path, "--store", db)
    meta, tables, page, binary = (tmp_path / name for name in ("p.sigmf-meta", "t.adi", "p.adx", "b.adi"))
    meta.write_text('{"global": {"core:datatype": "ci16_le"}, "captures": [], "annotations": []}')
    tables.write_bytes(adx.read_bytes())
    page.write_text("<?xml version='1.0'?><html><body>words</body></html>")
    binary.write_bytes(b"RIFF\0\0\0\0WAVEfmt ")
    for path in (meta, tables, page, binary):
        before = path.read_bytes()
        said = fails(capsys, "log", "export", path, "--store", db)
        assert f"{path} is there already and is no AD" in said
        assert path.read_bytes() == before
    (tmp_path / "empty.adi").touch()
    assert "1 contact written" in run(capsys, "log", "export", tmp_path / "empty.adi", "--store", db)


def test_an_export_of_a_call_that_was_never_worked_writes_nothing(
    capsys: pytest.CaptureFixture[str], db: Path, tmp_path: Path
) -> None:
    run(capsys, "log", "add", "VP8AA", "--freq", 18148.5, "--mode", "usb", "--store", db)
    said = fails(capsys, "log", "export", tmp_path / "x.adi", "--call", "N0SUCH", "--store", db)
    assert "no contact with N0SUCH" in said
    assert not (tmp_path / "x.adi").exists()


def test_filters(capsys: pytest.CaptureFixture[str], db: Path) -> None:
    for call, mode, day in (
        ("VP8AA", "cw", "2026-03-20"),
        ("VP8AB", "FT8", "2026-03-21"),
        ("K1AA", "usb", "2026-03-22"),
    ):
        run(capsys, "log", "add", call, "--freq", 14025, "--mode", mode, "--at", day, "--store", db)

    def calls(*options: str) -> list[str]:
        return [contact["call"] for contact in run_json(capsys, "log", "list", "--store", db, *options)["contacts"]]

    assert calls("--call", "vp8*") == ["VP8AA", "VP8AB"]
    assert calls("--mode", "phone") == calls("--mode", "ssb") == ["K1AA"]
    assert calls("--since", "2026-03-21") == ["VP8AB", "K1AA"]
    assert calls("--until", "2026-03-21") == ["VP8AA", "VP8AB"]
    assert calls("--band", "20m", "--limit", "2") == ["VP8AB", "K1AA"]
    assert calls("--entity", "VP8") == calls("--entity", "141") == ["VP8AA", "VP8AB"]


def test_needs(capsys: pytest.CaptureFixture[str], db: Path) -> None:
    run(capsys, "log", "add", "VP8AA", "--freq", 14025, "--mode", "cw", "--store", db)
    whole = run_json(capsys, "log", "needs", "--store", db)
    assert (whole["all"], whole["worked"], whole["confirmed"], len(whole["never_worked"])) == (340, 1, 0, 339)
    assert whole["bands"] == {"20m": {"worked": 1, "confirmed": 0}}
    assert run_json(capsys, "log", "needs", "--store", db, "--by", "cq_zone")["all"] == 40
    one = run_json(capsys, "log", "needs", "VP8AB", "--freq", 18080, "--mode", "cw", "--store", db)
    assert one["needs"][0] == {"by": "entity", "value": 141, "level": "band"}
    assert one["slots"]["20m"] == {"cw": "worked"}
    text = run(capsys, "log", "needs", "VP8AA", "--freq", 14025, "--mode", "cw", "--store", db)
    assert "a duplicate" in text
    assert "worked, not confirmed" in text
    assert "Bouvet" in run(capsys, "log", "needs", "--missing", "--store", db)


def test_own_list(capsys: pytest.CaptureFixture[str], db: Path, tmp_path: Path) -> None:
    path = tmp_path / "wanted.csv"
    path.write_text("what,value,bands,modes\nentity,VP8,20m 17m,cw\ncq_zone,40,,\ncall,VP8AA,,\nfield,GD,,\n")
    run(capsys, "log", "add", "VP8AA/P", "--freq", 14025, "--mode", "cw", "--locator", "GD18", "--store", db)
    rows = run_json(capsys, "log", "needs", "--list", path, "--store", db)["wanted"]
    assert [row["worked"] for row in rows] == [True, False, True, True]
    assert rows[0]["open_slots"] == [{"band": "17m", "mode": "cw"}]
    assert "1 of 4 never worked" in run(capsys, "log", "needs", "--list", path, "--store", db)


def test_change_and_remove(capsys: pytest.CaptureFixture[str], db: Path) -> None:
    number = run_json(capsys, "log", "add", "VP8AA", "--freq", 14025, "--mode", "cw", "--store", db)["id"]
    run(capsys, "log", "add", "K1AA", "--freq", 14025, "--mode", "cw", "--store", db)
    changes = ("--field", "call=3Y0J", "--field", "RST_RCVD=", "--field", "QTH=ice")
    changed = run_json(capsys, "log", "change", number, *changes, "--store", db)
    assert (changed["call"], changed["entity"], changed["report_received"]) == ("3Y0J", 24, None)
    assert next(iter(changed["adif"])) == "CALL"
    assert "Not changed: CALL is missing." in fails(capsys, "log", "change", number, "--field", "CALL=", "--store", db)
    assert "Removed" in run(capsys, "log", "remove", number, "--store", db)
    assert [c["call"] for c in run_json(capsys, "log", "list", "--store", db)["contacts"]] == ["K1AA"]
    assert f"There is no contact number {number}" in fails(capsys, "log", "remove", number, "--store", db)


def test_report_of_a_review_and_of_kept_sessions(capsys: pytest.CaptureFixture[str], db: Path, tmp_path: Path) -> None:
    found, page, picture = tmp_path / "found.json", tmp_path / "report.html", tmp_path / "report.png"
    marks = [{"start_s": 4.0 + n, "frequency_hz": 14.0245e6, "confidence": 0.9, "call": "K1AA"} for n in range(3)]
    overs = [{"start_s": 0.0, "stop_s": 2.0, "text": ""}, {"start_s": 8.0, "stop_s": 9.0, "text": ""}]
    dx = {"frequency_hz": 14.023e6, "mode": "cw", "overs": overs}
    found.write_text(json.dumps({"recording": {"duration_s": 9.0}, "dx": dx, "answers": marks, "ear": None}))
    outputs = ("--html", page, "--picture", picture)
    text = run(capsys, "log", "report", found, "--keep", "mine", "--store", db, *outputs)
    assert "where he answered last" in text
    assert "within reach of 2 of 2 answers" in text
    assert page.read_text().startswith("<!doctype html>")
    assert picture.read_bytes().startswith(b"\x89PNG")
    (row,) = run_json(capsys, "log", "report", "--store", db)["sessions"]
    assert (row["name"], row["marks"], row["worked"]) == ("mine", 3, False)
    again = run_json(capsys, "log", "report", "--session", row["session"], "--store", db)
    assert again["marks"] == 3
    assert "There is no session number 99" in fails(capsys, "log", "report", "--session", 99, "--store", db)
    found.write_text("[]")
    assert "is no review" in fails(capsys, "log", "report", found)
    assert "add --dx KHZ" in fails(capsys, "log", "report", tmp_path / "tape.sigmf-meta")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("list",), "Which log?"),
        (("list", "--store", "nosuch.db"), "There is no log nosuch.db"),
        (("add", "ABC", "--freq", "14025", "--mode", "cw", "--store", "x.db"), '"ABC" is no call'),
        (("add", "T0ST", "--freq", "19000", "--mode", "cw", "--store", "x.db"), "lies in no amateur band"),
        (
            ("add", "T0ST", "--freq", "14.025", "--mode", "cw", "--store", "x.db"),
            "looks like MHz; give it in kHz: 14025",
        ),
        (("add", "T0ST", "--freq", "14025", "--mode", "XYZ", "--store", "x.db"), '"XYZ" is no mode of ADIF'),
        (
            ("add", "T0ST", "--freq", "14025", "--mode", "cw", "--prop-mode", "WARP", "--store", "x.db"),
            "no propagation mode",
        ),
        (
            ("add", "T0ST", "--freq", "14025", "--mode", "cw", "--power-w", "-5", "--store", "x.db"),
            "A power of -5 W cannot be",
        ),
        (("add", "T0ST", "--freq", "14025", "--mode", "cw", "--at", "noon", "--store", "x.db"), '"noon" is no time'),
        (("add", "T0ST", "--freq", "14025", "--mode", "cw", "--locator", "ZZ99", "--store", "x.db"), "is no locator"),
        (("add", "T0ST", "--freq", "14025", "--mode", "cw", "--field", "X", "--store", "x.db"), "has no value"),
        (("add", "T0ST", "--freq", "14025", "--mode", "cw", "--field", "CALL=X", "--store", "x.db"), "is set already"),
        (("import", "nosuch.adi", "--store", "x.db"), "Cannot read nosuch.adi"),
        (("export", "nosuch/out.adi", "--store", "x.db"), "Cannot write nosuch/out.adi"),
    ],
)
def test_bad_input_is_one_line(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path,
    arguments: tuple[str, ...], said: str,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    assert said in fails(capsys, "log", *arguments)
    assert not list(tmp_path.glob("x.db*")), "nothing is made by a command that fails"


def test_a_contact_of_the_future_is_told(capsys: pytest.CaptureFixture[str], db: Path) -> None:
    arguments = ("log", "add", "T0ST", "--freq", 14025, "--mode", "cw", "--store", db, "--at")
    assert "in the future" in run(capsys, *arguments, "2199-01-01 00:00")
    assert "in the future" not in run(capsys, *arguments, "2020-01-01 00:00")
