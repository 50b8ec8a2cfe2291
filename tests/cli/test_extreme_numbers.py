"""Every option and argument of every command under numbers that no gear has, and words that are no numbers.

Commands and options are found in the program itself, so that a new one is tested too.
"""

from __future__ import annotations

import os
import random
import re
import shutil
import time
from typing import get_args, get_origin

import pytest
from lot_samples import SAMPLES
from made_folders import pitch_folder

from gearqa.cli import app
from gearqa.cli.commands import COMMANDS

WORDS = ["0", "-1", "1", "1e308", "-1e308", "1e-308", "nan", "inf", "-inf", str(10**30), "9" * 5000, "", " "]
WORDS += ["True", "1_000", "\N{ARABIC-INDIC DIGIT THREE}", "1,5", "0x1f", "2.5", " 3"]
STORE = "--store st.db"
LINES = {
    "grade": "grade lot",
    "lot": "lot lot",
    "drift": f"drift {STORE}",
    "diagnose": "diagnose lot",
    "incoming": "incoming reported.csv lot",
    "incoming --workers": "incoming . --recursive --reports reported.csv",
    "gauge": "gauge study.csv",
    "watch": f"watch lot --once --settle 0.01 {STORE}",
    "simulate": "simulate made --scenario scenario.toml",
    "new": "new made --number X --kind external --teeth 31 --module 2 --face-width 20 --class 6 "
    "--helix-hand right",
    "tolerances": "tolerances --module 1.75 --diameter 160 --face-width 32",
    "size": "size --teeth 24 --module 3 --limits-of balls --lower 80 --upper 80.1",
    "verify": "verify a.rec lot",
    "keys": "keys k",
    "columns": "columns lot",
    "schema": "schema part",
    "explain": "explain flanks",
    "history add": f"history add lot {STORE}",
    "history event": "history event correction --grinder G --parameter profile_slope --flank left "
    f"--correction 1.5 {STORE}",
    "history freeze": f"history freeze --part-number T-8 --grinder G --from 1 --to 2 {STORE}",
    "history acknowledge": "history acknowledge --by NAME --part-number T-8 --grinder G --cause c "
    f"--action a {STORE}",
    "history remove": f"history remove {STORE}",
    "history regrade": f"history regrade {STORE} --dry-run",
    "history suppliers": f"history suppliers {STORE}",
}
"""A line of every command that it can do; what is not named here is `history NAME --store st.db`."""
MORE = {
    "history add --workers": ["--recursive"],
    "grade --workers": ["--sheet-folder", "sheets"],
    "--catalogue-shift": ["--limits-of", "span", "--lower", "23", "--upper", "23.1"],
    "--lower": ["--limits-of", "allowance"],
    "--upper": ["--limits-of", "thickness"],
}
"""What makes an option count."""


def _params():
    group = app._Commands(name="gearqa")
    for name in COMMANDS:
        command = group.get_command(None, name)
        inner = getattr(command, "commands", None)
        for sub, one in {"": command}.items() if inner is None else inner.items():
            for param in one.params:
                if getattr(param, "is_flag", False) or param.name == "help":
                    continue
                yield f"{name} {sub}".strip(), param


def _type(param):
    annotation = param.type_descriptor.annotation
    return get_args(annotation)[0] if get_origin(annotation) is list else annotation


PARAMS = list(_params())
NUMERIC = [(name, param) for name, param in PARAMS if _type(param) in (int, float)]
OTHERS = [(name, param) for name, param in PARAMS if _type(param) not in (int, float)]


def _named(cases):
    return [pytest.param(name, param, id=f"{name} {param.opts[0]}") for name, param in cases]


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shop") / "shop"
    pitch_folder(folder / "lot", ["G-1", "G-2", "G-3"])
    rows = [f"G-{n},2025-03-0{n}T08:00,G,D{n},{n}" for n in (1, 2, 3)]
    table = "\n".join(["serial,finished_at,grinder,dress,parts_since_dress", *rows])
    (folder / "lot" / "production.csv").write_text(table + "\n")
    (folder / "reported.csv").write_text("serial,parameter,value_um\nG-1,single_pitch,2\n")
    shutil.copy(SAMPLES / "gauge_study" / "crossed.csv", folder / "study.csv")
    scenario = next((SAMPLES / "scenarios").glob("*pinion*.toml")).read_text()
    (folder / "scenario.toml").write_text(re.sub(r"(?m)^gears = \d+", "gears = 1", scenario))
    here = os.getcwd()
    os.chdir(folder)
    try:
        assert app.run(["history", "add", "lot", "--store", "st.db", "-q"]) == 0
        assert app.run(["lot", "lot", "--lot-id", "1", "--record", "a.rec", "-q"]) in (0, 1)
    finally:
        os.chdir(here)
    return folder


@pytest.fixture
def run(shop, tmp_path, monkeypatch, capsys):
    """Run one line in a shop of its own; its status and what it printed."""

    def run(name, param, word):
        shutil.rmtree(tmp_path, ignore_errors=True)
        shutil.copytree(shop, tmp_path)
        monkeypatch.chdir(tmp_path)
        option = param.opts[0]
        line = LINES.get(f"{name} {option}", LINES.get(name, f"{name} {STORE}")).split()
        if param.param_type_name == "option":
            more = MORE.get(option, MORE.get(f"{name} {option}", []))
            line += [*more, option, word] if word != " 3" else [f"{option}={word}"]
        else:
            line = [*name.split(), "--", word]
        began = time.process_time()
        status = app.run(line)
        out, err = capsys.readouterr()
        assert time.process_time() - began < 20, line
        assert status in (0, 1, 2), (line, err)
        assert "Traceback" not in err
        assert (status == 2) <= bool(err.strip()), line
        return status, out, err

    return run


@pytest.mark.parametrize(("name", "param"), _named(NUMERIC))
def test_a_number_out_of_all_ranges_is_refused_with_what_is_allowed(run, name, param):
    for word in WORDS:
        status, out, err = run(name, param, word)
        number = re.fullmatch(r"[+-]?(\d+(\.\d+)?)(e[+-]?\d+)?", word, re.ASCII)
        if (
            number is None
            or (_type(param) is int and not word.lstrip("-").isdigit())
            or len(word) > 20
            or "e308" in word
        ):
            assert status == 2, (word, out)
        if status == 2 and word != "1":  # which may be too few for these gears
            allowed = r"expected|outside|\d to \d|first|no tolerance in|no teeth of|no such|has no"
            assert re.search(allowed, err), (word, err)
            assert len(err) < 3000
            assert out == ""
        for text in (out, err):
            assert not re.search(r"\b(nan|inf)\b(?!')", text), (word, text)


@pytest.mark.parametrize(("name", "param"), _named(OTHERS))
def test_other_options_take_or_refuse_such_words(run, name, param):
    for word in random.sample(WORDS, 1):
        run(name, param, word)


@pytest.mark.parametrize(("name", "param"), _named(NUMERIC))
def test_the_range_of_a_number_is_checked_by_the_job(name, param):
    """Notebooks call jobs without the command line, so an option has no range of its own."""
    assert not param.type_descriptor.is_ranged, f"{name} {param.opts}: min and max are not enforced"
