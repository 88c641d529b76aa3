"""Defaults, the player's own file, options: who wins, and what is said of a fault."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont import config
from livecont.config import configs_folder, load_preferences, own_file
from livecont.errors import ConfigError
from livecont.live.clock import SystemClock
from livecont.sequence.events import SOFT, SOSTENUTO
from livecont.sitting.events import Fullness, Start
from livecont.tables import read_table


@pytest.fixture(autouse=True)
def _nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep whoever runs the tests from having a configuration of his own."""
    monkeypatch.delenv(config.ENVIRONMENT, raising=False)
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path / "home"))


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_every_file_of_ours_loads() -> None:
    files = sorted(configs_folder().rglob("*.toml"))
    assert len(files) >= 7
    for path in files:
        assert read_table(path).values


def test_defaults() -> None:
    chosen = load_preferences()
    assert chosen.settings.key is None
    assert chosen.settings.start is Start.AT_ONCE
    assert chosen.settings.most_links is None
    assert chosen.settings.fullness is Fullness.FULL
    assert (chosen.settings.compass.lowest, chosen.settings.compass.highest) == (21, 108)
    assert (chosen.input_name, chosen.output_name, chosen.thru) == (None, None, None)
    assert chosen.controls.computer == {
        "space": "cue", "s": "stop", "k": "change-key", "t": "tonal-real", "r": "reduction",
        "b": "keep", "q": "quit",
    }  # fmt: skip
    assert chosen.controls.pedals == {SOFT: "cue", SOSTENUTO: "stop"}
    assert chosen.take_folder is None


def test_options_win_over_the_file_and_the_file_over_the_defaults(tmp_path: Path) -> None:
    own = write(tmp_path, '[sitting]\nkey = "d dorian"\nlimit = 3\n[ports]\nthru = true\n')
    chosen = load_preferences(own, {"limit": "7", "out": "internal"})
    assert chosen.settings.key is not None
    assert chosen.settings.key.name == "d dorian"
    assert chosen.settings.most_links == 7
    assert (chosen.output_name, chosen.thru) == ("internal", True)
    assert load_preferences(own, {"key": "auto", "thru": False}).settings.key is None
    assert load_preferences(own, {"key": "auto", "thru": False}).thru is False


def test_own_file_is_found_by_itself_and_by_the_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own_file().parent.mkdir(parents=True)
    own_file().write_text("[sitting]\nlimit = 2\n", encoding="utf-8")
    assert load_preferences().settings.most_links == 2
    other = write(tmp_path, "[sitting]\nlimit = 4\n")
    monkeypatch.setenv(config.ENVIRONMENT, str(other))
    assert load_preferences().settings.most_links == 4
    monkeypatch.setenv(config.ENVIRONMENT, str(tmp_path / "none.toml"))
    with pytest.raises(ConfigError, match="can't be read"):
        load_preferences()


@pytest.mark.parametrize(
    ("platform", "expected"),
    [
        ("linux", ".config"),
        ("darwin", "Library/Application Support"),
        ("win32", "AppData/Roaming"),
    ],
)
def test_own_file_lies_where_the_platform_keeps_such_files(
    platform: str, expected: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("XDG_CONFIG_HOME", "APPDATA"):
        monkeypatch.delenv(name)
    monkeypatch.setattr(sys, "platform", platform)
    assert own_file() == Path.home().joinpath(*expected.split("/"), "livecont", "livecont.toml")


def test_own_compasses_and_controls(tmp_path: Path) -> None:
    own = write(
        tmp_path,
        """
        [sitting]
        compass = "study"
        [compasses.study]
        title = "the practice clavichord"
        lowest = "C2"
        highest = "D6"
        absent = ["C#2"]
        source = "my own"
        [controls.instrument]
        cue = ["key A0", "pedal sustain"]
        [controls.computer]
        quit = ["escape", "x"]
        """,
    )
    chosen = load_preferences(own)
    assert len(chosen.settings.compass) == 50
    assert "modern" in chosen.compasses
    assert chosen.controls.keys == {21: "cue"}
    assert chosen.controls.pedals == {64: "cue", SOSTENUTO: "stop"}
    assert chosen.controls.computer["x"] == "quit"
    assert "q" not in chosen.controls.computer


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        ({}, "modern-piano"),
        ({"compass": "italian-short"}, "harpsichord"),
        ({"compass": "clavichord-fretted"}, "clavichord"),
        ({"compass": "piano-1720"}, "early-piano"),
        ({"compass": "controller-49"}, "modern-piano"),
        ({"compass": "italian-short", "instrument": "early-piano"}, "early-piano"),
        ({"compass": "italian-short", "instrument": "auto"}, "harpsichord"),
    ],
)
def test_a_compass_brings_the_sound_of_its_instrument(
    options: dict[str, str | bool], expected: str
) -> None:
    spectrum = load_preferences(options=options).settings.spectrum
    assert spectrum is not None
    assert spectrum.name == expected


def test_own_compasses_may_name_their_instrument(tmp_path: Path) -> None:
    text = '[compasses.x]\ntitle = "x"\nlowest = "C2"\nhighest = "C6"\nsource = "my own"\n'
    plain = load_preferences(write(tmp_path, text), {"compass": "x"}).settings.spectrum
    named = write(tmp_path, f'{text}instrument = "clavichord"\n')
    spectrum = load_preferences(named, {"compass": "x"}).settings.spectrum
    assert plain is not None
    assert spectrum is not None
    assert (plain.name, spectrum.name) == ("modern-piano", "clavichord")


FAULTS = [
    ("[sitting]\nkey = 3\n", "line 2, sitting.key: needs a text"),
    ('[sitting]\nkey = "e minro"\n', "line 2, sitting.key: .* did you mean 'minor'"),
    ('\n\n[sitting]\nkee = "e minor"\n', "line 4, sitting.kee: .* did you mean 'key'"),
    ('[siting]\nkey = "a"\n', "line 1, siting: .* did you mean 'sitting'"),
    ('[sitting]\ncompass = "modren"\n', "line 2, .* did you mean 'modern'"),
    ('[sitting]\nsound = "ful"\n', "line 2, sitting.sound: .* did you mean 'full'"),
    ('[sitting]\nstart = "now"\n', "line 2, sitting.start: unknown start 'now'"),
    ("[sitting]\nlimit = 1.5\n", "line 2, sitting.limit: needs a whole number"),
    ("[sitting]\nlimit = true\n", "line 2, sitting.limit: needs a number"),
    ("[sitting]\nleast-confidence = 2\n", "line 2, .* 2 is not between 0 and 1"),
    ('[ports]\nthru = "yes"\n', "line 2, ports.thru: 'yes' is none of"),
    ("[sitting\n", "line 1: not TOML"),
    ('[sitting]\nkey = "a"\nkey = "b"\n', "line 3: not TOML"),
    ('[sitting]\nkey = "a', "line 2: not TOML"),
    ('sitting = "loud"\n', "line 1, sitting: needs to be a table"),
    ('[controls.computer]\ncue = "space"\n', "line 2, controls.computer.cue: needs a list"),
    ('[controls.computer]\ncue = ["spcae"]\n', "line 2, .* neither one sign nor"),
    ('[controls.computer]\nstop = ["space"]\n', "'space' is taken by 'cue'"),
    ('[controls.instrument]\ncue = ["pedal left"]\n', "line 2, .* neither 'pedal sustain'"),
    ('[controls.instrument]\ncue = ["key H2"]\n', "line 2, .* 'H2' is not a note name"),
    ('[compasses.x]\ninstrument = "harpsicord"\n', "line 2, .* did you mean 'harpsichord'"),
    ('[compasses.x]\nlowest = "C2"\n', "compasses.x: the line 'highest' is missing"),
]


@pytest.mark.parametrize(("text", "complaint"), FAULTS, ids=[text for text, _ in FAULTS])
def test_a_fault_names_file_line_and_key(tmp_path: Path, text: str, complaint: str) -> None:
    with pytest.raises(ConfigError, match=rf"mine\.toml.*{complaint}") as caught:
        load_preferences(write(tmp_path, text))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("options", "complaint"),
    [
        ({"key": "H"}, "--key: unknown key 'H'"),
        ({"compass": "italian-shrt"}, "--compass: .* did you mean 'italian-short'"),
        ({"start": "on cue"}, "--start: .* did you mean 'on-cue'"),
        ({"limit": "far"}, "--limit: 'far' is neither"),
        ({"limit": "0"}, "--limit: 0 is not between 1 and"),
        ({"ending": "bang"}, "--ending: unknown ending 'bang'"),
    ],
)
def test_a_fault_names_the_option(options: dict[str, str | bool], complaint: str) -> None:
    with pytest.raises(ConfigError, match=complaint):
        load_preferences(options=options)


def test_a_file_that_is_no_text(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(b"[sitting]\n\xff\xfe = 1\n")
    with pytest.raises(ConfigError, match="line 2: not UTF-8"):
        load_preferences(path)
    path.write_bytes(b"#" * (2**20 + 1))
    with pytest.raises(ConfigError, match="larger than"):
        load_preferences(path)
    with pytest.raises(ConfigError, match="can't be read"):
        load_preferences(tmp_path)


@given(text=st.text(max_size=80) | st.text(alphabet='[]=".\n#key sit1', max_size=120))
def test_any_text_is_a_configuration_or_a_clear_error(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.toml"
    path.write_text(text, encoding="utf-8", newline="")
    try:
        load_preferences(path)
    except ConfigError as error:
        assert "any.toml" in str(error)  # noqa: PT017 -- both outcomes are right


def test_too_deep_a_file(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="not TOML"):
        load_preferences(write(tmp_path, f"a = {'[' * 5000}"))


DEEP = 100_000


@pytest.mark.parametrize(
    "deep",
    [
        f"[{'.'.join('a' * DEEP)}]",
        f"{' . '.join('a' * DEEP)} = 1",
        f"x = {{ {'.'.join('a' * DEEP)} = 1 }}",
        "[[{}]]".format(".".join([r'"\""', "'b'"] * DEEP)),
    ],
    ids=["header", "spaced key", "inline", "quoted"],
)
def test_a_key_of_very_many_parts_is_refused_before_it_is_parsed(tmp_path: Path, deep: str) -> None:
    clock = SystemClock()
    start_s = clock.now_s()
    with pytest.raises(ConfigError, match=r"line 2: a key of more than 20 parts: see to its dots$"):
        load_preferences(write(tmp_path, f"# mine\n{deep}\n"))
    assert clock.now_s() - start_s < 5


def test_dots_in_comments_and_texts_are_no_parts(tmp_path: Path) -> None:
    text = f'# {"." * 100} {". " * 50}\n[sitting]\nkey = "{"x.. " * 50}"\n'
    with pytest.raises(ConfigError, match=r"line 3, sitting\.key: unknown key"):
        load_preferences(write(tmp_path, text))


def test_a_number_of_thousands_of_digits(tmp_path: Path) -> None:
    text = f"[sitting]\n\nlimit = {'9' * 5000}\n"
    with pytest.raises(ConfigError, match=r"line 3: a number of thousands of digits: write a"):
        load_preferences(write(tmp_path, text))


def test_a_line_that_begins_like_a_header_is_soon_told_from_one(tmp_path: Path) -> None:
    clock = SystemClock()
    start_s = clock.now_s()
    text = f'x = """\n[{" " * 20_000}\n"""\n'
    with pytest.raises(ConfigError, match="line 1, x: unknown line 'x'"):
        load_preferences(write(tmp_path, text))
    assert clock.now_s() - start_s < 5
