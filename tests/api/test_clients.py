"""The OpenAPI document as others read it: two linters, and a client in TypeScript with strict types.

They are no packages of Python. `docs/client.md` says how to install them and name their folder in
``LEAFSPAN_NODE_MODULES``; without it these tests are skipped.
"""

import os
import shutil
import subprocess
from pathlib import Path

import pytest
from django.core.management import call_command

TOOLS = Path(os.environ.get("LEAFSPAN_NODE_MODULES") or "none") / ".bin"
pytestmark = pytest.mark.skipif(
    not (TOOLS / "redocly").exists(),
    reason="LEAFSPAN_NODE_MODULES names no folder with redocly, spectral, openapi-typescript and tsc",
)


@pytest.fixture
def document(tmp_path):
    file = tmp_path / "openapi.json"
    call_command("spectacular", format="openapi-json", file=str(file))
    return file


def run(tool, *arguments, folder):
    """Run a tool; return its exit status and what it wrote."""
    done = subprocess.run([TOOLS / tool, *arguments], cwd=folder, capture_output=True, text=True, check=False)
    return done.returncode, done.stdout + done.stderr


def test_redocly_finds_no_error(document, tmp_path):
    status, output = run("redocly", "lint", "--extends=recommended", document.name, folder=tmp_path)

    assert status == 0, output


def test_spectral_finds_no_error(document, tmp_path):
    (tmp_path / "rules.yaml").write_text('extends: ["spectral:oas"]')
    status, output = run("spectral", "lint", document.name, "--ruleset=rules.yaml", folder=tmp_path)

    assert status == 0, output


def test_generated_typescript_client_compiles_strictly_with_typed_changes(document, tmp_path):
    shutil.copy(Path(__file__).parent / "typed_client.ts", tmp_path)
    status, output = run("openapi-typescript", document.name, "--output=schema.ts", folder=tmp_path)
    assert status == 0, output
    status, output = run("tsc", "--strict", "--noEmit", "typed_client.ts", folder=tmp_path)

    assert status == 0, output
