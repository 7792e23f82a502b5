"""What a command says to a slip: one sentence that names the option or the file, exit code 2. No outside source."""

import pytest

from flicker.cli import main

SLIPS = [
    (["assess", "demo_data/m22_visit_3.csv", "--stage", "winter"], "--stage chooses among the logs of a case"),
    (["assess", "demo_data/m22_taps.marks.csv"], "holds the marks of a log"),
    (["assess", "demo_data/a45_case.toml"], "--case demo_data/a45_case.toml"),
    (["soak"], "--max-rate, or --starts with the fault. See flicker soak --help."),
    (["soak", "--count", "3"], "--count and --hours belong together"),
    (["soak", "--max-rate", "-1"], "--max-rate must be a rate, finite and above 0, got -1.0."),
]


@pytest.mark.parametrize(("line", "said"), SLIPS)
def test_a_slip_is_one_sentence_with_what_to_do(line, said, capsys):
    assert main(line) == 2
    told = capsys.readouterr()
    assert said in told.err and told.out == "" and told.err.count("\n") == 1


def test_a_case_without_a_log_is_not_sealed(tmp_path, capsys):
    case = tmp_path / "job.toml"
    case.write_text('unit = "x"\n')
    assert main(["case", "seal", str(case)]) == 2
    assert "add one first" in capsys.readouterr().err


def test_stages_judged_as_one_are_told_first(capsys):
    assert main(["assess", "--case", "demo_data/a45_case.toml"]) == 0
    assert "The logs of 3 stages" in capsys.readouterr().out
    assert main(["assess", "--case", "demo_data/a45_case.toml", "--stage", "part replaced"]) == 0
    assert "stages" not in capsys.readouterr().out
