"""The pages keep their promises: links lead somewhere, commands exist, the cautions are there."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
import typer

import rotorwright
from rotorwright.cli.main import app

HOUSE = Path(__file__).resolve().parents[3]
PAGES = sorted([*HOUSE.glob("*.md"), *HOUSE.glob("docs/**/*.md")])
LINK = re.compile(r"(?<!!)\[[^\]]*\]\(([^)\s]+)\)")
HEADING = re.compile(r"^#{1,6} +(.+?)\s*$", re.MULTILINE)
COMMAND = re.compile(r"(?:^|[`$ /])rotorwright ([a-z][a-z-]+)", re.MULTILINE)
FENCE = re.compile(r"^```.*?^```", re.MULTILINE | re.DOTALL)


def name_of(page: Path) -> str:
    return page.relative_to(HOUSE).as_posix()


def anchors(page: Path) -> set[str]:
    """Return the anchors of a page's headings: lower case, blanks to hyphens, other signs dropped (common practice)."""
    text = FENCE.sub("", page.read_text(encoding="utf-8"))
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in HEADING.findall(text)}


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_every_link_between_pages_leads_somewhere(page: Path) -> None:
    for link in LINK.findall(FENCE.sub("", page.read_text(encoding="utf-8"))):
        if "://" in link or link.startswith("mailto:"):
            continue
        target, _, anchor = link.partition("#")
        found = (page.parent / target).resolve() if target else page
        assert found.exists(), f"{name_of(page)} links to {link}"
        if anchor and found.suffix == ".md":
            assert anchor in anchors(found), f"{name_of(page)} links to {link}"


def test_every_page_of_the_folder_is_reached_from_the_index() -> None:
    seen: set[Path] = set()
    queue = [HOUSE / "docs" / "index.md"]
    while queue:
        page = queue.pop()
        if page in seen or not page.is_file():
            continue
        seen.add(page)
        links = LINK.findall(page.read_text(encoding="utf-8"))
        queue += [
            (page.parent / link.partition("#")[0]).resolve() for link in links if link.partition("#")[0].endswith(".md")
        ]
    assert [name_of(page) for page in PAGES if "docs" in page.parts and page not in seen] == []


def test_the_readme_starts_with_the_job_and_the_two_commands() -> None:
    text = (HOUSE / "README.md").read_text(encoding="utf-8")
    assert text.index("same aircraft") < text.index("make demo") < text.index("make test") < text.index("## ")


@pytest.mark.parametrize("page", ["README.md", "docs/explanation/safety.md", "docs/tutorial.md"])
def test_the_cautions_stand_where_people_start(page: str) -> None:
    text = (HOUSE / page).read_text(encoding="utf-8").lower()
    for word in ("propellers", "lithium", "airworthiness", "local rules", "manufacturer"):
        assert word in text, word


def test_the_version_is_the_same_everywhere() -> None:
    project = tomllib.loads((HOUSE / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == rotorwright.__version__
    assert f"## {rotorwright.__version__}" in (HOUSE / "CHANGELOG.md").read_text(encoding="utf-8")


def test_every_command_that_a_page_shows_exists() -> None:
    known = set(typer.main.get_group(app).commands)
    shown = {word for page in PAGES for word in COMMAND.findall(page.read_text(encoding="utf-8"))}
    assert {"demo", "changeover", "resume"} <= known
    assert shown - known == set()


def test_decision_notes_are_numbered_without_a_gap_or_a_double() -> None:
    numbers = [int(page.name[:4]) for page in sorted((HOUSE / "docs" / "decisions").glob("[0-9]*.md"))]
    assert numbers == list(range(len(numbers)))
