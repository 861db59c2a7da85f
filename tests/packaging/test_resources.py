"""The folders that travel with the code are found in a wheel and in a checkout, or missed aloud."""

from pathlib import Path

import pytest

from takeup import resources
from takeup.errors import OurFault


@pytest.mark.parametrize(
    ("finder", "name"),
    [
        (resources.schemas_dir, "schemas"),
        (resources.templates_dir, "templates"),
        (resources.samples_dir, "sample_exports"),
    ],
)
def test_a_checkout_uses_the_folders_people_edit(finder, name):
    assert finder() == Path(__file__).parents[2] / name


def test_a_wheel_uses_the_folder_it_carries(tmp_path):
    package = tmp_path / "lib" / "python" / "takeup"
    (package / "schemas").mkdir(parents=True)
    (tmp_path / "lib" / "schemas").mkdir()  # somebody else's
    assert resources._folder("schemas", package) == package / "schemas"


def test_a_missing_folder_is_our_fault_and_says_where_it_was_sought(tmp_path):
    package = tmp_path / "lib" / "python" / "takeup"
    with pytest.raises(OurFault, match="'templates' is missing") as caught:
        resources._folder("templates", package)
    assert str(package / "templates") in str(caught.value)
