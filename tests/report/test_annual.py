"""The annual report and the pages, from a folder of hostile tables: nothing runs, nothing leaks, nothing varies."""

from __future__ import annotations

import base64
import io
import itertools
import os
import re
import shutil
import subprocess
import sys
import unicodedata
import zipfile
from html.parser import HTMLParser
from xml.etree import ElementTree

import numpy as np
import openpyxl
import pandas as pd
import pytest
from bleach._vendor import html5lib
from PIL import Image

from leavenbench.cli import main
from leavenbench.errors import CannotRead, Refused
from leavenbench.report.annual import read_year, write_pages, write_report

#: Cultures whose names are code, formulas, paths, and words of somebody who has not agreed.
CULTURES = ("<script>alert(1)</script>", "=1+2", "../Müller", "$x_{y", "Alba & <b>Bruno</b>")
#: What may stand nowhere, as it is searched for: without case and accents.
SECRETS = (
    "muller", "wilhelmine", "muhlgasse", "6641234", "w.m@post", "47.5123", "47.51 n", "47°30", "13.2123",
    "cellarunderthechapel", "w. m.", "wilh.", "kai", "ost", "under the oak", "ostkai",
)  # fmt: skip
#: A shorter secret is searched for as a word; letters run together make it where it never stood ('tell, Underhill').
LONG = 6
CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), ""
)
HOURS = np.array([0.0, 1, 2, 3, 4, 5, 6, 8, 24])


def write_hostile(folder, rounds=7):
    """Write a shelf whose every text wants to be something else; it is fed in 2022 and 2024, and not in 2023."""
    folder.mkdir()
    random = np.random.default_rng(7)
    refeeds, readings = [], []
    starts = [f"2022-{month:02d}-03" for month in (1, 3, 5, 7, 9)] + ["2024-02-03", "2024-04-05"]
    for number, start in enumerate(starts[:rounds]):
        for place, culture in enumerate(CULTURES):
            for step in (1, 2):
                refeed = f"{number}/{place}.{step}"
                fed = pd.Timestamp(f"{start} 08:00") + pd.Timedelta(days=step, minutes=5 * place)
                told = (f"{fed:%Y-%m-%d %H:%M}", "Müller's-1", 20, 40, 40, "@SUM(A1) for W. Müller", "yes")
                refeeds.append((refeed, culture, *told, "of Wilhelmine", "Müller", f"wilhelminemüller-{place}"))
                rise = 60.0 / (1 + np.exp(-1.4 * (HOURS - 4))) + random.normal(0, 0.6, len(HOURS))
                ph = 5.9 - 2.0 / (1 + np.exp(-1.1 * (HOURS - 5))) + random.normal(0, 0.02, len(HOURS))
                readings += list(zip([refeed] * len(HOURS), HOURS, 40 + rise.round(1), ph.round(2), strict=True))
    columns = ["refeed", "culture", "fed_at", "lot", "seed", "flour", "water", "note", "passed"]
    columns += ["smell", "person", "vessel"]  # a name over two columns, and one written together
    tables = {
        "refeeds": pd.DataFrame(refeeds, columns=columns),
        "readings": pd.DataFrame(readings, columns=["refeed", "elapsed", "height", "ph"]),
        "depositors": pd.DataFrame(
            [
                ("mueller", "Müller, Wilhelmine", "Mühlgasse 4, Tarnfeld; +43 664 123 45 67; w.m@post.example", "no"),
                ("torrand", "Torrand, Ilvette", "Salt Lane 4, c/o Wilh. Müller", "yes"),
                ("ostkai", "Kai Ost", "Box 3", "no"),
            ],
            columns=["depositor", "name", "contact", "public"],
        ),
        "cultures": pd.DataFrame(
            {
                "culture": CULTURES,
                "name": ["'; DROP TABLE cultures; --", "+3", "MÜLLERS Roggen", "-1", "&amp;"],
                "received": ["2021-05-01", "2021-06-01", "2022-01-01", "2021-07-01", "2019-03-01"],
                "origin": ["a field", "a mill", "the cellar under the chapel", "under the oak", "Torrand's"],
                "latitude": [48.0, 48.0, 47.512345, np.nan, -33.123456],
                "longitude": [16.0, 16.0, 13.212345, np.nan, 151.5],
                "country": ["AT", "AT", "", "", "AU"],
                "depositor": ["torrand", "torrand", "mueller", "nobody", "torrand"],
                "flour": ["rye"] * len(CULTURES),
                "public": ["yes", "yes", "no", "no", "yes"],
            }
        ),
        "flours": pd.DataFrame(
            [("rye", "=cmd|' /C calc'!A0", "rye", "Mu\u0308ller & Sons", "yes")],
            columns=["flour", "name", "grain", "supplier", "sole_source"],
        ),
        "flour_lots": pd.DataFrame(
            [("Müller's-1", "rye", "2022-01-01", 50000)], columns=["lot", "flour", "received", "mass"]
        ),
        "events": pd.DataFrame(
            [
                ("E1", "=1+2", "2022-11-02", "lost", '=HYPERLINK("http://post.example")', "Wilhelmine\nMüller saw it"),
                ("E2", "=1+2", "2024-01-20", "restored", "K1", "<img src=x onerror=alert(1)>"),
                ("E3", "../Müller", "2024-02-20", "rescued", "", "W. M. and Kai Ost found it under\nthe oak"),
                ("E4", "../Müller", "2024-02-21", "other", "", "at 47.51 N, 13.2123 E (47°30'44\", ostkai)"),
            ],
            columns=["event", "culture", "happened_on", "kind", "source", "reason"],
        ),
        "backups": pd.DataFrame(
            [
                ("K1", "=1+2", "whole_frozen", "2022-02-01", "at Mueller's", 4),
                ("K-müller", "../Müller", "isolates_frozen", "2022-02-02", "Mühlgasse 4", 2),
            ],
            columns=["backup", "culture", "kind", "made_on", "site", "units"],
        ),
        "backup_uses": pd.DataFrame(
            [("K1", "2024-01-20", 1, "restore", "alive")], columns=["backup", "used_on", "units", "purpose", "result"]
        ),
        "dispatches": pd.DataFrame(
            [("D1", "$x_{y", "2024-03-01", "Frau W. Müller (0664/1234567)", "return", 50, "-2+3")],
            columns=["dispatch", "culture", "sent_on", "to", "reason", "mass", "terms"],
        ),
        "isolates": pd.DataFrame(
            [("I1", "../Müller", "2022-04-01", "Candida muelleri <i>", "yeast", 3)],
            columns=["isolate", "culture", "sampled_on", "taxon", "kind", "colonies"],
        ),
    }
    for name, table in tables.items():
        table.to_csv(folder / f"{name}.csv", index=False)
    (folder / "collection.toml").write_text('title = "Müller\'s <shelf>"\ntimezone = "Europe/Vienna"\n', "utf-8")
    return folder


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    return write_hostile(tmp_path_factory.mktemp("hostile") / "wilhelmine_müller")


@pytest.fixture(scope="module")
def report(shelf, tmp_path_factory):
    out = tmp_path_factory.mktemp("report") / "out"
    assert main(["report", str(shelf), "--year", "2024", "--out", str(out)]) == 0
    return out


@pytest.fixture(scope="module")
def pages(shelf, tmp_path_factory):
    out = tmp_path_factory.mktemp("pages") / "out"
    assert main(["pages", str(shelf), "--year", "2024", "--out", str(out)]) == 0
    return out


def contents(folder):
    """Return every file by its path."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def everything_in(name, content):
    """Return all text of a file: its name, its words, what is packed or encoded in it, and what a PNG says."""
    told = [name]
    if zipfile.is_zipfile(io.BytesIO(content)):
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            told += [
                packed.comment.decode("latin-1"),
                *(everything_in(one, packed.read(one)) for one in packed.namelist()),
            ]
    elif name.endswith(".png"):
        with Image.open(io.BytesIO(content)) as image:
            told.append(str(image.info))
    else:
        words = content.decode("utf-8")
        told.append(words)
        for encoded in re.findall(r"base64,([A-Za-z0-9+/=]+)", words):
            told.append(base64.b64decode(encoded).decode("utf-8", errors="replace"))
    return "\n".join(told)


def folded(text):
    """Return a text without case and accents."""
    plain = "".join(one for one in unicodedata.normalize("NFKD", text.casefold()) if not unicodedata.combining(one))
    return plain.replace("mueller", "muller").replace("muehl", "muhl")


def found_in(told, secrets=SECRETS):
    """Return the secrets that a suspicious reader finds: long ones also with signs between or without them.

    A decimal number is looked for as a number: the paths of a drawing are full of digits.
    """
    plain = folded(told)
    joined = re.sub(r"[^a-z0-9]", "", plain)
    return [
        secret
        for secret in secrets
        if re.search(rf"(?<![^\W_]){re.escape(secret)}(?![^\W\d_])", plain)
        or (
            len(secret) >= LONG
            and not re.fullmatch(r"\d+\.\d+", secret)
            and (secret in plain or re.sub(r"[^a-z0-9]", "", secret) in joined)
        )
    ]


class Outline(HTMLParser):
    """What a screen reader meets: headings, pictures, tables."""

    def __init__(self, page):
        super().__init__()
        self.tags = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def all(self, *names):
        return [(tag, attributes) for tag, attributes in self.tags if tag in names]


def html_of(folder):
    return {name: content.decode("utf-8") for name, content in contents(folder).items() if name.endswith(".html")}


def test_the_search_would_find_each_secret_in_the_tables(shelf):
    assert found_in("\n".join(everything_in(name, content) for name, content in contents(shelf).items())) == [*SECRETS]


def test_the_search_takes_no_part_of_other_words_for_a_short_secret():
    """The key 'lund' once seemed to stand in a report: in 'cannot tell' before 'Underhill', read without the comma."""
    assert not found_in("cannot tell,Underhill; Lundy", ["lund"])
    assert found_in("of Lund, once", ["lund"])
    assert found_in("an os-\nkell jar", ["oskell"])


def test_no_secret_is_in_anything_written(report, pages):
    for folder in (report, pages):
        for name, content in contents(folder).items():
            assert not found_in(everything_in(name, content)), name


def test_no_depositor_at_all_is_on_a_page(pages):
    told = folded("".join(everything_in(name, content) for name, content in contents(pages).items()))
    assert "torrand" not in told
    assert "saltlane" not in told


def test_nothing_names_the_machine(report, pages, shelf):
    for folder in (report, pages):
        for name, content in contents(folder).items():
            told = everything_in(name, content)
            assert str(shelf.parent) not in told
            assert sys.prefix not in told
            assert "matplotlib.org" not in told


def test_the_report_holds_a_page_figures_and_tables(report):
    names = set(contents(report))
    assert {"report.html", "README.txt", "tables.xlsx", "figures/levels.svg", "figures/levels.png"} <= names
    assert {f"figures/{one}.svg" for one in ("places", "rounds", "cover", "standings", "survival")} <= names
    with zipfile.ZipFile(report / "tables.xlsx") as book:
        assert book.testzip() is None
    sheets = openpyxl.load_workbook(report / "tables.xlsx").sheetnames
    assert ["contents", *(path.stem for path in sorted((report / "tables").iterdir()))] == [
        sheets[0],
        *sorted(sheets[1:]),
    ]


def test_every_table_named_on_the_page_is_in_the_folder(report):
    page = html_of(report)["report.html"]
    named = {name for names in re.findall(r"\[([a-z_, ]+)\]", page) for name in names.split(", ")}
    there = {path.stem for path in (report / "tables").iterdir()}
    assert {"balance", "months", "vigour", "cover", "places"} <= named
    assert named - there <= {"days", "years", "g", "h"}  # units stand in brackets too


def test_no_page_holds_a_script_or_an_element_from_a_table(report, pages):
    for page in [*html_of(report).values(), *html_of(pages).values()]:
        outline = Outline(page)
        assert not outline.all("script", "b", "i", "iframe", "link", "object")
        assert not [name for _, attributes in outline.tags for name in attributes if name.startswith("on")]
        assert all(attributes["src"].startswith("data:image/svg+xml;base64,") for _, attributes in outline.all("img"))
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html_of(report)["report.html"]


def test_svgs_are_well_formed_and_hold_names_as_words(report):
    for name, content in contents(report).items():
        if name.endswith(".svg"):
            root = ElementTree.fromstring(content)
            assert root.tag == "{http://www.w3.org/2000/svg}svg"
            assert not [one for one in root.iter() if one.tag.endswith("script")]


def test_pages_are_valid_html_and_in_order_for_a_screen_reader(report, pages):
    for name, page in [*html_of(report).items(), *html_of(pages).items()]:
        html5lib.HTMLParser(strict=True).parse(page)
        outline = Outline(page)
        assert outline.all("html") == [("html", {"lang": "en"})], name
        levels = [int(tag[1]) for tag, _ in outline.all("h1", "h2", "h3", "h4")]
        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
        assert len(outline.all("main")) == 1
        assert all(len(attributes["alt"]) > 20 for _, attributes in outline.all("img"))
        assert all(attributes["scope"] in ("col", "row") for _, attributes in outline.all("th"))
        assert len(outline.all("table")) == len(outline.all("caption")) > 0
        assert len(outline.all("img")) == len(outline.all("figure")) == len(outline.all("figcaption"))
        ids = [attributes["id"] for _, attributes in outline.tags if "id" in attributes]
        assert len(ids) == len(set(ids))


@pytest.fixture
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        launched = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield launched
        launched.close()


@pytest.mark.skipif(not CHROMIUM, reason="no Chromium on this machine: the pages were not looked at in it")
@pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning")
def test_the_rules_of_accessibility_are_kept(report, pages, browser):
    """By axe-core, which comes with axe-playwright-python; a page that breaks one is held against it."""
    from axe_playwright_python.sync_playwright import Axe

    page = browser.new_page()
    for path in (report / "report.html", pages / "_1_2.html"):
        page.goto(path.as_uri())
        assert Axe().run(page).generate_snapshot() == "", path.name
    page.evaluate("for (const picture of document.images) picture.removeAttribute('alt')")
    assert "image-alt (critical)" in Axe().run(page).generate_snapshot()


def test_a_formula_in_a_table_is_text_in_the_workbook_and_marked_in_the_csv(report):
    book = openpyxl.load_workbook(report / "tables.xlsx")
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row if isinstance(cell.value, str)]
    assert {cell.data_type for cell in cells} == {"s"}
    assert "=1+2" in {cell.value for cell in cells}
    movements = pd.read_csv(report / "tables" / "movements.csv")
    assert "'=1+2" in movements["culture"].tolist()
    for path in (report / "tables").iterdir():
        table = pd.read_csv(path, dtype="str", keep_default_na=False)
        texts = [value for name in table for value in table[name] if value.startswith(("=", "+", "@"))]
        assert not texts, path.name


def test_a_page_is_named_by_its_culture_and_stays_in_its_folder(pages):
    assert sorted(contents(pages)) == sorted(
        ["_script_alert_1_script_.html", "_1_2.html", "_withheld.html", "_x__y.html", "Alba _ _b_Bruno_b_.html"]
    )


def test_the_numbers_are_those_that_were_written_down(report, pages):
    """In 2024 each of the five was fed in two rounds of two steps, 40 g of flour each, and read nine times."""
    page = html_of(report)["report.html"]
    assert "10 rounds with 20 refeeds and 180 readings" in page
    assert "5 cultures lived when the year ended" in page
    months = pd.read_csv(report / "tables" / "months.csv").set_index("month")
    assert months.loc[["2024-02", "2024-04"], "flour_g"].tolist() == [400.0, 400.0]
    # three colonies of one species in one culture
    assert "Organisms: 1 species in 1 living culture sampled, 1 of them found in one alone. [species]" in page
    assert '<th scope="row">all together</th><td class="number">3</td>' in page
    kinds = pd.read_csv(report / "tables" / "diversity.csv")
    assert kinds[["colonies", "organisms", "coverage", "hill_0", "hill_2"]].to_numpy().tolist() == [[3, 1, 1, 1, 1]] * 2
    one = html_of(pages)["_1_2.html"]
    assert (
        "It was fed 4 times in 2024, in 2 rounds, with 160 g of rye. Its parts of seed, flour and water are 1:2:2."
        in one
    )
    assert "20 January 2024: restored (&lt;img src=x onerror=alert(1)&gt;)." in one
    assert "whether it is still itself" in one or "still itself." in one
    sent = html_of(pages)["_x__y.html"]
    assert "01 March 2024: a portion was sent out (return)." in sent


def test_one_page_alone_is_the_same_page(shelf, pages, tmp_path):
    (page,) = write_pages(shelf, 2024, tmp_path / "one", "../Müller")
    assert page == tmp_path / "one" / "_withheld.html"
    assert page.read_bytes() == (pages / page.name).read_bytes()
    with pytest.raises(CannotRead, match="no culture 'Nobody'"):
        write_pages(shelf, 2024, tmp_path / "two", "Nobody")
    with pytest.raises(CannotRead, match="does not live at the end of 2022"):
        write_pages(shelf, 2022, tmp_path / "three", "=1+2")
    assert not (tmp_path / "three").exists()


#: Both commands in one go, as another process.
_BOTH = """
import sys
from leavenbench.cli import main
for command in ("report", "pages"):
    assert main([command, sys.argv[1], "--year", "2024", "--out", f"{sys.argv[2]}-{command}"]) == 0
"""


@pytest.mark.parametrize(
    ("zone", "language", "seed"), [("Pacific/Kiritimati", "C", "1"), ("America/St_Johns", "de_AT.UTF-8", "77")]
)
def test_the_same_bytes_on_any_day_in_any_zone(shelf, report, pages, tmp_path, zone, language, seed):
    told = {"TZ": zone, "LANG": language, "LC_ALL": language, "PYTHONHASHSEED": seed}
    words = [sys.executable, "-W", "error", "-c", _BOTH, str(shelf), str(tmp_path / "again")]
    run = subprocess.run(words, env={**os.environ, **told}, capture_output=True, check=False)
    assert run.returncode == 0, run.stderr.decode()
    for command, first in (("report", report), ("pages", pages)):
        again, before = contents(tmp_path / f"again-{command}"), contents(first)
        assert list(again) == list(before)
        assert [name for name in before if again[name] != before[name]] == []


def test_a_year_with_nothing_in_it_is_a_report_that_says_so(shelf, tmp_path):
    page = write_report(shelf, 2023, tmp_path / "out").read_text("utf-8")
    html5lib.HTMLParser(strict=True).parse(page)
    assert "No refeed was written down, and no round was due. [months]" in page
    assert 'class="missing"' in page
    # what has nothing to show is not drawn, and no noughts are listed; the folder has the table all the same
    assert not [name for name in contents(tmp_path / "out") if name.endswith(("rounds.svg", "change.svg"))]
    assert "2023-05" not in page
    assert len(pd.read_csv(tmp_path / "out" / "tables" / "months.csv")) == 12
    (one, *_) = write_pages(shelf, 2023, tmp_path / "pages")
    assert "No feeding is noted in 2023." in one.read_text("utf-8")


def test_two_tables_and_one_culture_make_a_report(tmp_path):
    folder = tmp_path / "shelf"
    folder.mkdir()
    (folder / "refeeds.csv").write_text("refeed,culture,fed_at\n1,Alba,2024-03-01 08:00\n")
    (folder / "readings.csv").write_text("refeed,elapsed,height\n1,0,40\n1,2,45\n")
    page = write_report(folder, 2024, tmp_path / "out").read_text("utf-8")
    html5lib.HTMLParser(strict=True).parse(page)
    assert "1 cultures" not in page
    assert page.count('class="missing"') >= 4
    (one,) = write_pages(folder, 2024, tmp_path / "pages")
    told = one.read_text("utf-8")
    assert "It was fed once in 2024, in 1 round." in told
    assert "Nothing is kept of it beside its jar." in told


def test_years_and_folders_that_are_refused(shelf, tmp_path, capsys):
    assert main(["report", str(shelf), "--year", "2018", "--out", str(tmp_path / "a")]) == 1
    assert "they reach from 2019 to 2024" in capsys.readouterr().err
    assert not (tmp_path / "a").exists()
    full = tmp_path / "full"
    full.mkdir()
    (full / "mine.txt").write_text("mine")
    for command in ("report", "pages"):
        assert main([command, str(shelf), "--year", "2024", "--out", str(full)]) == 1
        assert main([command, str(shelf), "--year", "2024", "--out", str(shelf / "inside")]) == 1
        assert main([command, str(shelf), "--year", "2024", "--out", str(tmp_path / "no" / "where")]) == 2
        assert main([command, str(tmp_path / "gone"), "--year", "2024", "--out", str(tmp_path / "b")]) == 2
    assert [path.name for path in full.iterdir()] == ["mine.txt"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["full"]
    with pytest.raises(Refused) as refused:
        read_year(shelf, 2030)
    assert refused.value.exit_code == 1
