"""Every JSON document keeps to its shipped schema (JSON Schema draft 2020-12, checked by the library jsonschema)."""

from __future__ import annotations

import json

import jsonschema
import pytest

from flicker import simulate_log
from flicker.base.result import plain
from flicker.cli import main
from flicker.present.schema import NAMES, schema
from flicker.survey_table import COLUMNS, find_logs, survey


def refuse(word):
    raise AssertionError(f"{word} is no JSON")


def loads(text):
    """Strict: NaN and Infinity are no JSON; an unbounded end is null."""
    document = json.loads(text, parse_constant=refuse)
    check_unbounded(document)
    return document


def check_unbounded(part):
    if isinstance(part, dict):
        for key, value in part.items():
            if key.endswith("_unbounded"):
                assert value is True and part[key.removesuffix("_unbounded")] is None
            check_unbounded(value)
    elif isinstance(part, list):
        for item in part:
            check_unbounded(item)


def validate(document, name=None):
    jsonschema.Draft202012Validator(schema(name or document["schema"])).validate(document)
    return document


def printed(capsys, *arguments):
    assert main([*map(str, arguments)]) == 0, capsys.readouterr().err
    return loads(capsys.readouterr().out)


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("schema")

    def make(kind, hours=0.5, **more):
        options = {} if hours is None else {"hours": hours}
        path = folder / f"{kind}.csv"
        if not path.exists():
            simulate_log(kind, seed=4, **options, **more).write(path)
        return path

    return make


@pytest.mark.parametrize("name", NAMES)
def test_each_schema_is_sound_and_explains_every_key(name):
    whole = schema(name)
    jsonschema.Draft202012Validator.check_schema(whole)

    def walk(part, place):
        if isinstance(part, dict):
            for key, item in part.get("properties", {}).items():
                explained = item.get("description") or "$ref" in item or item == {"type": "null"}
                assert explained, f"{place}/{key} says nothing"
            if part.get("type") == "object" and "properties" in part:
                assert part["additionalProperties"] is False, place
            for key, item in part.items():
                walk(item, f"{place}/{key}")
        elif isinstance(part, list):
            for item in part:
                walk(item, place)

    walk(whole, name)


@pytest.mark.parametrize(
    ("kind", "hours"),
    [
        ("steady", 0.5),
        ("noisy", 1.0),
        ("noisy-saturated", 0.2),
        ("noisy-popcorn", 0.5),
        ("drifting-step", 1.0),
        ("degrading", 1.0),
        ("one-off", 0.5),
        ("relay", None),
        ("relay-never-closes", None),
        ("lead-off", 0.5),
        ("meter-repeats", 0.5),
        ("auto-range", 0.5),
        ("stuck-high", 0.5),
        ("classic", None),
        ("timer-nights", None),
        ("steady-gappy", 1.0),
    ],
)
def test_an_assessment_keeps_to_its_schema(bench, capsys, kind, hours):
    document = validate(printed(capsys, "assess", bench(kind, hours), "--json"))
    assert document["schema"] == "flicker/assessment/2" and document["version"]


def test_a_log_in_which_nothing_was_observed(tmp_path, capsys):
    path = tmp_path / "over.csv"
    path.write_text("time_s,right_mV,left_mV\n" + "".join(f"{k},{k % 3},OL\n" for k in range(600)))
    document = validate(printed(capsys, "assess", path, "--json"))
    assert document["channels"][1]["observed_s"] == 0 and document["channels"][1]["rate"]["per_hour"] is None


@pytest.mark.parametrize(
    ("before", "after"),
    [("noisy", "steady"), ("steady", "noisy"), ("steady", "one-off"), ("noisy-saturated", "drifting-step")],
)
def test_a_comparison_keeps_to_its_schema(bench, capsys, before, after):
    validate(printed(capsys, "compare", "--before", bench(before), "--after", bench(after), "--json"))


def test_an_end_without_bound_is_null_and_says_so(bench, capsys):
    # 0 episodes before and 2 or more after: the exact ratio has no upper end (definition).
    document = printed(capsys, "compare", "--before", bench("steady"), "--after", bench("noisy"), "--json")
    ratio = document["channels"][0]["episode_ratio"]
    assert ratio["high"] is None and ratio["high_unbounded"] is True
    assert plain({"high": float("inf"), "low": -1.0, "none": float("nan")}) == {
        "high": None,
        "high_unbounded": True,
        "low": -1.0,
        "none": None,
    }


def test_stages_keep_to_their_schema(bench, capsys):
    stages = [("--stage", name, bench(kind)) for name, kind in (("a", "noisy"), ("b", "one-off"), ("c", "steady"))]
    validate(printed(capsys, "compare", *[word for stage in stages for word in stage], "--json"))


@pytest.mark.parametrize(
    "told",
    [
        ("--count", "4", "--hours", "2"),
        ("--count", "0", "--hours", "2"),
        ("--max-rate", "0.1", "--allowed", "1"),
        ("--rate", "2", "--glitch-length", "0.5", "--sample-interval", "2"),
        ("--count", "2", "--hours", "3", "--starts", "5", "--starts-hit", "2"),
        ("--starts", "5", "--starts-hit", "2"),
        ("--from", "noisy"),
        ("--from", "warm-up"),
    ],
)
def test_a_plan_keeps_to_its_schema(bench, capsys, told):
    words = list(told)
    if words[0] == "--from":
        path = bench(words[1], None if words[1] == "warm-up" else 0.5)
        words[1:] = [str(path)]
    validate(printed(capsys, "soak", *words, "--json"))


def test_every_line_of_a_watch_keeps_to_the_schema(bench, capsys):
    assert main(["watch", str(bench("noisy")), "--idle", "0.2", "--until", "stopped", "--json"]) == 0
    lines = [validate(loads(line), "flicker/watch/1") for line in capsys.readouterr().out.splitlines()]
    assert [lines[0]["event"], lines[-1]["event"]] == ["design", "summary"] and len(lines) > 2


def test_a_case_keeps_to_its_schema(tmp_path, capsys):
    path = tmp_path / "case.toml"
    (tmp_path / "a.csv").write_text("time_s,left_mV\n")
    path.write_text('[[logs]]\nfile = "a.csv"\ndate = 2031-03-09T18:30:00\nconditions = {load = "none"}\n')
    document = validate(printed(capsys, "case", "check", path, "--json"))
    assert document["logs"][0]["date"] == "2031-03-09T18:30:00"  # ISO 8601
    path.write_text(
        'unit = "x"\n[complaint]\ntimes = "twice"\nper = "week"\n[[parts]]\nwhat = "relay"\ndate = 2031-03-10\n'
    )
    validate(printed(capsys, "case", "check", path, "--json"))


def test_rows_of_a_survey_keep_to_the_schema(bench, tmp_path, judged_here):
    (tmp_path / "broken.csv").write_text("time_s,left_mV\n0,banana\n")
    (tmp_path / "noisy.csv").write_bytes(bench("noisy").read_bytes())
    table = survey(find_logs(tmp_path), workers=1)
    assert list(schema("flicker/survey-row/1")["properties"]) == list(COLUMNS)
    rows = loads(table.to_json(orient="records"))
    assert len(rows) == 3
    for row in rows:
        validate(row, "flicker/survey-row/1")


@pytest.mark.parametrize("name", NAMES)
def test_every_reference_leads_somewhere(name):
    whole = schema(name)
    home = {whole["$id"]: whole, **{key: part for key, part in whole.get("$defs", {}).items() if key.endswith(".json")}}

    def walk(part, at):
        if isinstance(part, dict):
            at = part.get("$id", at)
            if "$ref" in part:
                file, _, place = part["$ref"].partition("#")
                target = home[file or at]
                for step in place.strip("/").split("/") if place else []:
                    target = target[step]
            for item in part.values():
                walk(item, at)
        elif isinstance(part, list):
            for item in part:
                walk(item, at)

    walk(whole, whole["$id"])


def test_a_wrong_document_is_refused(bench, capsys):
    document = printed(capsys, "assess", bench("steady"), "--json")
    for spoil in (
        lambda d: d.update(extra=1),
        lambda d: d.pop("seed"),
        lambda d: d["channels"][0].update(verdict="broken"),
        lambda d: d["channels"][0]["rate"].update(high_per_hour=-1.0),
        lambda d: d["channels"][0]["rate"].update(high_per_hour_unbounded=True),
    ):
        spoiled = json.loads(json.dumps(document))
        spoil(spoiled)
        with pytest.raises(jsonschema.ValidationError):
            validate(spoiled)


def test_an_unknown_name_is_told():
    with pytest.raises(ValueError, match="name must be one of 'flicker/assessment/2'"):
        schema("flicker/other/1")
