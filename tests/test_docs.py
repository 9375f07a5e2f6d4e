"""The documents are part of the product: what they name exists, what they show is real."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from hil.cli.main import COMMANDS, main
from hil.report.exit_code import TABLE

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
FENCED = re.compile(r"^```\w*\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def test_the_build_script_finds_both_commands_in_the_readme():
    shown = subprocess.run(
        [ROOT / ".ci" / "run", "--show"], capture_output=True, text=True, check=True
    )
    run, tests = shown.stdout.splitlines()

    assert run.endswith("&& .venv/bin/hil run")
    assert tests.endswith("&& .venv/bin/python -m pytest -n 2")
    assert all(command.startswith("python3 -m venv .venv && ") for command in (run, tests))


def test_the_readme_begins_with_the_job_in_one_paragraph():
    title, job, rest = README.split("\n\n", 2)

    assert title == "# Rackproof"
    assert "\n" not in job
    assert rest.startswith("> [!CAUTION]")


@pytest.mark.parametrize(
    "document",
    [
        "README.md",
        "DEVELOPERS.md",
        "reports/README.md",
        "testplans/README.md",
        "fixtures/README.md",
    ],
)
def test_every_link_leads_somewhere(document):
    file = ROOT / document
    links = re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", file.read_text(encoding="utf-8"))

    missing = [link for link in links if not (file.parent / link).exists()]

    assert missing == []


def test_the_readme_names_every_command_and_only_those():
    table = README[README.index("## Commands") : README.index("## Can I trust")]
    named = set(re.findall(r"^\| `hil (\w+)", table, re.MULTILINE))

    assert named == set(COMMANDS)


def test_every_option_the_readme_names_exists():
    help_texts = "".join(CliRunner().invoke(main, [name, "--help"]).output for name in COMMANDS)
    named = set(re.findall(r"--[a-z][a-z-]+", README)) - {
        "--quiet",
        "--hil-bench",
        "--hil-virtual",
        "--lf",
    }

    assert {option for option in named if option not in help_texts} == set()


def test_the_readme_tells_every_exit_code():
    part = README[README.index("## Can I trust") :]

    for row in TABLE:
        assert row.shown.split()[0] in part


def test_the_map_names_every_package_and_its_files_exist():
    packages = {path.name for path in (ROOT / "hil").iterdir() if (path / "__init__.py").exists()}
    rows = re.findall(r"^\| `hil/(\w+)` \|[^|]*\|([^|]*)\|$", DEVELOPERS, re.MULTILINE)

    assert {name for name, _ in rows} == packages
    for name, files in rows:
        for file in re.findall(r"`([\w./]+)`", files):
            assert (ROOT / "hil" / name / file).exists(), f"hil/{name}/{file}"


def test_every_file_that_the_documents_name_exists():
    named = set(re.findall(r"`((?:hil|tests|fixtures|testplans)/[\w./-]+)`", README + DEVELOPERS))

    assert {name for name in named if not (ROOT / name).exists()} == set()


def test_the_output_in_the_readme_is_what_a_run_prints(tmp_path):
    shown = FENCED.findall(README[README.index("<!-- output -->") :])[0]
    command = [sys.executable, "-m", "hil", "run", "--virtual", "--reports", str(tmp_path)]
    ended = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    printed = {_shape(line) for line in ended.stdout.splitlines()}

    assert ended.returncode == 0, ended.stdout + ended.stderr
    for line in shown.splitlines():
        assert line == "..." or _shape(line) in printed, line


def _shape(line: str) -> str:
    """Return a line without what differs from run to run: times, margins and the run's name."""
    line = re.sub(r"\S*/?\d{8}T\d{6}Z-\w+", "RUN", line)
    line = re.sub(r"[+-]\d\.\d\d", "MARGIN", line)
    line = re.sub(r" +\d+\.\d\d$", " SECONDS", line)
    return re.sub(r" {2,}", "  ", line)
