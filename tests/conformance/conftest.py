from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.conformance.command_bench import Bench

from rotorwright.twin.process import spawn_twin
from rotorwright.twin.thornbill.book import write_book
from rotorwright.twin.thornbill.images import write_demo_images


@pytest.fixture(scope="module")
def papers(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("papers")
    write_book(folder / "book")
    (folder / "images").mkdir()
    write_demo_images(folder / "images")
    return folder


@pytest.fixture
def bench(tmp_path: Path, papers: Path, capsys: pytest.CaptureFixture[str]) -> Iterator[Bench]:
    shutil.copytree(papers, tmp_path, dirs_exist_ok=True)
    with spawn_twin(tmp_path / "twin", baud=0, speed=1000.0) as twin:
        yield Bench(tmp_path, twin, capsys)
