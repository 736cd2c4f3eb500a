"""README shows the pictures the command makes, all of them and no others."""

import re

import numpy as np
import pytest
from PIL import Image

from tests.architecture.modules import ROOT
from tests.browser.readme_pictures import FOLDER, MOST, PICTURES, Picture, judged

README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_readme_shows_each_picture_of_the_command_with_its_words() -> None:
    shown = re.findall(r"^!\[.*\]\(.*\)$", README, re.M)
    assert shown == [picture.line for picture in PICTURES]
    assert "python -m tests.browser.readme_pictures" in README


def test_the_folder_holds_these_pictures_and_they_are_light() -> None:
    files = sorted(FOLDER.iterdir())
    assert files == sorted(picture.file for picture in PICTURES)
    assert 0 < sum(file.stat().st_size for file in files) <= MOST


@pytest.mark.parametrize("picture", PICTURES, ids=lambda picture: picture.name)
def test_a_picture_is_one_of_the_size_it_is_taken_in(picture: Picture) -> None:
    with Image.open(picture.file) as image:
        assert image.format == "WEBP"
        assert image.size == (picture.width, picture.height)
        # Not an empty page: there is ink on the paper.
        levels = np.asarray(image.convert("L"), dtype=np.int64)
    assert int(np.ptp(levels)) > 150


def test_a_plant_is_judged_once_something_is_and_nothing_waits() -> None:
    waits = {"leak_likelihood": 0.1, "pending_shots": 900}
    done = {"leak_likelihood": 0.1, "pending_shots": 0}
    unknown = {"leak_likelihood": None, "pending_shots": 0}
    assert judged([done, unknown])
    assert not judged([done, waits])
    assert not judged([unknown])
    assert not judged([])
