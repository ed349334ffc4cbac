"""The settings of a collection."""

import re
from dataclasses import asdict

import pytest

from leavenbench.errors import CannotRead
from leavenbench.records.settings import read_settings
from leavenbench.records.template import new_collection


@pytest.fixture
def settings(tmp_path):
    def settings(text):
        (tmp_path / "collection.toml").write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_settings(tmp_path)

    return settings


def test_every_setting_has_a_default(tmp_path):
    """The values are those of the project's design, most of them common practice without a source."""
    settings, unknown = read_settings(tmp_path)
    assert unknown == []
    assert asdict(settings) == {
        "title": tmp_path.name,
        "timezone": "UTC",
        "round_days": 0.0,
        "steps_per_round": 0.0,
        "target_mass_g": None,
        "reference_temperature_degC": 25.0,
        "round_gap_h": 96.0,
        "date_order": "",
        "false_alerts": 1.0,
        "half_strength_pct": 50.0,
        "floor_ph": 4.6,
        "floor_h": 24.0,
        "yeast_cardinal_degC": (8.0, 27.5, 35.5),
        "lactic_cardinal_degC": (4.0, 32.5, 41.0),
    }


def test_what_is_said_holds(settings):
    said, _ = settings(
        '\ufefftitle = "Our shelf"\ntimezone = "Europe/Vienna"\ntarget_mass_g = 200\nround_days = 42.5\n'
    )
    assert (said.title, said.timezone, said.target_mass_g, said.round_days) == (
        "Our shelf",
        "Europe/Vienna",
        200.0,
        42.5,
    )


def test_an_unknown_key_warns_with_the_nearest_known(read, listed):
    collection = read({"collection.toml": 'tilte = "x"\n[colours]\nred = 1\n'})
    assert listed(collection) == [
        ("known setting", None, "tilte", "warning"),
        ("known setting", None, "colours", "warning"),
    ]
    assert "write title if that is meant" in collection.problems["remedy"].tolist()


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ('timezone = "Europe/Viena"', "Europe/Viena"),
        ('timezone = ""', "timezone"),
        ('timezone = "../etc/passwd"', "timezone"),
        ('timezone = "Europe"', "timezone"),
        ("timezone = 1", "timezone"),
        ('date_order = "ddmmyy"', "ddmmyy"),
        ('round_gap_h = "96"', "round_gap_h"),
        ("round_gap_h = true", "round_gap_h"),
        ("round_gap_h = 0", "round_gap_h"),
        ("round_gap_h = -1", "round_gap_h"),
        ("round_gap_h = inf", "round_gap_h"),
        ("floor_ph = nan", "floor_ph"),
        ("floor_h = " + "9" * 400, "floor_h"),
        ("title = 2025-03-01", "title"),
        ("yeast_cardinal_degC = [8, 35.5, 27.5]", "yeast_cardinal_degC"),
        ("yeast_cardinal_degC = [8, 27.5]", "yeast_cardinal_degC"),
        ("lactic_cardinal_degC = 32", "lactic_cardinal_degC"),
        ('lactic_cardinal_degC = [4, "warm", 41]', "lactic_cardinal_degC"),
        ("title = Our shelf", "cannot be read"),
        (b'title = "M\xfchle"', "cannot be read"),
    ],
)
def test_a_value_that_cannot_be_used_is_refused_by_name(settings, text, named):
    with pytest.raises(CannotRead, match=re.escape(named)):
        settings(text)


def test_the_template_names_every_setting(tmp_path):
    folder = new_collection(tmp_path / "shelf")
    text = (folder / "collection.toml").read_text(encoding="utf-8")
    (folder / "collection.toml").write_text(re.sub(r"^# (?=\w+ = )", "", text, flags=re.M), encoding="utf-8")
    settings, unknown = read_settings(folder)
    assert unknown == []
    for key in asdict(settings):
        assert re.search(rf"^# {key} = ", text, re.M)
