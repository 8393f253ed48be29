"""Sentences in other languages: filled in, counted, with their marks; and files that are faulty."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest
from babel.numbers import format_decimal, format_percent

import trialkit
from trialkit import language
from trialkit.errors import TrialkitError
from trialkit.language import figures, languages, marked, say, say_counted, speaking
from trialkit.languages import collecting

HEAD = """\
msgid ""
msgstr ""
"Language: {code}\\n"
"Content-Type: text/plain; charset=utf-8\\n"
"Plural-Forms: {plural};\\n"

"""
GERMAN = "nplurals=2; plural=(n != 1)"
#: One, two to four, and more: as Unicode's plural rules have it for Czech.
CZECH = "nplurals=3; plural=(n==1) ? 0 : (n>=2 && n<=4) ? 1 : 2"


def po(folder: Path, body: str, *, code: str = "de", plural: str = GERMAN) -> Path:
    path = folder / "own words.po"
    path.write_text(HEAD.format(code=code, plural=plural) + body, encoding="utf-8")
    return path


# Saying ---------------------------------------------------------------------------------------


def test_english_needs_no_file() -> None:
    assert say("{name} paid.", name="A {b}") == "A {b} paid."
    assert say("No places, 100% as it {stands}.") == "No places, 100% as it {stands}."
    assert say("") == ""
    assert say_counted("one strip", "{count:,} strips", 1) == "one strip"
    assert say_counted("one strip", "{count:,} strips", 1200) == "1,200 strips"
    assert marked("paid") == "paid"
    assert language.language().code == "en"


def test_a_translation_orders_its_places_and_writes_numbers_its_own_way(tmp_path: Path) -> None:
    own = po(
        tmp_path,
        'msgid "{name} gained {gain:.2f} t/ha on {area:,.1f} ha ({share:.0%})."\n'
        'msgstr "Auf {area:,.1f} ha ({share:.0%}) brachte {name} {gain:.2f} t/ha mehr."\n',
    )
    sentence = "{name} gained {gain:.2f} t/ha on {area:,.1f} ha ({share:.0%})."
    values = {"name": "Nr. 1,5", "gain": 0.125, "area": 1234.5, "share": 0.9}
    with speaking(own):
        said = say(sentence, **values)
        assert say("{untold} stays English.", untold=1.5) == "1,5 stays English."
        assert language.language().code == "de"
    # Text is never touched, numbers are.
    assert said == "Auf 1.234,5 ha (90\N{NO-BREAK SPACE}%) brachte Nr. 1,5 0,12 t/ha mehr."
    assert say(sentence, **values).startswith("Nr. 1,5 gained 0.12")


def test_plurals_follow_the_rule_of_the_file(tmp_path: Path) -> None:
    own = po(
        tmp_path,
        'msgid "{count} strip"\nmsgid_plural "{count} strips"\n'
        'msgstr[0] "{count} pruh"\nmsgstr[1] "{count} pruhy"\nmsgstr[2] "{count} pruhů"\n',
        code="cs",
        plural=CZECH,
    )
    with speaking(own):
        said = [say_counted("{count} strip", "{count} strips", n) for n in (1, 3, 5)]
    assert said == ["1 pruh", "3 pruhy", "5 pruhů"]


@pytest.mark.parametrize("code", ["de", "fr", "es", "pt_BR", "sv"])
@pytest.mark.parametrize("value", [0.25, 3.0, 1234.5, 9876543.21])
def test_numbers_are_written_as_unicode_has_it(tmp_path: Path, code: str, value: float) -> None:
    """Against Babel, which carries Unicode's Common Locale Data Repository."""
    with speaking(po(tmp_path, "", code=code)):
        # Spanish and Portuguese group from five digits on in running text; tables group always.
        grouped = format_decimal(value, "#,##0.00", locale=code)
        assert figures(f"{value:,.2f}") == grouped
        assert figures("7%") == format_percent(0.07, locale=code)


def test_words_that_are_unsure_are_not_said(tmp_path: Path) -> None:
    own = po(tmp_path, '#, fuzzy\nmsgid "Money"\nmsgstr "Moneten"\n')
    with speaking(own):
        assert say("Money") == "Money"


def test_the_language_before_comes_back_after_an_error(tmp_path: Path) -> None:
    own = po(tmp_path, 'msgid "Money"\nmsgstr "Geld"\n')
    with pytest.raises(KeyError), speaking(own):
        say("{grain} pays.", grian=1)
    assert say("Money") == "Money"


def test_the_environment_names_the_language_of_a_new_process(tmp_path: Path) -> None:
    own = po(tmp_path, 'msgid "Money"\nmsgstr "Geld"\n')
    code = "from trialkit.language import say; print(say('Money'))"
    environment = {**os.environ, language.ENVIRONMENT: str(own)}
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "Geld"


# Files that cannot be used -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ('msgid "{a} paid."\nmsgstr "{b} hat sich gelohnt."\n', r"place \{b\}.*It has \{a\}"),
        ('msgid "Paid."\nmsgstr "{b}"\n', r"It has none"),
        ('msgid "{a} paid."\nmsgstr "{a.__class__}"\n', r"place \{a.__class__\}"),
        ('msgid "{a} paid."\nmsgstr "{a[0]}"\n', r"place \{a\[0\]\}"),
        ('msgid "{a} paid."\nmsgstr "{a lohnt"\n', "a brace is left open"),
        (
            'msgid "{count} strip"\nmsgid_plural "{count} strips"\n'
            'msgstr[0] "{count}"\nmsgstr[1] "{number}"\n',
            r"place \{number\}",
        ),
    ],
)
def test_a_translation_names_the_places_of_its_sentence(
    tmp_path: Path, body: str, says: str
) -> None:
    with pytest.raises(TrialkitError, match=says) as fault:
        language.read_language(po(tmp_path, body))
    assert "own words.po" in str(fault.value)


def test_a_file_that_is_no_translation(tmp_path: Path) -> None:
    for name, content in {
        "picture.po": b"\x89PNG\r\n\x1a\n\xff\xfe",
        "broken.po": b'msgid "Money\nmsgstr nothing\n',
        "latin.po": HEAD.format(code="de", plural=GERMAN).encode()
        + 'msgid "Pair"\nmsgstr "Pärchen"\n'.encode("latin-1"),
    }.items():
        path = tmp_path / name
        path.write_bytes(content)
        with pytest.raises(TrialkitError, match=name):
            language.read_language(path)


def test_a_file_must_say_its_language(tmp_path: Path) -> None:
    path = tmp_path / "my words.po"
    path.write_text('msgid "Money"\nmsgstr "Geld"\n', encoding="utf-8")
    with pytest.raises(TrialkitError, match="which language it is in"):
        language.read_language(path)
    named = tmp_path / "de.po"
    named.write_bytes(path.read_bytes())
    assert language.read_language(named).code == "de"


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(TrialkitError, match="cannot be read"):
        language.read_language(tmp_path / "none.po")


def test_an_unknown_language_says_which_there_are() -> None:
    with pytest.raises(TrialkitError, match=r"There is no language 'xx'\. There are en") as fault:
        language.read_language("xx")
    assert "words.pot" in str(fault.value)


# What is collected ------------------------------------------------------------------------------

PACKAGE = Path(trialkit.__file__).parent


def _calls(name: str) -> list[tuple[str, ast.Call]]:
    return [
        (f"{path.name}:{node.lineno}", node)
        for path in sorted(PACKAGE.rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == name
    ]


def test_every_template_can_be_collected() -> None:
    """Put together at run time, a sentence would be found by nobody."""
    named = (ast.Name, ast.Attribute, ast.Subscript, ast.Call)  # for words marked elsewhere
    wrong = [
        place
        for name, count in (("say", 1), ("say_counted", 2), ("marked", 1))
        for place, call in _calls(name)
        for template in call.args[:count]
        if not isinstance(template, (ast.Constant, *named) if name == "say" else ast.Constant)
    ]
    assert wrong == []


def test_every_place_of_a_template_is_filled_in() -> None:
    wrong = [
        place
        for name, count, own in (("say", 1, set()), ("say_counted", 2, {"count"}))
        for place, call in _calls(name)
        for template in call.args[:count]
        if isinstance(template, ast.Constant)
        and all(word.arg for word in call.keywords)  # else they come from a mapping
        and not language.places(template.value) <= own.union(word.arg for word in call.keywords)
    ]
    assert wrong == []


def test_the_words_for_translators_are_those_that_are_said() -> None:
    held = (PACKAGE / "languages" / collecting.TEMPLATE).read_bytes()
    assert held == collecting.written(collecting.collected()), (
        "run python -m trialkit.languages.collecting"
    )


@pytest.mark.parametrize("code", [code for code in languages() if code != "en"])
def test_a_language_that_comes_along_is_whole(code: str) -> None:
    content = (PACKAGE / "languages" / f"{code}.po").read_bytes()
    catalog = collecting.updated(content, collecting.collected())
    assert collecting.lacking(catalog) == []
    assert content == collecting.written(catalog)
    assert language.read_language(code).code == code.replace("_", "-")
