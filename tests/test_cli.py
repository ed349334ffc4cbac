"""The commands as a person runs them: arguments, files, exit codes, what is printed where."""

from __future__ import annotations

import os
import pty
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest

from leavenbench.cli import main
from leavenbench.columns import RESULTS, TABLES


def write_shelf(folder, rounds=6, faults=True):
    """Write a small shelf: one steady culture, one that has stopped, read by ruler and probe."""
    folder.mkdir()
    refeeds, readings = [], []
    hours = np.array([0, 2, 3, 4, 5, 6, 8, 24.0])
    for culture in ("Alba", "Bruno"):
        for number in range(rounds):
            for step in range(3):
                refeed = f"{culture}-{number}-{step}"
                fed = pd.Timestamp("2024-01-05 08:00") + pd.Timedelta(days=60 * number + step)
                refeeds.append(f"{refeed};{culture};{fed:%Y-%m-%d %H:%M};21,5")
                dead = culture == "Bruno" and number == rounds - 1
                rise = 0.0 if dead else 60.0
                height = 40 + rise / (1 + np.exp(-1.6 * (hours - 4)))
                ph = 5.9 - (0.0 if dead else 2.0) / (1 + np.exp(-1.2 * (hours - 5)))
                wobble = 0.4 * np.sin(7 * hours + step)
                readings += [
                    f"{refeed};{h:g};{x / 10:.2f};{p:.2f}".replace(".", ",")
                    for h, x, p in zip(hours, height + wobble, ph + wobble / 20, strict=True)
                ]
    (folder / "refeeds.csv").write_text("refeed;culture;fed_at;room_temperature\n" + "\n".join(refeeds) + "\n", "utf-8")
    planted = ["nobody;1;4,5;5,5"] if faults else []
    text = "refeed;elapsed [h];height [cm];pH\n" + "\n".join(readings + planted) + "\n"
    (folder / "readings.csv").write_text(text, "utf-8-sig")
    return folder


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    return write_shelf(tmp_path_factory.mktemp("shelf") / "our_shelf")


def run(*words):
    """Run the command as its own process."""
    command = [sys.executable, "-m", "leavenbench", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, check=False, env={**os.environ, "COLUMNS": "100"})


def test_help_reads_well_and_names_every_command():
    told = run("--help")
    assert told.returncode == 0
    assert all(f"\n    {name} " in told.stdout for name in ("new", "check", "curves", "watch"))
    assert max(map(len, told.stdout.splitlines())) <= 120


def test_help_stays_quick_because_nothing_heavy_is_imported():
    probe = (
        "import sys; from leavenbench.cli import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "print(sorted({'pandas', 'numpy', 'scipy', 'pint', 'matplotlib', 'rich'} & set(sys.modules)))"
    )
    told = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    assert told.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize(
    "words", [[], ["feed"], ["watch"], ["watch", "x", "--as-of", "03/04/2025"], ["check", "x", "y"]]
)
def test_wrong_usage_is_2(words):
    with pytest.raises(SystemExit) as stopped:
        main(words)
    assert stopped.value.code == 2


def test_new_then_check_and_watch_on_nothing(tmp_path, capsys):
    folder = tmp_path / "shelf"
    assert main(["new", str(folder)]) == 0
    assert {path.stem for path in folder.glob("*.csv")} == set(TABLES)
    assert main(["check", str(folder)]) == 0
    assert "No problems." in capsys.readouterr().out
    out = tmp_path / "list.csv"
    assert main(["watch", str(folder), "--out", str(out)]) == 0
    assert list(pd.read_csv(out).columns) == RESULTS["watch_list"].names
    assert main(["curves", str(folder), "--out", str(tmp_path / "curves.csv")]) == 0


def test_new_refuses_a_folder_that_holds_something(tmp_path):
    (tmp_path / "mine.txt").write_text("precious")
    assert main(["new", str(tmp_path)]) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_check_lists_and_says_1_where_something_was_left_out(shelf, tmp_path, capsys):
    out = tmp_path / "problems.csv"
    assert main(["check", str(shelf), "--out", str(out)]) == 1
    found = pd.read_csv(out)
    assert list(found.columns) == RESULTS["problems"].names
    assert found["severity"].tolist() == ["error"]
    assert found.loc[0, ["table", "file", "row", "column"]].tolist() == ["readings", "readings.csv", 290, "refeed"]
    told = capsys.readouterr().out
    assert "nobody" in told
    assert "readings: 288 of 289 rows kept" in told


def test_check_says_0_where_nothing_was_left_out(tmp_path):
    assert main(["check", str(write_shelf(tmp_path / "s", rounds=2, faults=False))]) == 0


@pytest.mark.parametrize("command", ["check", "curves", "watch"])
def test_what_cannot_be_read_is_2_and_named(command, tmp_path, capsys):
    assert main([command, str(tmp_path / "nowhere")]) == 2
    assert "nowhere" in capsys.readouterr().err
    (tmp_path / "refeeds.csv").write_text("refeed,culture,fed_at\n")
    assert main([command, str(tmp_path)]) == 2
    assert "readings" in capsys.readouterr().err


@pytest.mark.parametrize("suffix", [".csv", ".xlsx", ".parquet"])
def test_full_tables_go_to_files(shelf, tmp_path, suffix, capsys):
    out = tmp_path / f"curves{suffix}"
    out.write_text("an older one")
    assert main(["curves", str(shelf), "--out", str(out)]) == 0
    read = {".csv": pd.read_csv, ".xlsx": pd.read_excel, ".parquet": pd.read_parquet}[suffix](out)
    assert list(read.columns) == RESULTS["curves"].names
    assert len(read) == 2 * 36  # one row per refeed and signal, always
    assert "1 row was left out" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == [out.name]
    if suffix != ".parquet":
        assert read["fed_at"].iloc[0] == "2024-01-05T08:00:00+00:00"


@pytest.mark.parametrize("name", ["table.txt", "table", "nowhere/table.csv"])
def test_an_out_file_that_cannot_be_is_2(shelf, tmp_path, name):
    assert main(["check", str(shelf), "--out", str(tmp_path / name)]) == 2


def test_an_out_file_inside_the_collection_is_refused(shelf):
    before = sorted(path.name for path in shelf.iterdir())
    assert main(["check", str(shelf), "--out", str(shelf / "readings.csv")]) == 1
    assert sorted(path.name for path in shelf.iterdir()) == before


def test_watch_names_the_dead_and_says_which_day_it_took(shelf, tmp_path, capsys):
    out = tmp_path / "list.csv"
    assert main(["watch", str(shelf), "--out", str(out)]) == 0
    listed = pd.read_csv(out)
    assert listed["culture"].tolist() == ["Bruno", "Alba"]
    assert listed["standing"].tolist() == ["urgent", "steady"]
    assert "no activity" in listed.loc[0, "evidence"]
    assert listed["as_of"].tolist() == ["2024-11-03"] * 2  # read the morning after the last feeding
    assert "2024-11-03, the day of the last sound record" in capsys.readouterr().out


def test_as_of_knows_only_what_was_known_then(shelf, tmp_path):
    then, cut = tmp_path / "then.csv", tmp_path / "cut.csv"
    assert main(["watch", str(shelf), "--as-of", "2024-08-01", "--out", str(then)]) == 0
    assert set(pd.read_csv(then)["standing"]) == {"steady"}
    # The same list comes of a folder in which the later rows were never written.
    early = tmp_path / "our_shelf"
    early.mkdir()
    refeeds = (shelf / "refeeds.csv").read_text("utf-8").splitlines(keepends=True)
    known = [refeeds[0], *(line for line in refeeds[1:] if line.split(";")[2] < "2024-08-02")]
    names = {line.split(";")[0] for line in known}
    readings = (shelf / "readings.csv").read_text("utf-8-sig").splitlines(keepends=True)
    (early / "refeeds.csv").write_text("".join(known), "utf-8")
    kept = [readings[0], *(line for line in readings[1:] if line.split(";")[0] in names)]
    (early / "readings.csv").write_text("".join(kept), "utf-8")
    assert main(["watch", str(early), "--as-of", "2024-08-01", "--out", str(cut)]) == 0
    assert then.read_bytes() == cut.read_bytes()


def test_no_bar_and_no_control_characters_in_a_pipe(shelf):
    told = run("curves", shelf)
    assert told.returncode == 0
    assert "\x1b" not in told.stdout + told.stderr
    assert "Fitting" not in told.stderr


def test_on_a_terminal_a_bar_is_shown_and_the_table_fits():
    reader, writer = pty.openpty()
    probe = (
        "from leavenbench.report.terminal import progress_bar, print_table\n"
        "import pandas as pd\n"
        "with progress_bar('Fitting curves') as progress: progress(3, 7)\n"
        "print_table(pd.DataFrame({'culture': ['Alba'], 'evidence': ['a long story ' * 20]}), wide=('evidence',))"
    )
    environment = {**os.environ, "COLUMNS": "72", "LINES": "40", "TERM": "xterm"}
    process = subprocess.Popen([sys.executable, "-c", probe], stdout=writer, stderr=writer, env=environment)
    os.close(writer)
    told = b""
    while True:
        try:
            part = os.read(reader, 4096)
        except OSError:  # a terminal whose other end has closed
            break
        if not part:
            break
        told += part
    assert process.wait() == 0
    text = told.decode()
    assert "Fitting curves" in text
    table = [line for line in text.replace("\r", "\n").splitlines() if "long story" in line]
    assert table
    assert max(map(len, table)) <= 72


def test_a_name_is_only_a_name(tmp_path, capsys):
    folder = tmp_path / "s"
    folder.mkdir()
    (folder / "refeeds.csv").write_text(
        "refeed,culture,fed_at\n1,[red]Alba[/red],2025-03-01 08:00\n2,=1+1,2025-03-01 08:00\n"
    )
    (folder / "readings.csv").write_text("refeed,elapsed,ph\n1,0,5.9\n2,0,5.8\n")
    out = tmp_path / "list.xlsx"
    assert main(["watch", str(folder), "--out", str(out)]) == 0
    assert "[red]Alba[/red]" in capsys.readouterr().out
    assert set(pd.read_excel(out)["culture"]) == {"[red]Alba[/red]", "=1+1"}


FED = """\
refeed,culture,fed_at,purpose
1,Alba,2025-03-01 08:00,{0}
2,Alba,2025-03-02 08:00,{0}
3,Bruno,2025-03-02 08:00,{0}
"""


@pytest.mark.parametrize("purpose", ["round", "test", "rescue"])
@pytest.mark.parametrize(
    "readings",
    [
        "refeed,elapsed,ph\n",
        "refeed,elapsed,ph\n1,0,5.9\n",
        "refeed,elapsed,ph\n1,0,5.9\n1,2,5.8\n1,4,5.1\n1,6,4.4\n1,8,4.1\n",
        "refeed,elapsed,rise\n1,0,0\n1,2,10\n1,4,60\n1,6,100\n1,8,104\n",
        "refeed,elapsed,temperature\n1,0,24\n2,2,25\n",
        "refeed,elapsed,height\n1,0,0\n1,2,0\n1,4,0\n1,6,0\n1,8,0\n",
        "refeed,elapsed,high_mark\n1,,90\n",
    ],
)
def test_a_shelf_of_which_little_is_known_is_a_list_all_the_same(tmp_path, purpose, readings):
    folder = tmp_path / "s"
    folder.mkdir()
    (folder / "refeeds.csv").write_text(FED.format(purpose))
    (folder / "readings.csv").write_text(readings)
    out = tmp_path / "list.csv"
    assert main(["watch", str(folder), "--out", str(out)]) == 0
    listed = pd.read_csv(out)
    assert sorted(listed["culture"]) == ["Alba", "Bruno"]
    assert set(listed["standing"]) == {"unknown"}
    assert main(["curves", str(folder), "--out", str(out)]) == 0
    assert len(pd.read_csv(out)) == 6


def test_an_old_terminal_gets_every_line_all_the_same(shelf):
    command = [sys.executable, "-m", "leavenbench", "curves", str(shelf)]
    plain = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    told = subprocess.run(command, capture_output=True, check=False, env=plain)
    assert told.returncode == 0, told.stderr
    assert b"Alba" in told.stdout


def test_the_file_is_saved_though_nobody_reads_the_screen(shelf, tmp_path):
    out = tmp_path / "curves.csv"
    command = f'"{sys.executable}" -m leavenbench curves "{shelf}" --out "{out}" | true; exit "${{PIPESTATUS[0]}}"'
    told = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False)
    assert told.returncode == 0, told.stderr
    assert "Traceback" not in told.stderr
    assert len(pd.read_csv(out)) == 72


def test_a_long_name_folds_and_no_number_is_cut(tmp_path):
    folder = write_shelf(tmp_path / "s", rounds=2, faults=False)
    for name in ("refeeds.csv", "readings.csv"):
        text = (folder / name).read_text("utf-8").replace(";Alba;", ";Roggen Schwarzwald, Backstube am Brunnen;")
        (folder / name).write_text(text, "utf-8")
    command = [sys.executable, "-m", "leavenbench", "curves", str(folder)]
    told = subprocess.run(command, capture_output=True, text=True, check=True, env={**os.environ, "COLUMNS": "80"})
    rows = [line for line in told.stdout.splitlines() if line.startswith("Roggen")]
    assert rows
    assert all(line.rstrip().endswith(" h") for line in rows)
    assert all("2024-03-07" in line for line in rows)


def test_a_lost_column_is_counted_wherever_the_collection_is_read(tmp_path, capsys):
    folder = write_shelf(tmp_path / "s", rounds=2, faults=False)
    text = (folder / "readings.csv").read_text("utf-8").replace("height [cm]", "height [kg]")
    (folder / "readings.csv").write_text(text, "utf-8")
    assert main(["curves", str(folder)]) == 0
    assert "96 values were left out" in capsys.readouterr().err


def test_a_missing_column_says_what_stands_there_instead(tmp_path, capsys):
    (tmp_path / "refeeds.csv").write_text("Our feeding log\nrefeed,culture,fed_at\n1,Alba,2025-03-01 08:00\n")
    (tmp_path / "readings.csv").write_text("refeed,elapsed,ph\n1,0,5.9\n")
    assert main(["check", str(tmp_path)]) == 2
    assert "Row 1 of refeeds.csv, where the headers belong, holds: Our feeding log." in capsys.readouterr().err
    (tmp_path / "refeeds.csv").rename(tmp_path / "refeeds.xls")
    assert main(["check", str(tmp_path)]) == 2
    assert "refeeds.xls lies there: save it as .csv or .xlsx" in capsys.readouterr().err
