"""The heading of papers: a shop says who it is, and shows nothing from elsewhere on the machine."""

from pathlib import Path

import pytest

from acquire.errors import FileInvalid
from acquire.files.settings import load_bench

CONFIGS = Path(__file__).parents[2] / "configs"

HEAD = f"""
[bench]
name = "bench-1"
purpose = "final"
sheet = "{CONFIGS}/sheets/plover-80.toml"
[meter]
driver = "scpi"
link = "tcp:127.0.0.1:5025"
model = "{CONFIGS}/meters/bench-50000.toml"
[temperature]
source = "typed"
value = "21.5 °C"
"""


def bench_with(folder, text):
    file = folder / "bench.toml"
    file.write_text(HEAD + text, encoding="utf-8")
    return load_bench(file)


def test_a_bench_without_a_shop_has_none(tmp_path):
    """Papers carry the bench's name then."""
    assert bench_with(tmp_path, "").shop is None


def test_a_shop_says_who_it_is(tmp_path):
    """With defaults for what most leave out."""
    shop = bench_with(tmp_path, '[shop]\nname = "Otterbeck Rewinds"\naddress = ["3 Mill Lane"]\n').shop
    assert (shop.name, shop.address, shop.logo, shop.paper) == (
        "Otterbeck Rewinds",
        ("3 Mill Lane",),
        None,
        "A4",
    )
    assert (shop.label_width, shop.label_height) == (0.05, 0.025)


def test_a_logo_lies_beside_the_bench_file(tmp_path):
    """Below it is as good; above it, absolute or through a link is not."""
    (tmp_path / "pictures").mkdir()
    shop = bench_with(tmp_path, '[shop]\nname = "O"\nlogo = "pictures/logo.svg"\n').shop
    assert shop.logo == tmp_path / "pictures" / "logo.svg"
    (tmp_path / "link.png").symlink_to("/etc/hostname.png")
    for path in ("../logo.svg", "/etc/logo.png", "pictures/../../logo.png", "link.png"):
        with pytest.raises(FileInvalid, match="in the folder of the bench file"):
            bench_with(tmp_path, f'[shop]\nname = "O"\nlogo = "{path}"\n')


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('logo = "logo.html"', "SVG or PNG"),
        ('label_width = "5 mm"', "between 10 mm and 200 mm"),
        ('label_width = "3 m"', "between 10 mm and 200 mm"),
        ('paper = "A5"', "A4"),
        ('address = ["1","2","3","4","5","6","7"]', "address"),
        ('nome = "x"', "name"),
    ],
)
def test_what_cannot_be_is_told(tmp_path, text, told):
    """By line, with what is possible."""
    with pytest.raises(FileInvalid, match=told):
        bench_with(tmp_path, f'[shop]\nname = "O"\n{text}\n')
